"""The kernel log is read by the kernel's own formats."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from radiocheck.sources.kernel_formats import CORE, FORMATS, KINDS
from radiocheck.sources.kernel_log import EVENTS_LIMIT, collect, parse, read, read_line
from radiocheck.sources.machine import Machine, Ran, ToolHung, ToolMissing, run

REMOTE = "/lib/systemd/systemd-journal-remote"
SOURCE = os.environ.get("RADIOCHECK_KERNEL_SOURCE")  # an unpacked Debian linux-source-6.1 or linux-source-6.12
BOOTED = 1_700_000_000


def rows() -> list[dict[str, str]]:
    """Formats copied from Linux 6.1.192 and 6.12.117 (Debian linux-source), each with a line made by it."""
    with open(Path(__file__).with_name("kernel_messages.tsv"), encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))


TABLE = rows()


def test_the_catalogue_is_the_table() -> None:
    """Each format of the catalogue stands in the copied table with its source file and versions, and no other."""
    of_table = {(row["file"], row["format"], row["kind"], row["versions"]) for row in TABLE}
    of_catalogue = {(entry.file, entry.printk, entry.kind, entry.only or "6.1 6.12") for entry in FORMATS}
    assert of_catalogue == of_table


def test_every_kind_has_a_meaning_and_a_format() -> None:
    """The kinds that are explained are the kinds that can be found."""
    assert {entry.kind for entry in FORMATS} == set(KINDS)
    assert all(meaning and "\n" not in meaning for meaning in KINDS.values())


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["sample"][:60])
def test_a_line_of_each_format_is_that_kind(row: dict[str, str]) -> None:
    """A line as the kernel's format prints it gives an event of the kind in the table."""
    event = read_line(row["sample"], 5.0)
    assert event is not None
    assert (event.kind, event.at, event.text) == (row["kind"], 5.0, row["sample"])
    assert event.device or event.port or event.tty or event.controller


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["sample"][:60])
def test_no_line_fits_two_kinds(row: dict[str, str]) -> None:
    """Tried against every format of every place, a line fits formats of one kind only."""
    body = row["sample"].partition(": ")[2]
    fits = {entry.kind for entry in FORMATS if entry.place != CORE and entry.pattern.fullmatch(body)}
    assert fits == (set() if " probe of " in row["sample"] else {row["kind"]})


@pytest.mark.skipif(not SOURCE, reason="RADIOCHECK_KERNEL_SOURCE names no kernel source tree")
def test_the_kernel_prints_each_format() -> None:
    """The named source file of the kernel has each format as a whole string literal."""
    tree = Path(SOURCE or "")
    version = re.search(r"VERSION = (\d+)\nPATCHLEVEL = (\d+)", (tree / "Makefile").read_text())
    assert version is not None
    entries = [entry for entry in FORMATS if entry.only in ("", f"{version[1]}.{version[2]}")]
    # A literal that is split over lines is put together, as the C compiler does.
    text = {file: re.sub(r'"\s*\n\s*"', "", (tree / file).read_text()) for file in {entry.file for entry in entries}}
    assert [entry for entry in entries if f'"{entry.printk}\\n"' not in text[entry.file]] == []
    assert len(entries) > 100


