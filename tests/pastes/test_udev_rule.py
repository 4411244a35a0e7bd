"""What a line of udev rules can do, and the same lines before udev itself (run on a described machine)."""

from __future__ import annotations

import re
import shutil
import subprocess
from itertools import product
from pathlib import Path

import pytest

from radiocheck.pastes.udev_rule import KEYS, fault, kernel, names, parts, wanted
from tests.sources.umock import BEDS, needs_umockdev

# On the machine `gable`: tty ttyUSB0 of interface 1-2.3:1.0 (cp210x) of device 1-2.3, 1209:7a01, A1B2C3.
USB = 'SUBSYSTEM=="tty", ATTRS{idVendor}=="1209"'
WELL = (
    f'{USB}, ATTRS{{idProduct}}=="7a01", ATTRS{{serial}}=="A1B2C3", SYMLINK+="rig"',
    f'{USB}, ENV{{ID_USB_INTERFACE_NUM}}=="00", SYMLINK+="rig"',
    'KERNEL=="ttyUSB*", ATTRS{bInterfaceNumber}=="00", SYMLINK="rig one"',
    'KERNEL=="ttyUSB[0-9]*" SUBSYSTEM=="tty" KERNELS=="1-2.3" ATTRS{idVendor}=="1209" SYMLINK+="rig" MODE="0666"',
    'SUBSYSTEM=="tty", KERNELS=="1-2.3:1.0", ATTRS{bInterfaceNumber}=="00", GROUP:="dialout", SYMLINK+="rig%n"',
    'SUBSYSTEM=="tty", SUBSYSTEMS=="usb", ATTRS{idVendor}=="1209", SYMLINK+="rig"',
    'SUBSYSTEM=="tty", SUBSYSTEMS=="usb", DRIVERS=="cp210x", SYMLINK+="rig"',
    'SUBSYSTEM=="tty", DRIVERS=="usb", ATTRS{idVendor}=="1209", SYMLINK+="rig"',
    f'{USB}, ATTRS{{authorized}}=="1", SYMLINK+="rig"',
)
NEVER = {
    'SUBSYSTEM=="tty", KERNEL="ttyUSB*", ATTRS{idVendor}=="1209", SYMLINK+="rig"': "operator",
    'SUBSYSTEM=="tty", ATTRS{idVendor}="1209", ATTRS{idProduct}="7a01", SYMLINK+="rig"': "operator",
    'SUBSYSTEM="tty", ATTRS{idVendor}=="1209", SYMLINK+="rig"': "operator",
    f'{USB}, MODE=="0666", SYMLINK+="rig"': "operator",
    f'{USB}, GROUP=="dialout", SYMLINK+="rig"': "operator",
    'SUBSYSTEM=="tty", ATTR{idVendor}=="1209", SYMLINK+="rig"': "own",
    'KERNEL=="ttyUSB*", ATTR{serial}=="A1B2C3", SYMLINK+="rig"': "own",
    f'{USB}, ATTRS{{bInterfaceNumber}}=="00", SYMLINK+="rig"': "parents",
    f'{USB}, KERNELS=="1-2.3:1.0", SYMLINK+="rig"': "parents",
    f'{USB}, DRIVERS=="cp210x", SYMLINK+="rig"': "parents",
    f'{USB}, SUBSYSTEMS=="usb-serial", SYMLINK+="rig"': "parents",
    f'{USB}, ATTRS{{port_number}}=="0", SYMLINK+="rig"': "parents",
    'SUBSYSTEM=="tty", KERNELS=="1-2.3", ATTRS{bInterfaceNumber}=="00", SYMLINK+="rig"': "parents",
    'SUBSYSTEM=="tty", ATTRS{idProduct}=="7A01", SYMLINK+="rig"': "case",
}
SILENT = f'{USB}, SYMLINK=="rig"'  # udev takes it, and it does nothing


def kind(text: str) -> str | None:
    """The kind of fault of a line that has one."""
    found = parts(text)
    assert found is not None, text
    wrong = fault(found)
    return wrong.kind if wrong is not None else None


@pytest.mark.parametrize("text", WELL)
def test_lines_that_may_apply(text: str) -> None:
    """Nothing in them says that they never do."""
    assert kind(text) is None


@pytest.mark.parametrize("text", NEVER)
def test_lines_that_never_apply(text: str) -> None:
    """One sign too few, or conditions that nothing meets."""
    assert kind(text) == NEVER[text]


