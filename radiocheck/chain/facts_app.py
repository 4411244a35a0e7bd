"""What programs said when they could not use an adapter: words that only a paste carries."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import FROM_PORT, AppMessage
from radiocheck.evidence.usb import UsbDevice

from .context import USBFS_MAJOR, Context
from .held import device_ttys, usb_minor
from .mentioned import NODE
from .pasted import is_paste

_UNSAID: dict[str, Any] = {
    "app_positions": None,
    "rights_shown": False,
    "hidden_words": None,
    "sandbox": None,
    "kept_by_driver": None,
}
# To claim an interface is what programs do that bring a driver of their own (libusb, pyusb).
_CLAIM = re.compile(r"LIBUSB_|libusb|[Cc]laim|usb\.core|USBError|[Kk]ernel driver")
# The tools of a UPS daemon push the driver of HID devices aside themselves: then another program has it.
_PUSHES_HID = re.compile(r"usbhid-ups|nutdrv|\bnut-|\bUPS\b|USB device \[[0-9a-f]{4}:")
# Drivers of one kind of receiver only: drivers/nfc/pn533/usb.c, drivers/nfc/port100.c, and
# drivers/media/usb/dvb-usb-v2/rtl28xxu.c, whose receivers people use without it
_SINGLE = frozenset({"pn533_usb", "port100", "dvb_usb_rtl28xxu"})
_NO_OWNER = frozenset({"usbfs", "hub", "usb"})
_KERNEL_NAME = re.compile(r"/dev/tty(?:USB|ACM)\d+")
# udev's name of maker, product and serial number (rules.d/60-serial.rules)
_BY_ID = re.compile(
    r"/dev/serial/by-id/usb-(?P<model>.{1,120})_(?P<serial>[^_/]{4,60})-(?P<port>if[0-9a-f]{2}(?:-port\d{1,2})?)"
)
# A name that only a rule of the person's own makes: none of the kernel's (Documentation/admin-guide/devices.txt).
_OWN_NAME = re.compile(
    r"/dev/(?!(?:tty|bus|serial|disk|input|dri|snd|usb|hid|hidraw|video|media|cdc|wdm|gpio|i2c|spi|rtc|watchdog|kvm|vfio"
    r"|net|null|zero|mem|shm|pts|ptmx|console|loop|sd|sr|nvme|mmc|lp|ppp|fuse|port|rfcomm|ACM|USB|gps\d|modem\d)\w{0,20}(?:/|$))"
    r"[A-Za-z][\w.-]{1,60}"
)


def app_facts(context: Context, device: UsbDevice | None) -> dict[str, Any]:
    """Facts `app_…` of `AccessFacts`.

    On a live machine there are no such words, and nothing follows from that: the rules that
    ask for them have better evidence there, so all are false.
    """
    evidence = context.evidence
    if not is_paste(evidence):
        return {"app_denied": False, "app_busy": False, "app_missing": None, "app_words": None, **_UNSAID}
    told = evidence.app_messages if known(evidence.app_messages) else []
    messages = [one for one in told if not one.over and is_about(one, context, device)]
    # What is listed now is no name of before: it came back, or the program is in a sandbox without it.
    shown = {f"/dev/{name}" for name in device_ttys(device)} if device is not None else set()
    facts: dict[str, Any] = {
        "app_denied": any(one.kind in ("denied", "not-permitted") for one in messages),
        "app_busy": any(one.kind == "busy" for one in _but_echoes(messages)),
        "app_missing": next(
            (one.path for one in messages if one.kind == "missing" and one.path and one.path not in shown), None
        ),
    }
    facts["hidden_words"] = next((one.text for one in messages if one.kind == "missing" and one.path in shown), None)
    facts["app_positions"] = next((one.path for one in messages if one.kind == "positions"), None)
    facts["sandbox"] = _sandbox(context, shown)
    facts["kept_by_driver"] = _kept_by_driver(messages, context, device)
    telling = [one.text for one in messages if one.kind in ("denied", "not-permitted", "busy", "missing")]
    # Who pastes `id` beside `ls -l` of a node asks whether these fit together.
    users = evidence.users if known(evidence.users) else []
    facts["rights_shown"] = any(one.asked for one in users) and known(evidence.ttys) and len(context.subjects) == 1
    return facts | {"app_words": telling[-1] if telling else None}


def _but_echoes(messages: Sequence[AppMessage]) -> list[AppMessage]:
    """Without what only says once more that a port could not be opened: `cu` calls it “Line in use” after any error."""
    found: list[AppMessage] = []
    for one in messages:
        last = found[-1] if found else None
        refused = last is not None and last.kind in ("denied", "not-permitted") and last.path == one.path
        if not (refused and "Line in use" in one.text):
            found.append(one)
    return found


def _kept_by_driver(messages: Sequence[AppMessage], context: Context, device: UsbDevice | None) -> str | None:
    """The kernel's driver that has the interface which a program could not claim; null: none, or a program has it."""
    if device is None:
        return None
    interfaces = device.interfaces if known(device.interfaces) else []
    drivers = [one.driver for one in interfaces if isinstance(one.driver, str)]
    claims = [one for one in messages if one.kind == "busy" and _CLAIM.search(one.text)]
    holders = context.holders(USBFS_MAJOR, usb_minor(device))
    if not claims or "usbfs" in drivers or (known(holders) and holders):
        return None
    if any(_PUSHES_HID.search(one.text) for one in claims):
        drivers = [one for one in drivers if one != "usbhid"]
    return next((one for one in drivers if one not in _NO_OWNER), None) or (None if drivers else _of_receivers(context))