@pytest.mark.parametrize(
    ("line", "fields", "data"),
    [
        ("usb 1-2.4: USB disconnect, device number 7", {"device": "1-2.4"}, {"num": "7"}),
        (
            "usb 1-2: New USB device found, idVendor=1209, idProduct=7a01, bcdDevice= 1.00",
            {"device": "1-2"},
            {"vid": "1209", "pid": "7a01", "bcd": "1.00"},
        ),
        (
            "usb 2-1: new SuperSpeed Plus Gen 2x1 USB device number 3 using xhci_hcd",
            {"device": "2-1"},
            {"speed": "SuperSpeed Plus Gen 2x1", "num": "3", "hcd": "xhci_hcd"},
        ),
        ("usb 1-2-port4: disabled by hub (EMI?), re-enabling...", {"port": "1-2-port4"}, {}),
        ("hub 1-2:1.0: over-current condition", {"device": "1-2"}, {"interface": "1-2:1.0", "drv": "hub"}),
        ("hub 1-0:1.0: over-current condition", {"device": "usb1"}, {"interface": "1-0:1.0", "drv": "hub"}),
        (
            "cdc_acm 1-2:1.0: ttyACM0: USB ACM device",
            {"device": "1-2", "tty": "ttyACM0"},
            {"interface": "1-2:1.0", "drv": "cdc_acm"},
        ),
        (
            "usb 1-2: FTDI USB Serial Device converter now attached to ttyUSB0",
            {"device": "1-2", "tty": "ttyUSB0"},
            {"desc": "FTDI USB Serial Device"},
        ),
        (
            "cp210x ttyUSB0: cp210x converter now disconnected from ttyUSB0",
            {"tty": "ttyUSB0"},
            {"drv": "cp210x", "desc": "cp210x"},
        ),
        (
            "xhci_hcd 0000:00:14.0: new USB bus registered, assigned bus number 1",
            {"controller": "0000:00:14.0"},
            {"drv": "xhci_hcd", "bus": "1"},
        ),
        (
            "cp210x: probe of 1-2:1.0 failed with error -5",
            {"device": "1-2"},
            {"interface": "1-2:1.0", "drv": "cp210x", "err": "-5"},
        ),
        ("cp210x: probe of ttyUSB0 failed with error -5", {"tty": "ttyUSB0"}, {"drv": "cp210x", "err": "-5"}),
        (
            "usb 1-2: usbfs: process 4242 (CPU 0/KVM) did not claim interface 0 before use",
            {"device": "1-2"},
            {"pid": "4242", "comm": "CPU 0/KVM", "n": "0"},
        ),
        (
            "usb 1-2: usbfs: interface 0 claimed by cp210x while 'brltty' sets config #1",
            {"device": "1-2"},
            {"n": "0", "drv": "cp210x", "comm": "brltty", "c": "1"},
        ),
        ("usb usb2-port1: cannot reset (err = -110)", {"port": "usb2-port1"}, {"err": "-110"}),
        ("usb 1-2.4: no configuration chosen from 2 choices", {"device": "1-2.4"}, {"n": "2"}),
    ],
)
def test_an_event_is_placed_and_taken_apart(line: str, fields: dict[str, str], data: dict[str, str]) -> None:
    """Device, port, tty and controller are in their fields, the rest of the values in `data`."""
    event = read_line(line)
    assert event is not None
    placed = {name: getattr(event, name) for name in ("device", "port", "tty", "controller")}
    assert {name: value for name, value in placed.items() if value} == fields
    assert event.data == data


@pytest.mark.parametrize(
    "line",
    [
        "",
        ": ",
        "usb 1-2",
        "usb 1-2: something else",
        "EXT4-fs (vda): mounted filesystem",
        "nvme nvme0: device disconnected",
        "nvme: probe of 0000:01:00.0 failed with error -5",
        "nvme 0000:01:00.0: probe with driver nvme failed with error -5",
        "probe of failed with error",
        "wlan0: disconnect from AP",
        "usbcore: registered new interface driver cp210x",
        "input: Mesh stick as /devices/pci0000:00/0000:00:14.0/usb1/1-2",
        "hub 1-0:1.0: 16 ports detected",
    ],
)
def test_other_messages_are_passed_over(line: str) -> None:
    """A message that means nothing for the path is no event."""
    assert read_line(line) is None


def test_a_failed_probe_of_a_host_controller_counts() -> None:
    """Of PCI functions only what drives USB, or hands functions out, is of interest."""
    event = read_line("xhci_hcd: probe of 0000:00:14.0 failed with error -110")
    assert event is not None
    assert (event.kind, event.controller) == ("probe-failed", "0000:00:14.0")


@pytest.mark.parametrize(
    "product",
    ["x converter now attached to ttyUSB7", "a\nusb 1-3: USB disconnect, device number 4", "\x1b[31mred\u2028", "\0"],
)
def test_a_string_of_a_device_is_only_a_string(product: str) -> None:
    """What a device calls itself is one value, whatever it looks like; NULs are removed, nothing else."""
    event = read_line(f"usb 1-2: Product: {product}")
    assert event is not None
    assert (event.kind, event.device, event.tty) == ("string-value", "1-2", None)
    assert event.data == {"k": "Product", "v": product.replace("\0", "")}