def test_a_line_that_sets_nothing() -> None:
    """Two equals signs behind SYMLINK ask for a name and make none."""
    assert kind(SILENT) == "no-effect"
    assert kind(SILENT.replace("==", "+=").replace("+=", "==", 2)) is None


@pytest.mark.parametrize(
    "text",
    [
        "Loading kernel module index.",
        'SUBSYSTEM=="tty", SYMLINK=+"rig"',
        'SUBSYSTEM=="tty"; SYMLINK+="rig"',
        'SUBSYSTEM==tty, SYMLINK+="rig"',
        'SUBSYSTEM=="tty", FOO=="x", SYMLINK+="rig"',
        'SUBSYSTEM=="tty", SYMLINK+="rig" # my rig',
        'SUBSYSTEM=="tty", ATTRS(idVendor)=="1209", SYMLINK+="rig"',
        "",
    ],
)
def test_what_is_no_line_of_rules(text: str) -> None:
    """What udev refuses as a whole is left to udev's own words."""
    assert parts(text) is None


def test_what_a_line_asks_for() -> None:
    """Numbers in small letters, the serial number as it is; names without what is filled in later."""
    line = parts('KERNEL=="ttyUSB*", ATTRS{idVendor}=="10C4", ATTRS{serial}=="AB12", SYMLINK+="rig cat/one gps%n"')
    assert line is not None
    assert [wanted(line, name) for name in ("idVendor", "serial", "idProduct")] == ["10c4", "AB12", None]
    assert kernel(line) == "ttyUSB*"
    assert names(line) == ["rig", "cat/one"]


def told(lines: list[str], folder: Path) -> str:
    """What `udevadm test` prints of the tty of `gable` with these rules alone, in namespaces of its own."""
    rules, none = folder / "rules", folder / "none"
    rules.mkdir()
    none.mkdir()
    (rules / "90-own.rules").write_text("".join(f"{line}\n" for line in lines))
    script = (
        'mount --bind "$1" /etc/udev/rules.d && mount --bind "$2" /usr/lib/udev/rules.d && mount -t tmpfs none /run'
        ' && exec umockdev-run --device "$3" -- udevadm test /sys/class/tty/ttyUSB0 2>&1'
    )
    bed = str(BEDS / "gable.umockdev")
    argv = ["unshare", "--map-root-user", "--mount", "sh", "-c", script, "sh", str(rules), str(none), bed]
    ran = subprocess.run(argv, capture_output=True, text=True, check=False, timeout=60)
    if "DEVNAME=/dev/ttyUSB0" not in ran.stdout:
        pytest.skip(f"no `udevadm test` in namespaces of its own here: {(ran.stdout + ran.stderr)[-200:]}")
    return ran.stdout


needs_udevadm = pytest.mark.skipif(
    shutil.which("udevadm") is None or shutil.which("unshare") is None, reason="no udevadm or no unshare(1)"
)


@needs_umockdev
@needs_udevadm
def test_udev_applies_the_same_lines(tmp_path: Path) -> None:
    """Each line also sets a property, which udev prints if the line applied."""
    lines = [*WELL, *NEVER]
    said = told([f'{line}, ENV{{APPLIED_{at}}}="1"' for at, line in enumerate(lines)], tmp_path)
    applied = {lines[int(at)] for at in re.findall(r"^APPLIED_(\d+)=1$", said, re.MULTILINE)}
    assert applied == set(WELL)


@needs_umockdev
@needs_udevadm
def test_udev_refuses_the_same_operators(tmp_path: Path) -> None:
    """Each key with each operator: what udev calls an invalid operator, and no more."""
    attributed = {"ATTR", "ATTRS", "SYSCTL", "ENV", "CONST", "TEST", "SECLABEL"}
    value = {"CONST": "arch", "MODE": "0666", "GROUP": "root", "OWNER": "root", "IMPORT": "ID_X"}
    lines = []
    for key, op in product(sorted(KEYS - {"GOTO", "LABEL", "OPTIONS", "IMPORT", "RUN"}), ("==", "!=", "=")):
        attr = "{virt}" if key == "CONST" else "{x}" if key in attributed - {"TEST"} else ""
        lines.append(f'SUBSYSTEM=="tty", {key}{attr}{op}"{value.get(key, "x")}", ENV{{RC}}="1"')
    said = told(lines, tmp_path)
    refused = {lines[int(at) - 1] for at in re.findall(r"rules:(\d+) Invalid operator", said)}
    assert refused == {line for line in lines if kind(line) == "operator"}
