"""Kernel messages in the frames of the programs that show them.

The messages are one of each format (tests/sources/kernel_messages.tsv, Linux 6.1 and 6.12)
and those that the bench's machines logged (fixtures, Linux 6.1).
"""

from __future__ import annotations

import csv
from pathlib import Path

import msgspec
import pytest

from radiocheck.evidence.record import Event, Evidence, KernelLog
from radiocheck.pastes.readers.kernel import message
from radiocheck.sources.kernel_log import read_line

from .said import said, typed, values

ROOT = Path(__file__).parents[3]
with (ROOT / "tests/sources/kernel_messages.tsv").open(newline="") as file:
    SAMPLES = [row["sample"] for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)]

# What stands before a message: dmesg of util-linux 2.38, journalctl of systemd 252, rsyslog, busybox, OpenWrt; people
FRAMES = [
    "",
    "[   12.345678] ",
    "<6>[   12.345678] ",
    "[   12.345678][  T123] ",
    "[   12.345678 <    0.000004>] ",
    "kern  :info  : [   12.345678] ",
    "[Wed Nov 25 12:00:00 2026] ",
    "[Mi Nov 25 12:00:00 2026] ",
    "kern  :err   : [Wed Nov 25 12:00:00 2026] ",
    "2026-11-25T12:00:00,345678+00:00 ",
    "Nov 25 12:00:00 gable kernel: ",
    "Nov 25 12:00:00.345678 gable kernel: ",
    "25. Nov 12:00:00 gable kernel: ",
    "2026-11-25T12:00:00+0000 gable kernel: ",
    "Wed 2026-11-25 12:00:00 UTC gable kernel: ",
    "[   12.345678] gable kernel: ",
    "1795608000.345678 gable kernel: ",
    "Nov 25 12:00:00 gable kernel: [   12.345678] ",
    "2026-11-25T12:00:00.345678+00:00 gable kernel: [   12.345678] ",
    "Nov 25 12:00:00 gable kern.info kernel: [   12.345678] ",
    "Wed Nov 25 12:00:00 2026 kern.info kernel: [   12.345678] ",
    "/var/log/kern.log:Nov 25 12:00:00 gable kernel: ",
    "1234:[   12.345678] ",
    "    17  [   12.345678] ",
    "    [   12.345678] ",
    "> [   12.345678] ",
    "| [   12.345678] ",
    "mira: [   12.345678] ",
]


def events(text: str) -> list[Event]:
    """Events without their clocks."""
    return [event for _, event in values("kernel", text, "event")]


@pytest.mark.parametrize("frame", FRAMES)
def test_every_message_in_every_frame(frame: str) -> None:
    """Kind, place and data are those that the live reader finds in the bare message."""
    for sample in SAMPLES:
        expected = read_line(sample)
        assert expected is not None
        (found,) = events(frame + sample + "\n")
        assert msgspec.structs.replace(found, at=None) == expected, frame + sample


def test_what_the_benchs_machines_logged() -> None:
    """Real messages of Linux 6.1, in the frame of dmesg: the same events in their order, at their times."""
    count = 0
    for path in sorted((ROOT / "fixtures").glob("*/evidence.json")):
        log = msgspec.json.decode(path.read_bytes(), type=Evidence).kernel_log
        known = [event for event in log.events if event.at is not None] if isinstance(log, KernelLog) else []
        began = known[0].at if known else 0.0
        # A product may hold a line break; dmesg indents what follows it.
        rows = [
            f"[{(event.at or 0.0) - (began or 0.0) + 1:12.6f}] {event.text}"
            for event in known
            if "\n" not in event.text
        ]
        expected = {(one.kind, one.device, one.port, one.tty, tuple(one.data.items())) for one in known}
        found = events("\n".join(rows))
        assert {(one.kind, one.device, one.port, one.tty, tuple(one.data.items())) for one in found} == expected, path
        assert all(one.at is not None for one in found)
        count += len(found)
    assert count > 500


@pytest.mark.parametrize(
    ("frame", "clock", "at"),
    [
        ("[   12.345678] ", "uptime", 12.345678),
        ("2026-11-25T12:00:00+0000 gable kernel: ", "date", 1795608000.0),
        ("Nov 25 12:00:00 gable kernel: ", "day", 329 * 86_400 + 43_200),
        ("", None, None),
    ],
)
def test_times_stay_on_their_clock(frame: str, clock: str | None, at: float | None) -> None:
    """A paste's clocks are put together later."""
    (found,) = values("kernel", frame + "usb 1-2: USB disconnect, device number 5", "event")
    assert (found[0], found[1].at) == (clock, at)


def test_the_log_piece_has_the_newest_time() -> None:
    """Lines of other drivers count: the log was read then."""
    text = "[    1.0000] usb 1-2: USB disconnect, device number 5\n[    9.5000] wlan0: associated\n"
    assert values("kernel", text, "log") == [{"clock": "uptime", "last": 9.5, "from_boot": False}]


def test_times_of_dmesg_for_people() -> None:
    """dmesg -H prints minutes and differences."""
    text = "[Nov25 12:00] usb 1-2: USB disconnect, device number 5\n"
    text += "[  +2.500000] usb 1-3: USB disconnect, device number 6\n"
    assert [event.at for event in events(text)] == [329 * 86_400 + 43_200, 329 * 86_400 + 43_202.5]


