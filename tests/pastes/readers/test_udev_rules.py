"""Lines of udev rules in a paste, and what udev says of them (systemd 252, run here; older words from memory)."""

from __future__ import annotations

import pytest
from msgspec import UNSET

from radiocheck.evidence.serial import UdevRule

from .said import typed, values

RULE = 'SUBSYSTEM=="tty", KERNEL{}"ttyUSB*", ATTRS{{idVendor}}=="1209", ATTRS{{serial}}=="A1B2", SYMLINK+="rig"'
WRONG, WELL = RULE.format("="), RULE.format("==")
FILE = "/etc/udev/rules.d/95-shack.rules"
GONE = typed("ls -l /dev/rig", "ls: cannot access '/dev/rig': No such file or directory\n")


def rules(text: str) -> list[UdevRule]:
    """The lines of rules."""
    found: list[UdevRule] = values("udev_rules", text, "udev_rule")
    return found


PLACES = {
    "shown": typed(f"cat {FILE}", f"# CAT cable\n{WRONG}\n"),
    "named before": f"{FILE}:\n{WRONG}\n",
    "found": typed("grep -rn rig /etc/udev/rules.d", f"{FILE}:2:{WRONG}\n"),
    "written": typed(f"echo '{WRONG}' | sudo tee {FILE}", f"{WRONG}\n"),
    "in two lines": typed(f"cat {FILE}", WRONG.replace(", SYM", ", \\\n  SYM") + "\n"),
}


@pytest.mark.parametrize("text", PLACES.values(), ids=PLACES)
def test_a_line_wherever_it_stands(text: str) -> None:
    """With its file, what it asks for and what it makes."""
    rule = rules(text)[0]
    assert (rule.path, rule.names, rule.vid, rule.serial, rule.kernel) == (FILE, ["rig"], "1209", "A1B2", "ttyUSB*")
    assert (rule.fault, rule.words, rule.made) == ("operator", 'KERNEL="ttyUSB*"', UNSET)


@pytest.mark.parametrize(
    "text",
    [
        typed("udevadm info -a -n /dev/ttyUSB0", '    KERNELS=="1-6"\n    ATTRS{idVendor}=="0403"\n'),
        f"#{WRONG}\n",
        f"I think {WRONG} is right?\n",
        WRONG.removesuffix('"') + "\n",
        typed("export SYMLINK=", 'SUBSYSTEM="tty"\n'),
    ],
)
def test_what_is_no_line_of_rules(text: str) -> None:
    """Attributes, remarks, prose, a line that was cut, a shell's variable."""
    assert rules(text) == []


@pytest.mark.parametrize(
    ("shown", "made"),
    [
        (GONE, False),
        (typed("ls /dev/ri*", "ls: impossibile accedere a '/dev/ri*': File o directory non esistente\n"), False),
        ("rigctld: serial_open: Unable to open /dev/rig - No such file or directory\n", False),
        (typed("ls -l /dev/rig", "lrwxrwxrwx 1 root root 7 May  2 17:44 /dev/rig -> ttyUSB1\n"), True),
        (typed("ls -l /dev | grep ttyUSB", "lrwxrwxrwx 1 root root 7 May  2 17:44 rig -> ttyUSB1\n"), True),
        (GONE + typed("ls /dev/rig", "/dev/rig\n"), True),
        (typed("udevadm info /dev/ttyUSB1", "N: ttyUSB1\nS: rig\n"), True),
        (typed("ls -l /dev/rigs", "ls: cannot access '/dev/rigs': No such file or directory\n"), UNSET),
        ("", UNSET),
    ],
)
def test_whether_the_name_is_there(shown: str, made: object) -> None:
    """By the last word about it."""
    assert rules(f"{WRONG}\n{shown}")[0].made is made


def test_a_name_that_another_line_makes() -> None:
    """Somebody posted the line as it should be, so the first one says nothing of now."""
    assert [one.fault for one in rules(f"> {WRONG}\n\nWrite it so:\n{WELL}\n")] == [None, None]


WORDS = (
    f"{FILE}:2 Invalid key/value pair, ignoring.",
    f"{FILE}:2 Invalid operator for KERNEL.",
    "Nov 02 11:44:10 gable systemd-udevd[402]: " + FILE + ":2 Invalid key 'SYSFS'",
    f"systemd-udevd[215]: invalid rule '{FILE}:2'",
    f"udevd[215]: invalid key/value pair in file {FILE} on line 2, starting at character 9 ('=')",
)


@pytest.mark.parametrize("line", WORDS)
def test_what_udev_refuses(line: str) -> None:
    """The line itself was not shown, and one name is missing."""
    found = rules(f"{line}\n{GONE}")
    assert [(one.fault, one.made) for one in found] == [("refused", False)]
    assert rules(line) == []


@pytest.mark.parametrize(
    "line",
    [
        "/usr/lib/udev/rules.d/60-vendor.rules:7 Invalid operator for KERNEL.",
        f"{FILE}:2 Unknown group 'plugdev', ignoring.",
        f"{FILE}:2 GROUP key takes '=' or ':=' operator, assuming '='.",
    ],
)
def test_what_udev_says_and_does_no_harm(line: str) -> None:
    """A package's file; a line that still applies."""
    assert rules(f"{line}\n{GONE}") == []


def test_a_line_that_udev_refuses_whole() -> None:
    """It is no line for this reader, and its name is the one that is missed."""
    text = typed(f"cat {FILE}", 'SUBSYSTEM=="tty"; SYMLINK+="rig"\n') + WORDS[0] + "\n" + GONE
    assert [(one.fault, one.names) for one in rules(text)] == [("refused", ["rig"])]
