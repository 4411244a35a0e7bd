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

import msgspec

from radiocheck.evidence.record import Event, Gap, KernelLog

from .kernel_formats import CONTROLLER, CORE, FORMATS, INTERFACE, KINDS, TTY, Format
from .machine import Machine, Ran, Seen, ToolHung, ToolMissing

__all__ = ["KINDS", "collect", "parse", "read", "read_line"]

EVENTS_LIMIT = 4000  # events that are kept; the newest
LINES_LIMIT = 100_000  # lines that are asked of the journal; the newest
TEXT_LIMIT = 400  # characters of a message that are kept

_FIELDS = "--output-fields=MESSAGE,_SOURCE_MONOTONIC_TIMESTAMP"
_JOURNAL = ("journalctl", "-k", "-b", "-o", "json", "--no-pager", "-n", str(LINES_LIMIT), _FIELDS)
_RIGHTS = "run as root, or add your user to the group adm or systemd-journal"
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
    tried: list[Gap] = []
    for attempt in (_from_journal, _from_dmesg):
        log, gaps = attempt(machine)
        if log is not None:
            return Seen({"kernel_log": log}, gaps)
        tried += gaps
    # The reader that was refused tells more than the one that is not installed.
    tried.sort(key=lambda gap: ("denied", "timed-out", "failed", "no-tool").index(gap.why))
    return Seen({}, tuple(tried[:1]))


def _gap(why: str, detail: str, provide: str = _RIGHTS) -> tuple[Gap, ...]:
    return (Gap(what="kernel_log", why=why, detail=detail, provide=provide),)


def _from_journal(machine: Machine) -> tuple[KernelLog | None, tuple[Gap, ...]]:
    ran = _run(machine, *_JOURNAL)
    if isinstance(ran, tuple):
        return None, ran
    # systemd's sd-journal/journal access check prints this for people outside adm and
    # systemd-journal (src/shared/journal-util.c); what they do get is their own messages.
    if "not seeing messages from" in ran.err or "insufficient permissions" in ran.err:
        return None, _gap("denied", "the journal shows only the caller's own messages")
    lines = list(_journal_lines(ran.out))
    if not lines:
        return None, _gap("failed", ran.err.strip().splitlines()[0] if ran.err.strip() else "the journal is empty")
    return _log("journal", lines)


def _from_dmesg(machine: Machine) -> tuple[KernelLog | None, tuple[Gap, ...]]:
    ran = _run(machine, "dmesg", "--time-format=iso")
    if not isinstance(ran, tuple) and ran.code and "not permitted" not in ran.err:
        ran = _run(machine, "dmesg")  # readers other than util-linux know no option for the time
    if isinstance(ran, tuple):
        return None, ran
    lines = list(_text_lines(ran.out, _booted(machine)))
    if ran.code or not lines:
        error = ran.err.strip().splitlines()[0] if ran.err.strip() else "dmesg printed nothing"
        return None, _gap("denied" if "not permitted" in error else "failed", error)
    return _log("dmesg", lines)


def _run(machine: Machine, *argv: str) -> Ran | tuple[Gap, ...]:
    try:
        return machine.run(argv)
    except ToolMissing:
        return _gap("no-tool", f"{argv[0]} is not installed", "")
    except ToolHung:
        return _gap("timed-out", f"{argv[0]} did not answer", "")


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
        gaps = _gap("failed", f"too many USB messages: only the newest {EVENTS_LIMIT} are kept", "")
        events = events[-EVENTS_LIMIT:]
        since, from_boot = events[0].at, False
    return KernelLog(source=source, events=events, since=since, from_boot=from_boot), gaps


class _Entry(msgspec.Struct):
    """What is used of a journal entry (systemd.journal-fields(7))."""

    text: str | list[int] | None = msgspec.field(name="MESSAGE", default=None)
    transport: str = msgspec.field(name="_TRANSPORT", default="kernel")
    received: str = msgspec.field(name="__REALTIME_TIMESTAMP", default="")
    received_monotonic: str = msgspec.field(name="__MONOTONIC_TIMESTAMP", default="")
    sent_monotonic: str = msgspec.field(name="_SOURCE_MONOTONIC_TIMESTAMP", default="")


def _journal_lines(text: str) -> Iterator[tuple[float | None, str]]:
    """Time and message of each entry of `journalctl -o json`; broken lines are passed over."""
    decoder = msgspec.json.Decoder(_Entry)
    for line in text.split("\n"):  # splitlines would also break at characters that a device's string may hold
        try:
            entry = decoder.decode(line)
            # A message that is not clean UTF-8 text comes as a list of its bytes.
            message = entry.text if isinstance(entry.text, str) else bytes(entry.text or ()).decode("utf-8", "replace")
        except ValueError:
            continue
        if entry.transport == "kernel":  # a whole journal may be pasted, and any program may write into that
            yield _time(entry), message


def _time(entry: _Entry) -> float | None:
    try:
        at = int(entry.received) / 1e6
    except ValueError:
        return None
    try:
        # The journal receives what was printed during boot seconds later, all at once.
        late = (int(entry.received_monotonic) - int(entry.sent_monotonic)) / 1e6
    except ValueError:
        return at
    return at - late if late > 0 else at


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
        return _log("paste", list(_journal_lines(text)))[0]
    return _log("paste", list(_text_lines(dedent(text), booted)))[0]