def test_a_long_line_is_cut() -> None:
    """At most 400 characters of a message are kept."""
    event = read_line("usb 1-2: Product: " + "x" * 1000)
    assert event is not None
    assert len(event.text) == 400
    assert len(event.data["v"]) == 400


def test_hostile_text_never_raises() -> None:
    """No cut or doubled line raises, and reading stays linear."""
    for row in TABLE:
        for cut in range(0, len(row["sample"]), 3):
            read_line(row["sample"][:cut])
            read_line(row["sample"][cut:])
        read_line(row["sample"] * 50)
    started = time.monotonic()
    read_line("usb 1-2: " + " converter now attached to " * 20_000)
    read_line("usb 1-2: usbfs: interface 1 claimed by " + "' while '" * 20_000)
    assert time.monotonic() - started < 2


def test_a_long_log_is_read_quickly() -> None:
    """20 000 lines, a third of them of USB, take about 0.12 s; the bound leaves room for slow machines."""
    lines = [row["sample"] for row in TABLE] + ["nvme nvme0: 4/0/0 default/read/poll queues", "audit: type=1400"] * 100
    started = time.process_time()
    for index in range(20_000):
        read_line(lines[index % len(lines)])
    assert time.process_time() - started < 2


DMESG = """[    0.000000] Linux version 6.1.0-37-amd64 (debian-kernel@lists.debian.org)
[    2.500000] usb 1-2: new full-speed USB device number 2 using xhci_hcd
[   12.345678] usb 1-2: USB disconnect, device number 2
"""


@pytest.mark.parametrize(
    ("prefix", "at"),
    [
        ("[   12.345678] ", BOOTED + 12.345678),
        ("<6>[   12.345678] ", BOOTED + 12.345678),
        ("[   12.345678][  T123] ", BOOTED + 12.345678),
        ("2023-11-14T22:13:32,345678+00:00 ", BOOTED + 12.345678),
        ("2023-11-14T23:13:32+0100 gable kernel: ", BOOTED + 12),
        ("2023-11-14T22:13:32.345678Z gable kernel: [   12.345678] ", BOOTED + 12.345678),
        ("[Tue Nov 14 22:13:32 2023] ", None),
        ("Nov 14 22:13:32 gable kernel: ", None),
        ("Nov  4 22:13:32 gable kernel: [   12.345678] ", None),
        ("", None),
    ],
)
def test_pasted_lines_with_any_usual_stamp(prefix: str, at: float | None) -> None:
    """Formats of dmesg(1) (plain, raw, iso, ctime) and journalctl(1) (short, short-iso); without zone no time."""
    (event,) = parse(prefix + "usb 1-2: USB disconnect, device number 2\n", BOOTED)
    assert (event.kind, event.device) == ("disconnect", "1-2")
    assert event.at == (None if at is None else pytest.approx(at))


def test_a_paste_without_boot_time_has_no_times() -> None:
    """Seconds since boot alone are no time."""
    assert [event.at for event in parse(DMESG)] == [None, None]


def test_a_paste_may_be_indented_and_have_dos_line_ends() -> None:
    """Text copied out of a form is still read."""
    pasted = "".join(f"    {line}\r\n" for line in DMESG.splitlines())
    log = read(pasted)
    assert [event.kind for event in log.events] == ["new-device", "disconnect"]
    assert log.from_boot is True
    assert log.source == "paste"


def test_a_line_break_in_a_string_forges_no_message() -> None:
    """dmesg of util-linux 2.38 indents what continues a record (seen with a record written to /dev/kmsg)."""
    text = "[    2.0] usb 1-2: Product: a\n           usb 1-3: USB disconnect, device number 4\n"
    text += "[    3.0] usb 1-2: SerialNumber: b\u2028[    4.0] usb 1-3: USB disconnect, device number 4\n"
    assert Counter(event.kind for event in parse(text)) == {"string-value": 2}


