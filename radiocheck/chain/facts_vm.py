"""Facts about what VM configurations ask for and what running VMs hold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event
from radiocheck.evidence.serial import IN_GUEST

from .adapters import is_placed
from .bound import count
from .context import USBFS_MAJOR, Context
from .expected import Pair
from .facts_choice import account
from .facts_controller import controller_facts
from .facts_device import device_facts
from .facts_forwarded import forwarded_facts
from .forecast import expectations
from .held import of_hypervisor, usb_minor
from .item import Item
from .items_qemu import vm_name
from .pasted import is_paste, on_its_own
from .redirected import redirection_ended
from .start_error import start_error
from .start_order import start_order
from .subjects import Subject
from .view_vm import AssignmentFacts, HandoverFacts

REFUSALS = frozenset({"node-refused"})  # libusb could not open the node: errno 13 or 1


def assignment_facts(context: Context, subject: Subject) -> list[AssignmentFacts]:
    """One element per configuration line that concerns this adapter, and an empty one for what was not seen."""
    found = []
    for position, (item, ahead) in enumerate(zip(subject.items, expectations(context, subject), strict=True)):
        facts = _common(context, subject, item) | {"guessed": position in subject.guessed}
        facts |= start_order(context, subject, item) | _ahead(ahead)
        if item.kind == "device":
            facts |= device_facts(context, subject, item)
        elif item.kind == "controller":
            facts |= controller_facts(context, subject, item)
        else:
            facts |= forwarded_facts(context, subject, item)
        found.append(AssignmentFacts(**facts))
    return [*found, AssignmentFacts()] if subject.partial else found


def _next_is_bare(context: Context, item: Item) -> bool:
    """Whether a paste shows the configuration of the VM's next start, and nothing of the host's in it."""
    if not is_paste(context.evidence):
        return False
    domains = context.evidence.domains if known(context.evidence.domains) else []
    kept = [one.next for one in domains if one.name == item.vm and known(one.next) and one.next is not None]
    return any(not (one.usb or one.pci or one.ttys) for one in kept)


def _ahead(pair: Pair) -> dict[str, Any]:
    """What the next restart does to a line, as far as it is known."""
    vm, host = pair
    facts: dict[str, Any] = {}
    if vm.outcome is not None:
        facts |= {"next_vm_start": vm.outcome, "next_vm_start_why": vm.why}
    if host.outcome is not None:
        facts |= {"next_host_start": host.outcome, "next_host_start_why": host.why}
    return facts


def handover_facts(context: Context, subject: Subject) -> HandoverFacts:
    """Who holds it at this moment, over all VMs."""
    facts: dict[str, Any] = {}
    device = subject.device
    if on_its_own(context.evidence):
        return HandoverFacts(
            hypervisors=0,
            stranger=None,
            assigned=0,
            running=0,
            kept_words=None,
            guest_words=None,
            redirection_ended=None,
        )
    facts["guest_words"] = _in_guest(context)
    if not subject.partial:
        vms = {item.vm for item in subject.items}
        if len(vms) < 2 or all(item.named for item in subject.items):  # a nameless one may be any of the others
            facts["assigned"] = len(vms)
        running = {item.vm for item in subject.items if item.running is True}
        if all(known(item.running) for item in subject.items):
            facts["running"] = len(running)
    facts["redirection_ended"] = redirection_ended(context, subject)
    if device is not None:
        holders = context.holders(USBFS_MAJOR, usb_minor(device))
        if known(holders):
            hypervisors = {one.pid for one in holders if one.hypervisor is True}
            strangers = _strangers(context, subject, hypervisors)
            no_vm = context.whole("qemu") and not context.evidence.qemu
            all_seen = context.all_handles_seen() or no_vm
            facts["hypervisors"] = count(len(hypervisors), all_seen)
            if all_seen or isinstance(strangers, str):  # what is seen is seen; what is not may still be there
                facts["stranger"] = strangers
        log, all_told = context.log_since_arrival(device.name)
        facts["kept_words"] = _kept(log) or (None if known(context.events) and all_told else UNSET)
    return HandoverFacts(**facts)


def _in_guest(context: Context) -> str | None:
    """What the VM's kernel says of the only adapter."""
    messages = context.evidence.app_messages if known(context.evidence.app_messages) else []
    told = [one.text for one in messages if one.kind == IN_GUEST and len(context.subjects) == 1]
    return told[-1] if told else None


def _kept(log: Sequence[Event]) -> str | None:
    """The newest of the kernel's words about an interface that somebody else has, when a VM's process wanted it."""
    told = [one for one in log if one.kind == "foreign-set-config" and of_hypervisor(one.data.get("comm", ""))]
    return told[-1].text if told else None


def _strangers(context: Context, subject: Subject, pids: set[int]) -> str | UnsetType | None:
    """A VM that holds it and does not keep a line for it, while another VM does."""
    if subject.partial or not known(context.evidence.qemu):
        return UNSET
    mine = {item.vm for item in subject.items if item.in_next is not False}
    if not mine:
        return None
    if any(not item.named for item in subject.items):
        return UNSET
    for process in context.evidence.qemu:
        if process.pid in pids and vm_name(process) not in mine:
            return vm_name(process)
    return None


def _common(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    process = item.process
    started = process.started if process is not None else UNSET
    messages = context.evidence.vm_messages
    facts: dict[str, Any] = {
        "vm": item.vm,
        "manager": item.manager,
        "kind": item.kind,
        "selector": item.selector,
        "text": item.text,
        "running": item.running,
        "autostart": item.autostart,
        "in_live": item.in_live,
        "in_next": item.in_next,
        "had_once": item.once,
        "next_bare": _next_is_bare(context, item),
        "usb_bus": item.usb_bus,
        "tty_path": item.tty,
        "controller": item.controller,
        "missing": item.missing,
        "started_s": int(context.now - started) if known(started) else UNSET,
    }
    said = start_error(context.evidence, item)
    facts["start_error"] = said.kind if known(said) and said is not None else said
    if known(said) and said is not None:
        facts |= {"start_error_words": said.text, "start_error_vm": said.data.get("domain")}
    if process is not None:
        facts |= account(context, process)
    if known(messages):
        mine = [one for one in messages if one.vm in (item.vm, None)]
        facts["errors"] = [one.text for one in mine]
        refused = sum(1 for one in mine if one.kind in REFUSALS and one.vm == item.vm)
        facts["refused"] = count(refused, context.whole("vm_messages"))
    if known(context.events) and known(started):
        place = subject.device.name if subject.device is not None else subject.place
        times = sum(
            1
            for event in context.events
            if event.kind == "found" and event.device == place and event.at is not None and event.at > started
        )
        facts["re_enumerated"] = count(times, context.whole("kernel_log") and (place is None or is_placed(place)))
    return facts
