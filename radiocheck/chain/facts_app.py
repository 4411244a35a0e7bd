"""What programs said when they could not use an adapter: words that only a paste carries."""

from __future__ import annotations

import re
from typing import Any

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import AppMessage
from radiocheck.evidence.usb import UsbDevice

from .context import Context
from .held import device_ttys
from .mentioned import NODE, is_paste

_UNSAID: dict[str, Any] = {"rights_shown": False, "hidden_words": None, "sandbox": None}
_KERNEL_NAME = re.compile(r"/dev/tty(?:USB|ACM)\d+")
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
    messages = [one for one in told if not one.over and _is_about(one, context, device)]
    # What is listed now is no name of before: it came back, or the program is in a sandbox without it.
    shown = {f"/dev/{name}" for name in device_ttys(device)} if device is not None else set()
    facts: dict[str, Any] = {
        "app_denied": any(one.kind in ("denied", "not-permitted") for one in messages),
        "app_busy": any(one.kind == "busy" for one in messages),
        "app_missing": next(
            (one.path for one in messages if one.kind == "missing" and one.path and one.path not in shown), None
        ),
    }
    facts["hidden_words"] = next((one.text for one in messages if one.kind == "missing" and one.path in shown), None)
    facts["sandbox"] = _sandbox(context, shown)
    telling = [one.text for one in messages if one.kind in ("denied", "not-permitted", "busy", "missing")]
    # Who pastes `id` beside `ls -l` of a node asks whether these fit together.
    users = evidence.users if known(evidence.users) else []
    facts["rights_shown"] = any(one.asked for one in users) and known(evidence.ttys) and len(context.subjects) == 1
    return facts | {"app_words": telling[-1] if telling else None}


def _sandbox(context: Context, shown: set[str]) -> str | None:
    """What keeps a pasted service from its machine's devices, unless that service is of another port."""
    services = context.evidence.services if known(context.evidence.services) else []
    for service in services:
        tty = service.tty if isinstance(service.tty, str) else None
        here = tty is None or f"/dev/{tty}" in shown
        if service.kind == "sandboxed" and isinstance(service.policy, str) and here:
            return service.policy
    return None


def _is_about(message: AppMessage, context: Context, device: UsbDevice | None) -> bool:
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
    # The kernel's name of an earlier plug-in, or a name that no rule made: of this adapter, when it is the only one.
    alone = message.kind == "missing" and len(context.subjects) == 1
    return alone and bool(_KERNEL_NAME.fullmatch(path) or _OWN_NAME.fullmatch(path))
