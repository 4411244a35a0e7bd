"""The report as text."""

from __future__ import annotations

import re
import subprocess

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import structs

from radiocheck.chain.verdict import Adapter, Remedy, Report
from radiocheck.report.text import text
from tests.report.scenarios import ADAPTER, ATTIC, BROKEN, HIDDEN, LOST, PINNED, SOUND, UNDECIDED, WEAK, chain, report
from tests.report.test_escape import ANY, harmful
from tests.strategies import records

REPORTS = {
    "broken": report(BROKEN),
    "weak": report(WEAK),
    "sound": report(SOUND, missing=HIDDEN, root=False),
    "undecided": report(UNDECIDED, missing=HIDDEN, root=False),
    "several": report(BROKEN, WEAK, SOUND, ATTIC),
    "nothing": report(),
}
COMMANDS = [line for remedy in LOST.remedies if remedy.command for line in remedy.command.split("\n")]
each_report = pytest.mark.parametrize("given_report", REPORTS.values(), ids=REPORTS)
slow = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def told(given_report: Report, width: int = 80, colour: bool = False, ascii: bool = False) -> str:
    """The text, without the machine's own list of vendors."""
    return text(given_report, width, colour, ascii, vendor=lambda vid: "Somebody")


def plain(shown: str) -> str:
    """The text with its lines joined, so that wrapping does not matter."""
    return " ".join(shown.split())


@each_report
@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_fits_the_terminal(given_report: Report, width: int) -> None:
    """No line is wider than the terminal, except a command, which is copied whole."""
    for line in told(given_report, width).split("\n"):
        assert len(line) <= width or line.strip() in COMMANDS


@each_report
def test_begins_with_the_verdict(given_report: Report) -> None:
    """The verdict's sentence is the first thing to read."""
    assert plain(told(given_report)).startswith(given_report.verdict.sentence)


def test_broken_chain_tells_everything_needed() -> None:
    """What was seen, why, each remedy with its risk, and how to see that it worked, in this order."""
    first = LOST.remedies[0]
    wanted = [
        BROKEN.sentence,
        ADAPTER.label,
        "Lindenhof, 1209:7a01, port 1-2",
        "passed to the VM hearth as a USB device",
        "─/ /─handover",
        "handover is broken",
        LOST.title,
        LOST.seen,
        LOST.why,
        "rule re-enumerated-under-vm",
        f"1. {first.do}",
        "interrupts service: programs in hearth",
        f"beware: {first.caution}",
        f"worked if: {first.check}",
        "2. Restart the VM.",
        "3. Unplug",
        "needs hands on plugs and cables",
        LOST.looks_like,
        "Follows from it: A host driver has the interface",
        "The other steps",
        "draws up to 100 mA",
        "guest, radio and air: it lies behind the break",
        "as root",
    ]
    shown = plain(told(REPORTS["broken"]))
    places = [shown.find(words) for words in wanted]
    assert -1 not in places, wanted[places.index(-1)]
    assert places == sorted(places)


@pytest.mark.parametrize("width", [40, 80])
def test_commands_are_never_wrapped(width: int) -> None:
    """Each line of a command stands alone on a line, whole, however narrow the terminal."""
    lines = [line.strip() for line in told(REPORTS["broken"], width).split("\n")]
    for command in COMMANDS:
        assert command in lines


def test_here_documents_can_be_copied() -> None:
    """A here-document stands at the first column, where its end mark counts: sh runs the copied lines."""
    command = "cat <<'XML'\n<hostdev>\n  <source/>\n</hostdev>\nXML"
    remedy = Remedy(do="Write it.", command=command, risk="reads")
    finding = msgspec.structs.replace(PINNED, remedies=[remedy])
    shown = told(report(chain("weak", "Weak at assignment.", {"assignment": "weak"}, {"assignment": [finding]})))
    copied = shown[shown.index("cat <<") : shown.index("     risk:")]
    ran = subprocess.run(["sh", "-c", copied], capture_output=True, text=True, check=True)
    assert ran.stdout == "<hostdev>\n  <source/>\n</hostdev>\n"


def shown(remedy: Remedy, width: int = 60) -> list[str]:
    """The lines of a text report about that one remedy."""
    finding = msgspec.structs.replace(PINNED, remedies=[remedy])
    weak = chain("weak", "Weak at assignment: x.", {"assignment": "weak"}, {"assignment": [finding]})
    lines = told(report(weak), width).splitlines()
    start = next(number for number, line in enumerate(lines) if remedy.do in line)
    return lines[start : lines.index("", start)]


HOSTDEV = "<hostdev mode='subsystem' type='usb'>\n  <source>\n    <vendor id='0x1209'/>\n  </source>\n</hostdev>"


def test_configuration_stands_before_the_command_that_reads_it() -> None:
    """The file's name, what goes into it, the command, and what the choice gives up: in the order of use, unwrapped."""
    remedy = Remedy(
        do="Replace the line.",
        configuration=HOSTDEV,
        file="adapter.xml",
        command="sudo virsh attach-device hearth-with-a-long-name adapter.xml --config",
        gives_up="a second device with these IDs cannot be told apart from it any more",
        risk="reversible",
    )
    assert shown(remedy) == [
        "  1. Replace the line.",
        "     save this as adapter.xml, in the folder you are in:",
        *(f"       {line}" for line in HOSTDEV.split("\n")),
        "     and then run:",
        "       sudo virsh attach-device hearth-with-a-long-name adapter.xml --config",
        "     gives up: a second device with these IDs cannot be told",
        "       apart from it any more",
        "     risk: changes something; can be undone",
    ]