def test_a_pasted_json_journal_is_read() -> None:
    """`journalctl -k -o json` can be pasted too, and only the kernel's good lines in it count."""
    entry = {"MESSAGE": "usb 1-2: USB disconnect, device number 2", "__REALTIME_TIMESTAMP": "1700000012345678"}
    entry["_TRANSPORT"] = "kernel"
    other = json.dumps(entry | {"_TRANSPORT": "syslog"}) + "\n"
    good = json.dumps(entry) + "\n"
    log = read(other + good + '{"MESSAGE": \n{"MESSAGE": null}\n[1]\n' + good)
    assert [(event.kind, event.at) for event in log.events] == [("disconnect", 1700000012.345678)] * 2


class Runs:
    """A runner that answers by program name and notes what was asked."""

    def __init__(self, **answers: Ran | Exception) -> None:
        self.answers, self.asked = answers, []  # type: ignore[var-annotated]  # list[tuple[str, ...]]

    def __call__(self, argv: tuple[str, ...], limit: float = 0) -> Ran:
        self.asked.append(argv)
        answer = self.answers.get(argv[0], ToolMissing(argv[0]))
        if isinstance(answer, Exception):
            raise answer
        return answer


def machine(tmp_path: Path, runs: Any) -> Machine:
    """A machine that booted at BOOTED."""
    (tmp_path / "proc").mkdir(exist_ok=True)
    (tmp_path / "proc/stat").write_text(f"cpu 1 2\nbtime {BOOTED}\n")
    return Machine(root=str(tmp_path), run=runs)


NO_JOURNAL = Ran(1, "", "No journal files were found.\n")
REFUSED = Ran(1, "", "dmesg: read kernel buffer failed: Operation not permitted\n")
HINT = "Hint: You are currently not seeing messages from other users and the system.\n"


def test_without_a_journal_dmesg_is_read(tmp_path: Path) -> None:
    """A dmesg that knows no option for the time is asked again without, and boot time comes from /proc/stat."""

    def runs(argv: tuple[str, ...], limit: float = 0) -> Ran:
        if argv[0] == "journalctl":
            raise ToolMissing(argv[0])
        return Ran(1, "", "dmesg: unrecognized option") if len(argv) > 1 else Ran(0, DMESG, "")

    seen = collect(machine(tmp_path, runs))
    log = seen.facts["kernel_log"]
    assert (log.source, log.from_boot, log.since) == ("dmesg", True, BOOTED)
    assert [event.at for event in log.events] == [BOOTED + 2.5, pytest.approx(BOOTED + 12.345678)]
    assert seen.gaps == ()


def test_the_boot_is_missing_when_the_buffer_ran_over(tmp_path: Path) -> None:
    """A log that does not begin with the kernel's banner does not reach back to the boot."""
    text = "2023-11-14T22:13:32,345678+00:00 usb 1-2: USB disconnect, device number 2\n"
    log = collect(machine(tmp_path, Runs(journalctl=NO_JOURNAL, dmesg=Ran(0, text, "")))).facts["kernel_log"]
    assert log.from_boot is False
    assert log.since == pytest.approx(BOOTED + 12.345678)


@pytest.mark.parametrize(
    ("journal", "dmesg", "why"),
    [
        (Ran(0, '{"MESSAGE":"x"}\n', HINT), REFUSED, "denied"),
        (Ran(1, "", "No journal files were opened due to insufficient permissions.\n"), REFUSED, "denied"),
        (NO_JOURNAL, REFUSED, "denied"),
        (ToolMissing("journalctl"), ToolMissing("dmesg"), "no-tool"),
        (ToolHung("journalctl"), ToolMissing("dmesg"), "timed-out"),
        (NO_JOURNAL, Ran(0, "", ""), "failed"),
    ],
)
def test_a_log_that_cannot_be_read_is_a_gap(tmp_path: Path, journal: Any, dmesg: Any, why: str) -> None:
    """One gap says why, and what rights would help; the log itself is absent, not empty."""
    seen = collect(machine(tmp_path, Runs(journalctl=journal, dmesg=dmesg)))
    assert seen.facts == {}
    (gap,) = seen.gaps
    assert (gap.what, gap.why) == ("kernel_log", why)
    assert ("root" in gap.provide) == (why == "denied")


