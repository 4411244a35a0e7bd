"""What happens at the next restart, for each line that gives an adapter to a VM.

Two questions: the VM is stopped and started while the host stays up; the host itself
restarts.  The answer comes from the line's selector, the devices present, the other VMs
and their autostart.  What the log remembers changes only the reason, never the outcome:
losing evidence leaves an outcome open and never turns it into another.
"""

from __future__ import annotations

from msgspec.structs import replace

from radiocheck.evidence.absent import known

from .context import Context
from .expected import Expected, Pair, is_given, same, unseen
from .finding import explain
from .forecast_controller import pick_controller
from .forecast_device import pick_device
from .forecast_forwarded import pick_forwarded
from .history import about, recent
from .item import Item
from .rivals import Rivals, rivals
from .start_order import start_order
from .subjects import Subject
from .verdict import Forecast


def forecasts(context: Context, subject: Subject) -> list[Forecast]:
    """One record per line of a VM that concerns the adapter; lines that say the same are told once.

    A line of the running VM only is left out when the VM's configuration has a line too:
    it was attached by hand, after a replug, and the next start goes by the configuration.
    """
    told: list[Forecast] = []
    configured = {item.vm for item in subject.items if item.in_next is True}
    for item, (vm, host) in zip(subject.items, expectations(context, subject), strict=True):
        if item.in_next is False and item.vm in configured:
            continue
        lacks = dict.fromkeys(field for one in (vm, host) if one.outcome is None for field in one.lacks)
        record = Forecast(
            vm=item.vm,
            text=item.text,
            at_vm_restart=vm.outcome,
            at_vm_restart_why=vm.why,
            at_host_restart=host.outcome,
            at_host_restart_why=host.why,
            missing=explain(list(lacks), context.evidence.gaps),
        )
        if record not in told:
            told.append(record)
    return told


def expectations(context: Context, subject: Subject) -> list[Pair]:
    """Both restarts for each of the adapter's lines, in their order."""
    others = rivals(context, subject)
    return [_expected(context, subject, item, others) for item in subject.items]


def _expected(context: Context, subject: Subject, item: Item, others: Rivals) -> Pair:
    if not known(item.in_next):
        return unseen("domains"), unseen("domains")
    if not item.in_next:
        return same("does-not-come-back", f"only the running {item.vm} has it; the configuration does not")
    if item.kind == "device":
        vm, host = pick_device(context, subject, item)
    elif item.kind == "controller":
        vm, host = pick_controller(context, item)
    else:
        vm, host = pick_forwarded(context, subject, item)
    vm = _with_others_running(subject, item, others, vm)
    host = _with_others_starting(context, item, others, host)
    return _remembered(context, subject, item, vm), _started(context, subject, item, host)


def _with_others_running(subject: Subject, item: Item, others: Rivals, base: Expected) -> Expected:
    """While the VM is down, another one that runs can take the adapter, or has it already."""
    if not base.hopeful:
        return base
    mine, device = others.of(item), subject.device
    if mine and device is not None and not (known(device.bus) and known(device.devnum)):
        return unseen("usb")
    holding = next((one for one in mine if item.manager == "libvirt" and _is_booked(subject, one)), None)
    if holding is not None:
        return Expected("refused", f"{holding.vm} has it, and libvirt gives it to one running VM only")
    if unread := others.unread(item):
        return unseen(*unread)
    for one in mine:
        if one.running is False or one.in_live is False or _is_bound_elsewhere(subject, one):
            continue
        if not (item.named and one.named):
            return unseen(why=f"{one.vm} asks for it too, and whether that is the same VM does not show")
        if not known(one.running) or not known(one.in_live):
            return unseen("domains", "qemu")
        return Expected("by-chance", f"{one.vm} runs and asks for it too: whichever opens it first has it")
    return base


def _is_booked(subject: Subject, other: Item) -> bool:
    """Whether libvirt has it in its book for the other domain (virhostdev.c, virHostdevMarkUSBDevices)."""
    device = subject.device
    return (
        other.manager == "libvirt"
        and other.running is True
        and other.in_live is True
        and device is not None
        and known(other.live_address)
        and (other.live_bus, other.live_address) == (device.bus, device.devnum)
    )