def test_configuration_for_an_editor_stands_behind_its_command() -> None:
    """Without a file the command opens what it is pasted into; without a command it stands alone."""
    remedy = Remedy(do="Edit it.", configuration=HOSTDEV, command="sudo virsh edit hearth", risk="reversible")
    lines = shown(remedy)
    assert lines[1:4] == ["       sudo virsh edit hearth", "     configuration:", f"       {HOSTDEV.splitlines()[0]}"]
    assert shown(msgspec.structs.replace(remedy, command=None))[1] == "     configuration:"


def test_what_follows_from_the_break_is_no_second_break() -> None:
    """A finding that another explains is one line, without remedies and a why of its own."""
    shown = plain(told(REPORTS["broken"]))
    assert shown.count("why ") == 1


def test_sound_chain_is_short() -> None:
    """A sound machine fits a small terminal with room to spare, and no step that holds is listed."""
    shown = told(report(SOUND))
    assert len(shown.splitlines()) <= 16
    assert "draws up to" not in shown


def test_further_sound_chains_take_a_line() -> None:
    """The first sound chain is drawn; from the second on, a line says that it is sound."""
    shown = told(report(SOUND, ATTIC))
    assert shown.count("power──bus") == 1
    assert "Also sound: Mesh stick 00FF00FF, passed to the VM hearth as a USB device." in shown


def test_every_broken_chain_is_drawn() -> None:
    """Each chain that is not sound has its line, its sentence and its reason."""
    shown = plain(told(REPORTS["several"]))
    assert shown.count("power──bus") == 3
    assert WEAK.sentence in shown
    assert "assignment is weak" in shown


def test_says_once_what_the_verdict_said() -> None:
    """The first chain's sentence is the verdict's and is not repeated."""
    assert plain(told(REPORTS["several"])).count(BROKEN.sentence) == 1


def test_unseen_step_says_what_would_show_it() -> None:
    """Who cannot see enough reads at once what to do about it."""
    shown = plain(told(REPORTS["undecided"]))
    assert "What would settle it run as root: would show handover" in shown
    assert "handover unseen which process holds it could not be seen; to see it: run as root" in shown


def test_steps_of_another_machine_share_a_line() -> None:
    """In a VM the seven steps of its host are unseen for one reason, which is told once."""
    steps = [
        structs.replace(step, state="unseen", saw=[], missing=[], because="run radiocheck there") if at < 7 else step
        for at, step in enumerate(SOUND.steps)
    ]
    shown = told(report(structs.replace(SOUND, route="received", steps=steps)))
    assert shown.count("run radiocheck there") == 1
    assert "power, bus, driver, name, access, assignment and handover: run radiocheck there" in plain(shown)
    assert "this machine is a VM and has it from its host" in plain(shown)


def test_ends_with_what_root_would_add() -> None:
    """Gaps are grouped by what the person can do, in words a person knows."""
    shown = plain(told(REPORTS["sound"]))
    assert "run as root: would show who holds ports open and the kernel log" in shown
    assert "libvirt's VMs: the program for it is not installed" in shown
    assert "without root" in shown


def test_vendor_list_helps_silent_devices() -> None:
    """A device that does not name its maker is shown with its vendor's name; one that does, with its own."""
    silent = chain("sound", "Sound.", {}, adapter=Adapter(label="1209:7a01", present=True, vid="1209", pid="7a01"))
    assert "Somebody" in told(report(silent))
    assert "Somebody" not in told(report(SOUND))


def test_absent_adapter_is_said_to_be_absent() -> None:
    """An adapter that a VM asks for and the bus does not show says so beside its name."""
    gone = chain("broken", "Broken at bus.", {"bus": "broken"}, adapter=Adapter(label="1209:7a01", present=False))
    assert "not on the bus now" in told(report(gone))


@each_report
@pytest.mark.parametrize("ascii", [False, True])
def test_colour_only_helps(given_report: Report, ascii: bool) -> None:
    """With the colours taken away, every word is still there and in its place."""
    coloured = told(given_report, colour=True, ascii=ascii)
    assert "\x1b[" in coloured
    bare = [line.rstrip() for line in re.sub("\x1b\\[[0-9;]*m", "", coloured).split("\n")]
    assert bare == told(given_report, ascii=ascii).split("\n")


@each_report
def test_ascii_is_ascii(given_report: Report) -> None:
    """With `ascii` there is nothing else."""
    assert told(given_report, ascii=True).isascii()


@slow
@given(records(Report, ANY), st.integers(1, 200), st.booleans())
def test_nothing_harmful_gets_through(drawn: Report, width: int, ascii: bool) -> None:
    """Whatever devices, logs and configurations say, in whatever field: the text holds no control but the newline."""
    shown = text(drawn, width, False, ascii, vendor=lambda vid: "\x1b[2J\u202e")
    assert [char for char in harmful(shown) if char != "\n"] == []
    if ascii:
        assert shown.isascii()
    assert shown.endswith("\n")


def test_a_device_cannot_write_a_line() -> None:
    """A product name with a newline stays within its line: it cannot pretend to be part of the report."""
    fake = Adapter(label="stick\n\nSound: all is well.", present=True)
    lines = told(report(chain("broken", "Broken at bus.", {"bus": "broken"}, adapter=fake))).split("\n")
    assert not any(line.startswith("Sound") for line in lines)


def test_a_time_beyond_dates_is_no_crash() -> None:
    """A time that no calendar holds is said not to be known."""
    assert "time not known" in plain(told(msgspec.structs.replace(report(SOUND), taken=1e18)))
