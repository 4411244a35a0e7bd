"""The kernel log, read into typed events.

Sources, in this order: the journal of this boot, the kernel's ring buffer through
`dmesg`, and text that somebody pasted (`read`).  What a message means is in
`kernel_formats`; here it is only found, timed and taken apart.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from typing import Any

from radiocheck.evidence.record import Event, Gap, KernelLog

from . import journal
from .kernel_formats import CONTROLLER, CORE, FORMATS, INTERFACE, KINDS, TTY, Format
from .machine import Machine, Seen, ToolHung, ToolMissing

__all__ = ["KINDS", "collect", "parse", "read", "read_line"]

EVENTS_LIMIT = 4000  # events that are kept; the newest
LINES_LIMIT = 100_000  # lines that are asked of the journal; the newest
TEXT_LIMIT = 400  # characters of a message that are kept

_TELLING = ("denied", "timed-out", "failed", "not-here", "no-tool")  # of two gaps, the one that tells more
_BANNER = "Linux version "  # init/version-timestamp.c, linux_banner: the kernel's first own words

# dev_name of USB devices, ports, interfaces (drivers/usb/core/usb.c, port.c, message.c) and ttys.
_NAME = re.compile(
    r"(?P<port>(?:usb\d+|\d+-[\d.]+)-port\d+)|(?P<interface>\d+-[\d.]+:\d+\.\d+)"
    r"|(?P<device>usb\d+|\d+-\d+(?:\.\d+)*)|(?P<tty>tty(?:USB|ACM)\d+)|(?P<controller>\S+)"
)
# A failed probe of a PCI function matters only for what drives USB or hands functions out.
_HOST_DRIVER = re.compile(r"[eoux]hci|dwc[23]|vfio|usbip|vhci")


@cache
def _formats(place: str) -> tuple[Format, ...]:
    return tuple(entry for entry in FORMATS if entry.place == place)


def read_line(text: str, at: float | None = None) -> Event | None:
    """The event in one kernel message (without time stamp), or None for other messages.

    `at` is its time in Unix seconds.  Nothing in the text can make this raise.
    """
    head, colon, body = text.partition(": ")
    if not colon:
        return None
    driver, _, name = head.rpartition(" ")
    if not driver:
        return _failed_probe(text, at) if body.startswith("probe of ") else None
    shape = _NAME.fullmatch(name)
    if shape is None or shape.lastgroup is None:
        return None
    body = body[:2000]
    for entry in _formats(shape.lastgroup):
        if entry.needle in body and (match := entry.pattern.fullmatch(body)):
            return _event(entry, text, at, driver, shape.lastgroup, name, match.groupdict())
    return None


def _failed_probe(text: str, at: float | None) -> Event | None:
    """The driver core's line of Linux 6.1, which names the driver before the device."""
    entry = _formats(CORE)[0]
    match = entry.pattern.fullmatch(text[:2000])
    shape = _NAME.fullmatch(match["name"]) if match else None
    if match is None or shape is None or shape.lastgroup is None:
        return None
    values = match.groupdict()
    return _event(entry, text, at, values["drv"], shape.lastgroup, values.pop("name"), values)


def _event(
    entry: Format, text: str, at: float | None, driver: str, place: str, name: str, values: dict[str, Any]
) -> Event | None:
    fields: dict[str, str] = {}
    if place == INTERFACE:
        values = {"interface": name, "drv": driver} | values
        device = name.partition(":")[0]
        # The interface of a root hub is called 1-0:1.0, the root hub itself usb1.
        fields["device"] = "usb" + device[:-2] if device.endswith("-0") else device
    else:
        fields[place] = name
        if place in (TTY, CONTROLLER):
            values = {"drv": driver} | values
    if entry.kind == "probe-failed" and place == CONTROLLER and not _HOST_DRIVER.match(values["drv"]):
        return None
    if tty := values.pop("tty", None):
        fields["tty"] = tty
    if "bcd" in values:
        values["bcd"] = values["bcd"].lstrip()  # printed as %2x.%02x
    data = {key: _kept(value) for key, value in values.items() if key != "_"}
    return Event(kind=entry.kind, at=at, data=data, text=_kept(text), **fields)


def _kept(text: str) -> str:
    """As it was printed, at most `TEXT_LIMIT` characters, without NUL."""
    return text[:TEXT_LIMIT].replace("\0", "")


def collect(machine: Machine) -> Seen:
    """`kernel_log`: the USB events of this boot, from the journal or else from `dmesg`."""
    lines = journal.ask(machine, "kernel_log", LINES_LIMIT, "-k")
    if isinstance(lines, list) and lines:
        log, gaps = _log("journal", lines)
        return Seen({"kernel_log": log}, gaps)
    log_or_gap = _from_dmesg(machine)
    if isinstance(log_or_gap, Gap):
        tried = [gap for gap in (lines, log_or_gap) if isinstance(gap, Gap)]
        return Seen({}, (min(tried, key=lambda gap: _TELLING.index(gap.why)),))
    log, gaps = log_or_gap
    return Seen({"kernel_log": log}, gaps)


