"""What a paste is about.

A person pastes lines about the device that gives trouble, and that need not look like a
serial adapter: a hub, a meter, an uninterruptible power supply.  On a live machine none
of them gets a chain; in a paste the one that error lines, programs' words or a VM's
configuration name does.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event, Evidence, whole
from radiocheck.evidence.usb import UsbDevice, UsbInterface

from .adapters import CDC, VENDOR, is_hub, serial_interfaces
from .disguise import shown_as_drive
from .held import device_ttys
from .history import ENUMERATION_ERRORS, Stay, device_at
from .kept_out import kept_out
from .pasted import is_paste
from .supplies import spoken_of

# Kinds of kernel messages that tell of trouble with a device or its port, beside those of enumeration.
TROUBLE = ENUMERATION_ERRORS | frozenset(
    """
    reset noise over-current bus-power no-configuration no-interfaces set-config-failed strings-unreadable
    not-authorised interface-not-authorised hub-power-short out-of-resources unclaimed-use foreign-set-config
    detached converter-gone endpoints-missing no-minor urb-stopped chip-vendor-error chip-request-error
    chip-control-error probe-failed
    """.split()
)
# Transceivers that the kernel drives as a network of IEEE 802.15.4 (drivers/net/ieee802154/atusb.c; from memory).
TRANSCEIVERS = frozenset({("20b7", "1540")})
NODE = re.compile(r"/dev/bus/usb/0*(\d{1,3})/0*(\d{1,3})")


def troubled(events: Sequence[Event]) -> set[str]:
    """The places that the log's trouble is about, as names of devices."""
    bad = [event for event in events if event.kind in TROUBLE]
    places = {event.device or (device_at(event.port) if event.port else None) for event in bad}
    return {place for place in places if place is not None}


def overloaded(events: Sequence[Event]) -> list[str]:
    """Places whose port drew too much current, as names of devices."""
    ports = [event.port for event in events if event.kind == "over-current" and event.port]
    return [place for port in dict.fromkeys(ports) if (place := device_at(port)) is not None]


def mentioned(evidence: Evidence, events: Sequence[Event]) -> set[str]:
    """Names of present devices that a paste is about, whatever they are; none on a live machine."""
    if not is_paste(evidence) or not known(evidence.usb):
        return set()
    devices = [one for one in evidence.usb if not one.name.startswith("usb")]
    places, paths = troubled(events), _paths(evidence)
    found = {one.name for one in devices if one.name in places or _is_named(one, paths)}
    found |= {one.name for one in devices if known(one.interfaces) and any(_is_idle(part) for part in one.interfaces)}
    if known(evidence.air_readings):
        found |= {one.name for one in devices if (one.vid, one.pid) in TRANSCEIVERS}
    plain = [one for one in devices if not is_hub(one)]
    if not any(device_ttys(one) for one in plain):
        found |= {one.name for one in plain if shown_as_drive(evidence, one)}
        if not (
            found or places or any(serial_interfaces(one, evidence) for one in plain)
        ):  # else somebody does without a camera, and asks for something else
            found |= {one.name for one in plain if kept_out(evidence, one)}
    if known(evidence.usb_nodes) and not whole(evidence, "usb_nodes"):
        listed = [one for one in plain if _is_named(one, {node.path for node in evidence.usb_nodes})]
        found |= {one.name for one in listed} if len(listed) == 1 else set()  # else a folder was listed
    if not found and (supply := spoken_of(evidence, plain)) is not None:
        found.add(supply.name)
    # Its line was picked out of a longer list, or it is all that there is and needs a driver of its own.
    if len(plain) == 1 and (not whole(evidence, "usb") or _is_special(plain[0])):
        found.add(plain[0].name)
    return found


def left(evidence: Evidence, events: Sequence[Event], history: Sequence[Stay], alone: bool) -> list[Stay]:
    """Devices that the pasted log sees leave, and that have a chain.

    `alone`: nothing else has one.  Else somebody may have pulled out another one, unless
    there was trouble with it before.
    """
    places = troubled(events)
    present = {one.name for one in evidence.usb} if known(evidence.usb) else set()
    gone = [one for one in history if one.gone and one.device not in present and (alone or one.device in places)]
    return [one for one in gone if one.tty] or [one for one in gone if one.vid] or gone


def _is_idle(interface: UsbInterface) -> bool:
    """A communications interface (class 2 of USB) that no driver took: `lsusb -t` does not tell which kind it is."""
    return interface.class_ == CDC and interface.driver is None


def _is_special(device: UsbDevice) -> bool:
    """Whether it has an interface of the vendor's own class."""
    return known(device.interfaces) and any(part.class_ == VENDOR for part in device.interfaces)


def _paths(evidence: Evidence) -> set[str]:
    """Nodes and links that programs spoke of, or that the paste singles out; links are followed."""
    messages = evidence.app_messages if known(evidence.app_messages) else []
    handles = evidence.handles.open if known(evidence.handles) else []
    found = {one.path for one in messages if one.path} | {one.path for one in handles}
    targets = {one.path: one.target for one in evidence.links} if known(evidence.links) else {}
    return found | {f"/dev/{targets[path]}" for path in found if isinstance(targets.get(path), str)}


def _is_named(device: UsbDevice, paths: set[str]) -> bool:
    if any(f"/dev/{name}" in paths for name in device_ttys(device)):
        return True
    numbers = [(int(match[1]), int(match[2])) for path in paths if (match := NODE.fullmatch(path))]
    return known(device.bus) and known(device.devnum) and (device.bus, device.devnum) in numbers
