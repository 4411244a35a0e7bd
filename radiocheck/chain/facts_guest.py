"""Facts about the VM's own side of an adapter."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, Gap, whole
from radiocheck.evidence.usb import UsbDevice

from .bound import certain
from .context import USBFS_MAJOR, Context
from .held import device_ttys, usb_minor
from .history import located, since_arrival
from .pair import Pair, way
from .place import present
from .subjects import Subject
from .view_guest import GuestFacts

PARTS = ("host", "usb", "kernel_log")  # of the VM's evidence, that the facts of the pair are made of
HOW = "run `radiocheck capture FILE` in the VM and give FILE with --guest"
AGAIN = "capture both again, a few minutes apart at most"


def guest_facts(context: Context, subject: Subject) -> GuestFacts:
    """The VM's side: of the capture that was given, or of this machine when it is itself the VM."""
    if context.inside:
        return GuestFacts(given=False, **_of_device(context.evidence, subject.device))
    pair = context.pair
    if pair is None:
        return GuestFacts(unseen="only the VM can show it")
    same = _same_vm(pair, subject)
    facts: dict[str, Any] = {
        "given": True,
        "vm": _name(pair, subject),
        "same_vm": same,
        "served": _served(context, pair),
        "apart_min": pair.apart_min,
        "apart": pair.apart,
        "same_run": pair.same_run,
        "together": pair.together,
        "unseen": _unseen(pair, subject, same),
    }
    match, side = pair.match(subject), pair.side(subject)
    if side is not None and same is not False:
        facts["state"] = side.state
    if known(pair.guest.usb) and whole(pair.guest, "usb"):
        facts["controllers"] = sum(1 for device in pair.guest.usb if device.name.startswith("usb"))
    if known(match):
        facts["matches"] = len(match.devices)
        if not match.devices or match.sure is not None:
            facts["present"] = match.sure is not None
        facts |= _of_device(pair.guest, match.sure)
    return GuestFacts(held=_held(context, pair, subject), **facts)


def gaps(context: Context, subject: Subject) -> list[Gap]:
    """Why facts of the pair are absent, as gaps of fields `guest.…`."""
    if context.inside:
        return []
    pair = context.pair
    if pair is None:
        return [Gap(what=what, why="not-here", provide=HOW) for what in ("guest", *(f"guest.{one}" for one in PARTS))]
    return [
        Gap(what=f"guest.{gap.what}", why=gap.why, detail=gap.detail, provide=there(gap.provide))
        for gap in pair.guest.gaps
        if gap.what in (*PARTS, "host.uuid")
    ]


def there(provide: str) -> str:
    """What a person can do, with the place where."""
    return f"{provide} (in the VM)" if provide else ""


def _of_device(guest: Evidence, device: UsbDevice | None) -> dict[str, Any]:
    """What the VM's bus and log tell of it."""
    if device is None:
        return {}
    facts: dict[str, Any] = {"tty": next(iter(device_ttys(device)), None)}
    if known(device.configuration):
        facts["configured"] = device.configuration is not None
    if known(guest.kernel_log):
        log = since_arrival(located(guest.kernel_log.events), device.name)
        facts["refused"] = any(one.kind == "set-config-failed" and one.data.get("err") == "-32" for one in log)
    if known(guest.links):
        mine = (link.path for link in guest.links if "/by-id/" in link.path and link.target == facts["tty"])
        facts["by_id"] = next(mine, None) if facts["tty"] is not None else None
    return facts


def _name(pair: Pair, subject: Subject) -> str:
    if isinstance(pair.vm, str):
        return f"the VM {pair.vm}"
    if pair.vm is None:
        return "a VM that this host does not have"
    vms = {item.vm for item in subject.items}
    return f"the VM {vms.pop()}" if len(vms) == 1 else "the VM"


def _same_vm(pair: Pair, subject: Subject) -> bool | UnsetType:
    if pair.vm is None:
        return False
    if not known(pair.vm):
        return UNSET
    if any(item.vm == pair.vm for item in subject.items):
        return True
    return UNSET if subject.partial else False


def _served(context: Context, pair: Pair) -> bool | UnsetType:
    """Whether any adapter of this host is for the VM that was captured."""
    if not known(pair.vm):
        return UNSET
    if any(item.vm == pair.vm for one in context.subjects for item in one.items):
        return True
    return UNSET if any(one.partial for one in context.subjects) else False


def _held(context: Context, pair: Pair, subject: Subject) -> bool | UnsetType:
    """Whether the process of the captured VM holds the adapter at this moment."""
    if not isinstance(pair.vm, str) or pair.process is None or way(subject) == "forwarded":
        return UNSET
    device, handles = subject.device, context.handles_of(pair.process.pid)
    if device is None and way(subject) != "controller":
        return certain(False, present(context, subject) is False)
    if not known(handles):
        return UNSET
    if device is None:
        given = any("/vfio/" in one.path or one.path == "/dev/iommu" for one in handles)
        return certain(given, context.whole("handles"))
    minor = usb_minor(device)
    if minor is None:
        return UNSET
    held = any((one.major, one.minor) == (USBFS_MAJOR, minor) and not one.deleted for one in handles)
    return certain(held, context.whole("handles"))


def _unseen(pair: Pair, subject: Subject, same: bool | UnsetType) -> str:
    """Why nothing can be said of the VM's side, in words."""
    match = pair.match(subject)
    if same is False:
        return f"the capture that was given is of {_name(pair, subject)}"
    if pair.together is False:
        return f"the capture of the VM is of another time than the host's; {AGAIN}"
    if way(subject) == "forwarded" and not known(match):
        return "a serial port that is given to a VM does not show there what hangs behind it"
    if known(match) and len(match.devices) > 1:
        return f"{_name(pair, subject)} has {len(match.devices)} devices that could be it"
    if known(match) and match.rivals:
        return f"{_name(pair, subject)} has a device that could be this adapter or another one of this host"
    return f"not everything could be seen in {_name(pair, subject)}"