def _of_receivers(context: Context) -> str | None:
    """A loaded driver that takes nothing but one kind of receiver, where no interface was shown."""
    modules = context.evidence.modules if known(context.evidence.modules) else []
    return next((one.name for one in modules if one.loaded is True and one.name in _SINGLE), None)


def _sandbox(context: Context, shown: set[str]) -> str | None:
    """What keeps a pasted service from its machine's devices, unless that service is of another port."""
    services = context.evidence.services if known(context.evidence.services) else []
    for service in services:
        tty = service.tty if isinstance(service.tty, str) else None
        here = tty is None or f"/dev/{tty}" in shown
        if service.kind == "sandboxed" and isinstance(service.policy, str) and here:
            return service.policy
    return None


def is_about(message: AppMessage, context: Context, device: UsbDevice | None) -> bool:
    """By the node that it names; a message without one is about the only adapter that there is."""
    path = message.path
    if path is None:
        return len(context.subjects) == 1
    if device is None:
        return False
    links = context.evidence.links if known(context.evidence.links) else []
    target = next((link.target for link in links if link.path == path), None)
    ttys = device_ttys(device)
    if path.removeprefix("/dev/") in ttys or (isinstance(target, str) and target in ttys):
        return True
    if match := NODE.fullmatch(path):
        return (device.bus, device.devnum) == (int(match[1]), int(match[2]))
    # A name whose target was not shown, and through which something came, is that of the only adapter.
    if message.kind in {*FROM_PORT, "no-answer"} and path.startswith("/dev/serial/"):
        return len(context.subjects) == 1 and not isinstance(target, str)
    if message.kind == "missing" and _is_replaced(path, context, ttys):
        return True
    # The kernel's name of an earlier plug-in, or a name that no rule made: of this adapter, when it is the only one.
    alone = message.kind == "missing" and len(context.subjects) == 1
    return alone and bool(_KERNEL_NAME.fullmatch(path) or _OWN_NAME.fullmatch(path))


def _is_replaced(path: str, context: Context, ttys: Sequence[str]) -> bool:
    """Whether a name by ID that is missing differs from this adapter's in the serial number only."""
    asked = _BY_ID.fullmatch(path)
    links = context.evidence.links if known(context.evidence.links) else []
    for link in links if asked is not None else ():
        has = _BY_ID.fullmatch(link.path)
        if has and link.target in ttys and asked and asked["serial"] != has["serial"]:
            return (asked["model"], asked["port"]) == (has["model"], has["port"])
    return False
