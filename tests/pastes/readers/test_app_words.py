"""What programs say of a port they cannot use: app_words.tsv; errors of programs run here, in twenty languages.

The samples are from memory of the programs, but for those that the tests below make
Python, a shell and QEMU print.
"""

from __future__ import annotations

import csv
import gettext
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.failures import PHRASES, failure

from .said import typed, values

with (Path(__file__).parent / "app_words.tsv").open(newline="") as file:
    ROWS = list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))


def messages(text: str) -> list[AppMessage]:
    """What a program said."""
    return values("app_words", text, "app")


@pytest.mark.parametrize("row", ROWS, ids=[row["text"] for row in ROWS])
def test_each_message_is_its_kind(row: dict[str, str]) -> None:
    """`-`: it is about no port, is read elsewhere, or nobody reports it."""
    assert [one.kind for one in messages(row["text"])] == ([] if row["kind"] == "-" else [row["kind"]])


def test_python_says_why(tmp_path: Path) -> None:
    """pyserial's frame is Python's own OSError with the path."""
    code = "import sys; open(sys.argv[1])"
    ran = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "ttyUSB0")], capture_output=True, text=True, check=False
    )
    (found,) = messages(ran.stderr.replace(str(tmp_path), "/dev"))
    assert (found.kind, found.path) == ("missing", "/dev/ttyUSB0")


@pytest.mark.skipif(os.getuid() != 0, reason="only root may be nobody")
def test_a_program_says_why() -> None:
    """`cat` as an account that may not."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        node = Path(folder, "ttyUSB0")
        node.touch(mode=0)
        ran = subprocess.run(
            ["cat", str(node)], capture_output=True, text=True, check=False, user=65534, group=65534, extra_groups=[]
        )
    (found,) = messages(ran.stderr.replace(folder, "/dev"))
    assert (found.kind, found.path, found.program) == ("denied", "/dev/ttyUSB0", "cat")


@pytest.mark.skipif(shutil.which("qemu-system-x86_64") is None, reason="Debian's qemu-system-x86 is not installed")
def test_qemu_says_why() -> None:
    """A host tty as a serial port of the VM."""
    argv = ["qemu-system-x86_64", "-S", "-nodefaults", "-display", "none", "-machine", "none"]
    ran = subprocess.run(
        [*argv, "-chardev", "serial,id=a,path=/dev/ttyUSB97"], capture_output=True, text=True, timeout=30, check=False
    )
    (found,) = messages(ran.stderr)
    assert (found.kind, found.path, found.program) == ("missing", "/dev/ttyUSB97", "qemu-system-x86_64")


LANGUAGES = "de fr es it pl pt pt_BR nl cs sv da nb hu tr fi ru uk ja ko zh_CN"


@pytest.mark.parametrize("language", LANGUAGES.split())
@pytest.mark.parametrize(
    ("kind", "english"),
    [
        ("denied", "Permission denied"),
        ("not-permitted", "Operation not permitted"),
        ("busy", "Device or resource busy"),
        ("busy", "Resource temporarily unavailable"),
        ("missing", "No such file or directory"),
        ("missing", "No such device"),
        ("io-error", "Input/output error"),
    ],
)
def test_any_language(language: str, kind: str, english: str) -> None:
    """glibc 2.36's own translations."""
    try:
        told = gettext.translation("libc", "/usr/share/locale", [language]).gettext(english)
    except OSError:
        pytest.skip("translations are absent (Debian package libc-l10n)")
    assert [one.kind for one in messages(f"stty: /dev/ttyUSB0: {told}")] == [kind]


def test_the_node_stands_near() -> None:
    """In the line, in one of the two before it, in the command; not further away."""
    failed = "serial.serialutil.SerialException: [Errno 13] Permission denied"
    assert messages(f"Opening /dev/ttyACM0\nretry\n{failed}")[0].path == "/dev/ttyACM0"
    assert messages(f"Opening /dev/ttyACM0\n1\n2\n{failed}")[0].path is None
    assert messages(typed("cat /dev/ttyUSB1", failed))[0].path == "/dev/ttyUSB1"
    assert messages("open ttyUSB3: permission denied")[0].path == "/dev/ttyUSB3"
    assert (
        messages("port /dev/serial/by-id/usb-x_y-if00: Permission denied")[0].path == "/dev/serial/by-id/usb-x_y-if00"
    )