def _is_bound_elsewhere(subject: Subject, other: Item) -> bool:
    """A running libvirt domain is bound to one number, or to none, and does not look for another."""
    if other.manager != "libvirt" or other.kind != "device" or not known(other.live_address):
        return False
    device = subject.device
    return device is None or (other.live_bus, other.live_address) != (device.bus, device.devnum)


def _with_others_starting(context: Context, item: Item, others: Rivals, base: Expected) -> Expected:
    """Another VM that starts with the host can be quicker."""
    if not base.hopeful:
        return base
    mine = [one for one in others.of(item) if one.in_next is not False and one.autostart is not False]
    for one in mine:
        if not (item.named and one.named):
            return unseen(why=f"{one.vm} asks for it too, and whether that is the same VM does not show")
        if one.in_next is True and (known(one.autostart) or is_given(context, one)):
            return Expected("by-chance", _race(item, one))
    unread = others.unread(item) or (("domains",) if mine else ())
    return unseen(*unread) if unread and base.outcome != "by-chance" else base


def _race(item: Item, other: Item) -> str:
    why = f"{other.vm} asks for it too, and whichever starts first has it"
    if item.manager == other.manager == "libvirt":
        why += "; libvirt keeps no order among the VMs that it starts"
    ours = item.process.started if item.process is not None else None
    theirs = other.process.started if other.process is not None else None
    if isinstance(ours, float) and isinstance(theirs, float):
        why += f" (of the two, {item.vm if ours < theirs else other.vm} was started first this time)"
    return why


def _started(context: Context, subject: Subject, item: Item, base: Expected) -> Expected:
    """Whether anybody starts the VM once the host is up."""
    if _is_transient(context, item):
        return Expected("not-started", f"libvirt keeps no configuration of {item.vm}; somebody must create it anew")
    if item.autostart is False:
        return Expected("not-started", f"{item.vm} does not start with the host: its autostart is off")
    if not known(item.autostart) and not is_given(context, item):
        return unseen("domains")
    if not base.hopeful:
        return base
    if item.autostart is not True:
        return replace(base, why=f"{base.why}; who starts {item.vm} with the host does not show here")
    if item.manager != "libvirt" or item.kind != "device":
        return base  # nothing tells what started a plain QEMU, and when it would again
    order = start_order(context, subject, item)
    late = next((one for one in (order.get("late_by_s"), order.get("adapter_late_s")) if isinstance(one, int)), None)
    if late is not None:
        why = f"if it is there before {item.vm} starts, and this time it came {late} s later; {base.why}"
        return replace(base, why=why)
    if item.startup == "optional":
        return replace(base, why=f"{base.why}; if it is not there before {item.vm} starts, {item.vm} goes without it")
    return base


def _is_transient(context: Context, item: Item) -> bool:
    domains = context.evidence.domains
    return known(domains) and any(one.name == item.vm and one.next is None for one in domains)


def _remembered(context: Context, subject: Subject, item: Item, base: Expected) -> Expected:
    """The reason, with a change that waits for the next start and with what the log says of the last hour."""
    if not base.hopeful:
        return base
    said = [base.why]
    if item.running is True and item.in_live is False:
        said.append(f"{item.vm} runs with another configuration until then")
    if (times := _enumerations(context, subject)) > 1 and item.kind == "device":
        what = "the running VM loses it each time"
        if item.manager == "qemu" and not item.pinned:
            what = "after three failed tries QEMU stops looking for it"  # usb_host_auto_check, errcount
        said.append(f"it was enumerated {times} times in the last hour, and {what}")
    return replace(base, why="; ".join(said))


def _enumerations(context: Context, subject: Subject) -> int:
    if subject.device is None or not known(context.events):
        return 0
    return sum(
        1
        for event in about(recent(context.events, context.now), subject.device.name)
        if event.kind == "found" and event.at is not None
    )