def _from_dmesg(machine: Machine) -> tuple[KernelLog, tuple[Gap, ...]] | Gap:
    try:
        ran = machine.run(("dmesg", "--time-format=iso"))
        if ran.code and "not permitted" not in ran.err:
            ran = machine.run(("dmesg",))  # readers other than util-linux know no option for the time
    except ToolMissing:
        return _gap("no-tool", "dmesg is not installed")
    except ToolHung:
        return _gap("timed-out", "dmesg did not answer")
    lines = list(_text_lines(ran.out, _booted(machine)))
    if ran.code or not lines:
        error = ran.err.strip().split("\n")[0][:200] or "dmesg printed nothing"
        denied = "not permitted" in error
        return _gap("denied" if denied else "failed", error, journal.RIGHTS if denied else "")
    return _log("dmesg", lines)


def _gap(why: str, detail: str, provide: str = "") -> Gap:
    return Gap(what="kernel_log", why=why, detail=detail, provide=provide)


def _booted(machine: Machine) -> float | None:
    """Time of boot in Unix seconds, by `btime` of /proc/stat (proc(5))."""
    try:
        match = re.search(r"^btime (\d+)$", machine.read("/proc/stat"), re.MULTILINE)
    except OSError:
        return None
    return float(match[1]) if match else None


def _log(source: str, lines: list[tuple[float | None, str]]) -> tuple[KernelLog, tuple[Gap, ...]]:
    events: list[Event] = []
    for at, text in reversed(lines):  # the newest first, so that a flood costs no more than what is kept
        if event := read_line(text, at):
            events.append(event)
            if len(events) > EVENTS_LIMIT:
                break
    events.reverse()
    since = next((at for at, _ in lines if at is not None), None)
    # arm64 and others print a line or two before the banner.
    from_boot = any(text.startswith(_BANNER) for _, text in lines[:20])
    gaps: tuple[Gap, ...] = ()
    if len(events) > EVENTS_LIMIT:
        gaps = (_gap("failed", f"too many USB messages: only the newest {EVENTS_LIMIT} are kept"),)
        events = events[-EVENTS_LIMIT:]
        since, from_boot = events[0].at, False
    return KernelLog(source=source, events=events, since=since, from_boot=from_boot), gaps


_STAMP = re.compile(
    r"(?:<\d+>)?(?:"
    r"\[ *(?P<uptime>\d+\.\d+)\]"
    r"|(?P<iso>\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:[.,]\d+)?(?:[+-]\d\d:?\d\d|Z)) "
    r"|\[\w{3} \w{3} [ \d]\d \d\d:\d\d:\d\d \d{4}\]|\w{3} [ \d]\d \d\d:\d\d:\d\d "  # without time zone: no time
    r") ?(?:\[ *[TC]\d+\] )?(?:\S+ kernel: (?:\[ *\d+\.\d+\] )?)?"
)


def _text_lines(text: str, booted: float | None) -> Iterator[tuple[float | None, str]]:
    """Time and message of each line of `dmesg` or `journalctl` text.

    Once a line with a time stamp was seen, lines without one only continue a message
    (`dmesg` indents them): a device's string with a line break in it cannot pass for a
    message of the kernel.
    """
    stamped = False
    for line in text.replace("\r\n", "\n").split("\n"):
        match = _STAMP.match(line)
        if match is None:
            if line and not stamped:
                yield None, line
            continue
        stamped = True
        at = None
        if match["uptime"]:
            at = None if booted is None else booted + float(match["uptime"])
        elif match["iso"]:
            at = _iso(match["iso"])
        yield at, line[match.end() :]


def _iso(stamp: str) -> float | None:
    try:
        return datetime.fromisoformat(stamp.replace(",", ".")).timestamp()
    except (ValueError, OverflowError):
        return None


def parse(text: str, booted: float | None = None) -> list[Event]:
    """The events in text that somebody copied from `dmesg` or `journalctl`, oldest first.

    `booted` is the time of boot in Unix seconds; without it a stamp such as `[  12.345678]`
    gives no time, and neither does one without year and time zone.
    """
    return list(read(text, booted).events)


def read(text: str, booted: float | None = None) -> KernelLog:
    """The kernel log in pasted text: `dmesg`, `journalctl -k` or `journalctl -k -o json`."""
    from textwrap import dedent  # only here: live reading must not pay for it

    if text.lstrip().startswith("{"):
        # A whole journal may be pasted, and any program may write into that.
        return _log("paste", list(journal.lines(text, "kernel")))[0]
    return _log("paste", list(_text_lines(dedent(text), booted)))[0]