def test_the_program_that_speaks() -> None:
    """In a journal it stands before its number, behind the host's name."""
    line = "Nov 25 12:00:00 gable gpsd[700]: gpsd:ERROR: SER: device open of /dev/ttyUSB0 failed: Permission denied"
    assert messages(line)[0].program == "gpsd"
    assert messages("minicom: cannot open /dev/ttyUSB0: Permission denied")[0].program == "minicom"


@pytest.mark.parametrize(
    ("line", "program"),
    [
        ("open: No such device or address: '/dev/ttyUSB0'", "open"),
        ("[Errno 1] Operation not permitted: '/dev/ttyUSB0'", None),
        ("Error response from daemon: no such file or directory: /dev/ttyUSB0", None),
        ("libusb: error [get_usbfs_fd] could not open /dev/bus/usb/001/005: Permission denied", None),
        ("serial.serialutil.SerialException: could not open port /dev/ttyUSB0: Permission denied", None),
        ("2026-11-25 12:00:00,123 meter: could not open port /dev/ttyUSB0: Permission denied", "meter"),
        ("Nov 25 12:00:00 gable meter: could not open port /dev/ttyUSB0: Permission denied", "meter"),
        ("error: internal error: qemu-system-x86_64: -chardev tty,path=/dev/ttyUSB0: Could not open '/dev/ttyUSB0': "
         "No such file or directory", "qemu-system-x86_64"),
    ],
)  # fmt: skip
def test_no_other_word_is_a_program(line: str, program: str | None) -> None:
    """Only what stands at the beginning, or before a process's number."""
    assert messages(line)[0].program == program


@pytest.mark.parametrize(
    "line",
    [
        "[Wed Nov 25 12:00:00 2026] option 1-1.2:1.0: device disconnected",
        "[   12.345678] cdc_acm 1-2:1.0: failed to set dtr/rts: Input/output error",
        "Nov 25 12:00:00 gable kernel: usb 1-2: device descriptor read/64, error -110, No such device",
    ],
)
def test_the_kernels_words_are_read_elsewhere(line: str) -> None:
    """They are events."""
    assert messages(line) == []


def test_a_vms_own_words_are_read_elsewhere() -> None:
    """libusb says the same to every program: a VM's is a VM's message, unless no VM comes up at all."""
    line = "libusb: error [get_usbfs_fd] libusb couldn't open USB device /dev/bus/usb/001/005: Permission denied"
    assert messages("qemu-system-x86_64: starting\n" + line) == []
    assert [one.path for one in messages(line)] == ["/dev/bus/usb/001/005"]


def test_every_phrase_has_its_needle() -> None:
    """Looked for first: a sample of each kind goes through both."""
    assert {phrase.kind for phrase in PHRASES} == {row["kind"] for row in ROWS} - {"-"}
    for row in ROWS:
        if row["kind"] != "-":
            assert failure(row["text"]) == row["kind"]
    assert failure("all is well") is None


def test_a_message_is_kept_in_bounds() -> None:
    """A line may be endless."""
    (found,) = messages("open /dev/ttyUSB0: permission denied " + "x" * 10_000)
    assert len(found.text) == 400


@pytest.mark.parametrize(
    ("unit", "path"),
    [
        ("dev-gauge.device - /dev/gauge", "/dev/gauge"),
        ("dev-ttyUSB0.device", "/dev/ttyUSB0"),
        (
            r"dev-serial-by\x2did-usb\x2dLindenhof_Mesh_stick\x2dif00.device",
            "/dev/serial/by-id/usb-Lindenhof_Mesh_stick-if00",
        ),
    ],
)
def test_a_unit_that_waits_for_a_node(unit: str, path: str) -> None:
    """systemd names it as systemd-escape(1) does; older versions give no path beside it (from memory)."""
    (found,) = values("app_words", f"Nov 25 12:00:00 gable systemd[1]: Timed out waiting for device {unit}.\n", "app")
    assert (found.kind, found.path, found.program) == ("missing", path, "systemd")