def test_new_year_does_not_turn_the_order() -> None:
    """A stamp without a year: January comes after December."""
    text = "Dec 31 23:59:59 g kernel: usb 1-2: USB disconnect, device number 5\n"
    text += "Jan  1 00:00:01 g kernel: usb 1-3: USB disconnect, device number 6\n"
    first, second = (event.at for event in events(text))
    assert first is not None
    assert second is not None
    assert second - first == 2


def test_the_same_line_twice_is_one_event() -> None:
    """Excerpts overlap; without a time nobody can tell, and both count."""
    line = "usb 1-2: USB disconnect, device number 5\n"
    assert len(events(f"[    1.0000] {line}[    1.0000] {line}")) == 1
    assert len(events(line + line)) == 2


def boot(count: int = 150) -> str:
    """A log from its first line on."""
    rows = ["[    0.000000] Linux version 6.1.0-56-amd64 (debian-kernel@lists.debian.org) (gcc-12)"]
    rows += [f"[    {number / 100:.6f}] acpi device:{number:02x}: registered" for number in range(1, count)]
    rows += ["[    9.000000] usb 1-2: USB disconnect, device number 5"]
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(
    ("from_boot", "text"),
    [
        (True, boot()),
        (True, typed("dmesg", boot()) + typed("lsusb", "")),
        (True, "Nov 25 12:00:00 gable kernel: " + boot().replace("\n", "\nNov 25 12:00:00 gable kernel: ")),
        (False, typed("dmesg | grep -i -e usb -e linux", boot())),
        (False, typed("journalctl -k -n 300", boot())),
        (False, boot(20)),
        (False, boot().replace("[    0.50", "...\n[    0.50", 1)),
        (False, boot().partition("\n")[2]),
        (False, boot().replace("[    0.000000] Linux version", "Linux version")),
        (False, "$ cat /proc/version\nLinux version 6.1.0-56-amd64 (gcc-12)\n" + boot().partition("\n")[2]),
    ],
)
def test_what_reaches_back_to_the_start(from_boot: bool, text: str) -> None:
    """Only an unfiltered log from the banner on, with nothing left out, says that something was not logged."""
    assert [value["from_boot"] for value in values("kernel", text, "log")][:1] == [from_boot]


FOUND = "usb 1-2: New USB device found, idVendor=1209, idProduct=7a01, bcdDevice= 1.00"


@pytest.mark.parametrize("width", [60, 72, 80, 90])
def test_a_line_that_a_terminal_broke(width: int) -> None:
    """The rest stands in the next line, without a stamp."""
    text = f"Nov 25 12:00:00.123456 gable kernel: {FOUND}"
    (found,) = events(f"{text[:width]}\n{text[width:]}\nNov 25 12:00:01 gable kernel: other\n")
    assert (found.kind, found.data["pid"]) == ("found", "7a01")


def test_a_string_that_was_cut_is_no_value() -> None:
    """`Product: Mesh st` and a line that goes on, or a pager's mark: which string it is, nobody can tell."""
    long = "Nov 25 12:00:00.123456 gable kernel: usb 1-2: Product: Mesh stick of the"
    assert events(f"{long}\n attic\n") == []
    assert events("[    1.0000] usb 1-2: Product: Mesh sti>\n") == []
    assert len(events(f"{long}\nNov 25 12:00:01 gable kernel: other\n")) == 1


@pytest.mark.parametrize(
    "line",
    [
        "I see `usb 1-2: device descriptor read/64, error -71` all the time",
        "It says usb 1-2: device descriptor read/64, error -71.",
        "**usb 1-2: device descriptor read/64, error -71**",
        "| 12:00 | usb 1-2: device descriptor read/64, error -71 | again |",
        "dmesg shows: usb 1-2: device descriptor read/64, error -71,",
    ],
)
def test_a_message_inside_of_prose(line: str) -> None:
    """Marks of quotation and full stops do not belong to it."""
    (found,) = events(line)
    assert (found.kind, found.device, found.data["err"]) == ("descriptor-error", "1-2", "-71")


def test_a_string_of_a_device_is_only_a_string() -> None:
    """A product may be called as a message is, and hold a line break, which dmesg indents (util-linux 2.38)."""
    text = "[    2.0000] usb 1-2: Product: usb 1-3: USB disconnect, device number 4\n"
    text += "             usb 1-3: USB disconnect, device number 4\n"
    assert [(one.kind, one.device) for one in events(text)] == [("string-value", "1-2")]


@pytest.mark.parametrize(
    "line",
    ["", "usb", "usb 1-2:", "the usb 1-2 port", "hub 1-0:1.0: 4 ports detected", "usb 1-2: USB disconnect, device nu",
     "[   12.345678] e1000e 0000:00:1f.6 eth0: NIC Link is Up"],
)  # fmt: skip
def test_other_lines_are_no_events(line: str) -> None:
    """Nothing that means something, or not all of it."""
    assert [piece for piece in said("kernel", line) if piece.kind == "event"] == []


def test_platform_controllers_have_names_of_their_own() -> None:
    """Single-board computers: no PCI address."""
    for name in ("xhci-hcd.0.auto", "3f980000.usb", "fd500000.pcie"):
        line = f"[    1.0000] xhci-hcd {name}: HC died; cleaning up"
        assert [(one.kind, one.controller) for one in events(line)] == [("controller-dead", name)]


def test_the_message_without_its_frame() -> None:
    """What stands before is not part of what is quoted."""
    assert message("Nov 25 12:00:00 gable kernel: [    1.0000] " + FOUND) == FOUND
    assert message("nothing of the kind") is None