def test_the_journal_of_one_user_does_not_stand_for_the_kernel_log(tmp_path: Path) -> None:
    """With only the caller's own messages in the journal, dmesg is asked."""
    own = Ran(0, '{"MESSAGE":"usb 1-9: USB disconnect, device number 2"}\n', HINT)
    log = collect(machine(tmp_path, Runs(journalctl=own, dmesg=Ran(0, DMESG, "")))).facts["kernel_log"]
    assert log.source == "dmesg"
    assert {event.device for event in log.events} == {"1-2"}


def test_a_flood_keeps_the_newest_and_says_so(tmp_path: Path) -> None:
    """Of more events than are kept the newest stay, oldest first, and the log no longer reaches to the boot."""
    lines = ["[    0.000000] Linux version 6.1"]
    lines += [f"[ {number}.0] usb 1-2: USB disconnect, device number {number}" for number in range(EVENTS_LIMIT + 10)]
    text = "\n".join(lines)
    seen = collect(machine(tmp_path, Runs(journalctl=NO_JOURNAL, dmesg=Ran(0, text, ""))))
    log = seen.facts["kernel_log"]
    assert len(log.events) == EVENTS_LIMIT
    assert log.events[-1].data["num"] == str(EVENTS_LIMIT + 9)
    assert (log.from_boot, log.since) == (False, log.events[0].at)
    assert [gap.what for gap in seen.gaps] == ["kernel_log"]


def entry(number: int, message: str, transport: str = "kernel") -> bytes:
    """One journal entry of this boot in the export format (systemd's JOURNAL_EXPORT_FORMATS)."""
    boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip().replace("-", "")
    fields = {
        "__REALTIME_TIMESTAMP": BOOTED * 1_000_000 + 9_000_000 + number,
        "__MONOTONIC_TIMESTAMP": 9_000_000 + number,
        "_SOURCE_MONOTONIC_TIMESTAMP": 2_000_000 + number,
        "_BOOT_ID": boot,
        "_TRANSPORT": transport,
    }
    head = "".join(f"{name}={value}\n" for name, value in fields.items()).encode()
    body = message.encode()
    return head + b"MESSAGE\n" + len(body).to_bytes(8, "little") + body + b"\n\n"


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """A real journal file, written by systemd's own program."""
    if not os.path.exists(REMOTE):
        pytest.skip("Debian's systemd-journal-remote is not installed")
    folder = tmp_path / "journal"
    folder.mkdir()
    entries = [
        entry(1, "Linux version 6.1.0-37-amd64 (debian-kernel@lists.debian.org)"),
        entry(2, "usb 1-2: New USB device found, idVendor=1209, idProduct=7a01, bcdDevice= 1.00"),
        entry(3, "usb 1-3: USB disconnect, device number 4", transport="syslog"),
        entry(4, "usb 1-2: Product: Mesh\nusb 1-3: USB disconnect, device number 4\x1b[31m"),
    ]
    command = [REMOTE, "-o", str(folder / "test.journal"), "-"]
    subprocess.run(command, input=b"".join(entries), check=True, capture_output=True)
    return folder


def test_a_real_journal_is_read(journal: Path) -> None:
    """Only the kernel's entries count, at the time when the kernel printed them; binary messages are whole."""

    def journalctl(argv: tuple[str, ...], limit: float = 5) -> Ran:
        return run([argv[0], "--directory", str(journal), *argv[1:]], limit)

    seen = collect(Machine(run=journalctl))
    log = seen.facts["kernel_log"]
    assert seen.gaps == ()
    assert (log.source, log.from_boot) == ("journal", True)
    assert [event.kind for event in log.events] == ["found", "string-value"]
    # Received 9 s after boot, printed at 2 s: what journald stamps on everything that was printed before it ran.
    assert log.events[0].at == pytest.approx(BOOTED + 2, abs=0.001)
    assert log.events[1].data["v"] == "Mesh\nusb 1-3: USB disconnect, device number 4\x1b[31m"


def test_this_machine_is_read_without_harm() -> None:
    """On any machine the result is a log or a gap."""
    seen = collect(Machine())
    assert ("kernel_log" in seen.facts) or seen.gaps
