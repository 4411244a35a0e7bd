"""What gets a chain: adapters on the bus, adapters that are asked for, adapters that are remembered."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event, Evidence, whole
from radiocheck.evidence.usb import UsbDevice

from .adapters import has_by_id, is_adapter, is_hub, is_plainly_other, label
from .bare import is_bare
from .held import device_ttys, hot_plugged, maybe_hot_plugged, usb_minor
from .history import Stay, failing, stays
from .item import Item, picked
from .items import items
from .meant import (
    is_usb_controller,
    lacks_driver,
    may_mean_any,
    meant_by_number,
    misread,
    picks_built_in,
    tty_behind,
)
from .mentioned import left, mentioned, overloaded
from .pasted import is_paste, on_its_own
from .start_error import start_error


class Subject(Struct, frozen=True):
    """One adapter, present or not, with the configuration lines that concern it."""

    label: str
    device: UsbDevice | None
    known_by: str  # bus, configuration, log, port
    items: tuple[Item, ...]
    partial: bool  # there may be lines for it that could not be seen
    guessed: frozenset[int] = frozenset()  # positions in `items` that were tied to it by elimination
    stay: Stay | None = None  # what the log remembers of an absent one
    place: str | None = None  # sysfs name where something fails to enumerate


class _Draft(Struct):
    device: UsbDevice
    items: list[Item] = field(default_factory=list)
    guessed: set[int] = field(default_factory=set)


def subjects(evidence: Evidence, wanted: Callable[[UsbDevice], bool] | None = None) -> list[Subject]:
    """Everything that gets a chain.  `wanted` adds a device that its owner names by hand."""
    events: Sequence[Event] = evidence.kernel_log.events if known(evidence.kernel_log) else []
    history = stays(events)
    about = mentioned(evidence, events)
    devices = [one for one in evidence.usb if not is_hub(one) or one.name in about] if known(evidence.usb) else []
    had_tty = {stay.device for stay in history if stay.tty and not stay.gone}
    everything = items(evidence)
    lines = list(everything)
    lines += hot_plugged(evidence, lines, devices)

    drafts = {device.name: _Draft(device) for device in devices if is_adapter(device, evidence, had_tty)}
    for device in devices:
        if device.name in about or (wanted is not None and wanted(device)):
            drafts.setdefault(device.name, _Draft(device))
    left: list[Item] = []
    for item in lines:
        matched = [
            device
            for device in _targets(item, evidence, devices)
            if not is_plainly_other(device) or device.name in drafts or is_paste(evidence)
        ]
        other = is_paste(evidence) and picks_built_in(item, matched)
        if (
            matched
            and not (
                item.selector in ("address", "node") and meant_by_number(item, history, devices) not in (None, *matched)
            )
            and not (other and _only_free_tty(drafts) is not None)
        ):
            for device in matched:
                drafts.setdefault(device.name, _Draft(device)).items.append(item)
        elif item.unresolved and (held := _held(item, lines, evidence, drafts)):
            for draft in held:
                draft.items.append(item)
        elif item.selector == "nothing":
            for draft, guessed in _wildcard(item, evidence, drafts):
                if guessed:
                    draft.guessed.add(len(draft.items))
                draft.items.append(item)
        elif not matched and len(wrong := [one for one in devices if misread(item, one)]) == 1:
            drafts.setdefault(wrong[0].name, _Draft(wrong[0])).items.append(item)
        elif matched or item.kind != "controller" or is_usb_controller(item, evidence):
            if not matched and item.kind == "device" and _targets(item, evidence, devices):
                continue  # it picks out a disk or a keyboard: not our business
            left.append(item)
    absent: list[Subject] = []
    for item in left:
        home = _home(item, drafts, history, devices, evidence)
        if home is not None:
            draft, guessed = home
            if guessed:
                draft.guessed.add(len(draft.items))
            draft.items.append(item)
        elif not drafts or not is_bare(item, evidence, [draft.device for draft in drafts.values() if not draft.items]):
            absent.append(_absent(item, history))
    native = on_its_own(evidence)
    unread = not native and not (whole(evidence, "domains") and whole(evidence, "qemu"))
    unread |= any(gap.what == "given_vms" for gap in evidence.gaps)  # Xen's files, where there are any
    # A line that pins a number nobody remembers may mean any adapter that nothing else claims.
    # So may any line, when the bus was not seen whole: then none is tied to an adapter by elimination.
    stray = any(subject.stay is None and may_mean_any(subject.items[0]) for subject in absent)
    stray |= bool(absent) and not whole(evidence, "usb")
    present = [
        Subject(
            label=label(draft.device),
            device=draft.device,
            known_by="bus",
            items=tuple(draft.items),
            partial=unread
            or (not draft.items and (stray or (not native and maybe_hot_plugged(draft.device, evidence)))),
            guessed=frozenset(draft.guessed),
        )
        for draft in drafts.values()
    ]
    absent = [replace(subject, partial=unread) for subject in absent]
    found = present + _merged(absent)
    return found + _remembered(found, events, history, evidence, unread)


def _targets(item: Item, evidence: Evidence, devices: Sequence[UsbDevice]) -> list[UsbDevice]:
    """Present devices that a line picks out, whatever its kind."""
    if item.kind == "device":
        return picked(item, devices)
    if item.kind == "controller":
        return [device for device in devices if device.controller == item.controller and not is_plainly_other(device)]
    name = tty_behind(item.tty or "", evidence)
    return [device for device in devices if name is not None and name in device_ttys(device)]


def _home(
    item: Item, drafts: dict[str, _Draft], history: Sequence[Stay], devices: Sequence[UsbDevice], evidence: Evidence
) -> tuple[_Draft, bool] | None:
    """The adapter that a line must have meant: by its IDs, by the log, or because only one is left."""
    if item.kind == "controller":
        return None
    if item.vid is not None and item.pid is not None:
        same = [draft for draft in drafts.values() if (draft.device.vid, draft.device.pid) == (item.vid, item.pid)]
        return (same[0], len(same) > 1 or not whole(evidence, "usb")) if same else None
    if item.kind == "device" and item.pinned:
        meant = meant_by_number(item, history, devices)
        if meant is not None and meant.name in drafts:
            return drafts[meant.name], False
        if is_paste(evidence) and picks_built_in(item, picked(item, devices)):
            sole = _only_free_tty(drafts)
            return (sole, False) if sole is not None else None
    if item.kind == "forwarded":
        named = [draft for draft in drafts.values() if has_by_id(draft.device, item.tty or "")]
        if len(named) == 1:
            return named[0], False
    if item.kind == "forwarded" and not re.match(r"/dev/(ttyUSB|ttyACM|serial/)", item.tty or ""):
        return None
    if item.selector == "port":
        return None
    free = [draft for draft in drafts.values() if not draft.items]
    alone = (
        item.kind == "forwarded"
        and len(drafts) == 1
        and is_paste(evidence)
        and all(lacks_driver(draft.device, evidence) for draft in free)
    )
    return (free[0], True) if len(free) == 1 and (alone or whole(evidence, "usb")) else None


def _only_free_tty(drafts: dict[str, _Draft]) -> _Draft | None:
    """The only adapter with a tty on the host, if no line names it."""
    free = [draft for draft in drafts.values() if device_ttys(draft.device)]
    return free[0] if len(free) == 1 and not free[0].items else None


def _wildcard(item: Item, evidence: Evidence, drafts: dict[str, _Draft]) -> list[tuple[_Draft, bool]]:
    """The adapters of a line without a selector: those that its process holds, else the only free one, as a guess.

    When it could mean several, it is told of none.
    """
    held = [(draft, False) for draft in _held(item, [], evidence, drafts)]
    free = [(draft, True) for draft in drafts.values() if not draft.items]
    said = start_error(evidence, item)
    refused = known(said) and said is not None and said.kind == "id-refused"  # its IDs could not be read
    return held or (free if len(free) == 1 and (refused or whole(evidence, "usb")) else [])


def _held(item: Item, lines: Sequence[Item], evidence: Evidence, drafts: dict[str, _Draft]) -> list[_Draft]:
    """The adapters that an item's process holds and that none of the other lines picks out."""
    pid = item.process.pid if item.process is not None else None
    handles = evidence.handles.open if known(evidence.handles) else []
    minors = {one.minor for one in handles if one.pid == pid and one.major == 189 and not one.deleted}
    held = [draft for draft in drafts.values() if usb_minor(draft.device) in minors]
    return [draft for draft in held if not any(picked(line, [draft.device]) for line in lines if line.kind == "device")]


def _absent(item: Item, history: Sequence[Stay]) -> Subject:
    """A chain for what a VM asks for and the bus does not show."""
    stay = None
    if item.vid is not None:
        stay = next((one for one in reversed(history) if (one.vid, one.pid) == (item.vid, item.pid)), None)
    elif item.address is not None:
        stay = next((one for one in reversed(history) if (one.bus, one.number) == (item.bus, item.address)), None)
    elif item.path is not None and item.bus is not None:
        stay = next((one for one in reversed(history) if one.device == f"{item.bus}-{item.path}"), None)
    if stay is not None and stay.product:
        name = " ".join(word for word in (stay.manufacturer, stay.product, stay.serial) if word)
    elif item.kind == "controller":
        name = f"adapter behind USB controller {item.controller}"
    elif item.kind == "forwarded":
        name = f"adapter behind {item.tty}"
    elif item.vid is not None:
        name = f"USB device {item.vid}:{item.pid}"
    elif item.address is not None:
        name = f"USB device at bus {item.bus} number {item.address}"
    elif item.path is not None:
        name = f"USB device at port {item.path}"
    else:
        name = "a USB device that is not named"
    place = stay.device if stay is not None else None
    return Subject(
        label=name, device=None, known_by="configuration", items=(item,), partial=False, stay=stay, place=place
    )


def _merged(absent: Sequence[Subject]) -> list[Subject]:
    """Two VMs that ask for the same absent thing share one chain."""
    found: dict[str, Subject] = {}
    for subject in absent:
        same = found.get(subject.label)
        if same is not None:
            subject = replace(same, items=same.items + subject.items)
        found[subject.label] = subject
    return list(found.values())


def _remembered(
    found: Sequence[Subject], events: Sequence[Event], history: Sequence[Stay], evidence: Evidence, unread: bool
) -> list[Subject]:
    """What only the log tells of: something that fails to enumerate, or an adapter that left.

    An adapter that left is shown only when nothing else is: a person who pulled out one
    of two adapters has not broken the other.
    """
    devices = [one for one in evidence.usb if is_paste(evidence) or not is_hub(one)] if known(evidence.usb) else []
    # Another socket's current is its own affair while the adapter has its port.
    works = any(subject.device is not None and device_ttys(subject.device) for subject in found)
    troubled = [*failing(events), *(overloaded(events) if is_paste(evidence) and not works else [])]
    trouble = [place for place in dict.fromkeys(troubled) if all(device.name != place for device in devices)]
    absent = [subject for subject in found if subject.device is None]
    if trouble and not absent:
        return [
            Subject(
                label=f"a device at {place} that does not enumerate",
                device=None,
                known_by="port",
                items=(),
                partial=unread,
                place=place,
            )
            for place in trouble
        ]
    if is_paste(evidence):
        gone = left(evidence, events, history, alone=not found)
    else:
        gone = [stay for stay in history if stay.gone and stay.tty] if not found else []
    back = {(device.vid, device.pid) for device in devices}
    gone = [stay for stay in gone if (stay.vid, stay.pid) not in back and _lately(stay, evidence.taken.at)]
    if not gone or any(one.stay == gone[-1] for one in found):
        return []
    stay = gone[-1]
    name = " ".join(word for word in (stay.manufacturer, stay.product, stay.serial) if word)
    ids = f"USB device {stay.vid}:{stay.pid}" if stay.vid else f"the device that was at {stay.device}"
    return [
        Subject(
            label=name or ids,
            device=None,
            known_by="log",
            items=(),
            partial=unread,
            stay=stay,
            place=stay.device,
        )
    ]


def _lately(stay: Stay, now: float) -> bool:
    """Left within a day; what left earlier was put away, not lost."""
    return stay.ended is None or now - stay.ended <= 86_400
