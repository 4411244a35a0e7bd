"""The options that take a VM's configuration from a file."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from radiocheck.evidence.store import load, save
from radiocheck.evidence.vm import GivenVm, HostdevUsb, UsbHostArg
from tests.chain import machines as m
from tests.cli.program import environment, one_sentence, radiocheck

ARGS = "qemu-system-x86_64 -name hearth -usb -device usb-host,vendorid=0x1209,productid=0x7a01\n"
XML = "<domain type='kvm'><name>attic</name><devices/></domain>"
XL = "name = 'hearth'\nusbdev = ['hostbus=1,hostaddr=4']\n"


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    """A capture of a machine without VMs, and configurations."""
    (tmp_path / "gable.json").write_bytes(save(m.native()))
    (tmp_path / "hearth.sh").write_text(ARGS)
    (tmp_path / "attic.xml").write_text(XML)
    (tmp_path / "hearth.cfg").write_text(XL)
    return {file.suffix[1:]: str(file) for file in tmp_path.iterdir()}


def assignments(*words: str, given: bytes = b"") -> list[str]:
    """What the assignment step saw."""
    done = radiocheck("judge", *words, "--format", "json", given=given)
    assert done.returncode in (0, 1, 3, 4), done.stderr
    steps = json.loads(done.stdout)["chains"][0]["steps"]
    return list(next(step for step in steps if step["step"] == "assignment").get("saw", []))


def test_configurations_are_judged_with_the_capture(files: dict[str, str]) -> None:
    """The lines of the files count like those of the machine; several files are several VMs."""
    shown = assignments(files["json"], "--vm-args", files["sh"], "--vm-xml", files["xml"])
    assert shown == ["hearth: usb-host vendorid=1209, productid=7a01 (in hearth.sh)"]
    assert assignments(files["json"], "--vm-xl", files["cfg"]) == [
        "hearth: usbdev hostbus=1, hostaddr=4 (in hearth.cfg)"
    ]
    assert assignments(files["json"]) == []


def test_a_vm_of_that_name_can_be_chosen(files: dict[str, str]) -> None:
    """`--vm` knows a VM that was given."""
    assert "hearth" in one_sentence(radiocheck("judge", files["json"], "--vm", "hearth"))
    assert radiocheck("judge", files["json"], "--vm", "hearth", "--vm-args", files["sh"]).returncode != 2


def test_a_capture_carries_what_was_given(files: dict[str, str], tmp_path: Path) -> None:
    """`capture` saves it without the file's folder, and `judge` replaces it by a newer text for the same VM."""
    saved = tmp_path / "saved.json"
    assert radiocheck("capture", str(saved), "--vm-args", files["sh"], "--vm-xl", files["cfg"]).returncode == 2
    done = radiocheck("capture", str(saved), "--vm-args", files["sh"], "--vm-xml", files["xml"])
    assert done.returncode == 0, done.stderr
    given = load(saved.read_bytes(), "saved").given_vms
    assert isinstance(given, list)
    ids = [UsbHostArg(vid="1209", pid="7a01")]
    assert GivenVm(name="hearth", manager="qemu", origin="hearth.sh", arguments=ids, usb_bus=True) in given
    assert str(tmp_path) not in saved.read_text()


def test_a_newer_text_replaces_the_older(files: dict[str, str], tmp_path: Path) -> None:
    """The VM that a capture knows as given is described anew; whether it starts with the host stays."""
    old = GivenVm(
        name="hearth",
        manager="xen",
        origin="/etc/xen/hearth.cfg",
        hostdevs=[HostdevUsb(bus=1, address=9)],
        autostart=True,
    )
    saved = tmp_path / "xen.json"
    saved.write_bytes(save(m.native(given_vms=[old])))
    assert assignments(str(saved)) == ["hearth: usbdev hostbus=1, hostaddr=9 (in /etc/xen/hearth.cfg)"]
    assert assignments(str(saved), "--vm-xl", files["cfg"]) == ["hearth: usbdev hostbus=1, hostaddr=4 (in hearth.cfg)"]


def test_check_takes_them_too(files: dict[str, str]) -> None:
    """The same options on the live machine: an adapter that is asked for has a chain, even if no bus shows it."""
    done = radiocheck("check", "--vm-args", files["sh"], "--format", "json")
    assert done.returncode in (0, 1, 3, 4), done.stderr
    assert ["hearth"] in [chain["vms"] for chain in json.loads(done.stdout)["chains"]]


def test_standard_input_and_pipes(files: dict[str, str]) -> None:
    """`-` and a pipe by name are read; standard input only once."""
    assert assignments(files["json"], "--vm-args", "-", given=ARGS.encode()) == [
        "hearth: usb-host vendorid=1209, productid=7a01 (in standard input)"
    ]
    script = f"{sys.executable} -m radiocheck judge {files['json']} --vm-xl <(cat {files['cfg']}) --format json"
    done = subprocess.run(["bash", "-c", script], capture_output=True, env=environment(), check=False)
    assert b"(in /dev/fd/" in done.stdout
    said = one_sentence(radiocheck("judge", files["json"], "--vm-args", "-", "--vm-xml", "-", given=ARGS.encode()))
    assert "only once" in said
    said = one_sentence(radiocheck("judge", "-", "--vm-args", "-", given=ARGS.encode()))
    assert "not both" in said


def test_a_process_by_its_own_file(files: dict[str, str]) -> None:
    """/proc/PID/cmdline is a configuration as it is."""
    words = [
        "qemu-system-x86_64",
        "-c",
        "input()",
        "-name",
        "by the hearth",
        "-device",
        "usb-host,hostbus=1,hostport=2",
    ]
    with subprocess.Popen(words, executable=sys.executable, stdin=subprocess.PIPE) as running:
        file = f"/proc/{running.pid}/cmdline"
        shown = assignments(files["json"], "--vm-args", file)
        running.communicate(b"\n")
    assert shown == [f"by the hearth: usb-host hostbus=1, hostport=2 (in {file})"]


@pytest.mark.parametrize("command", ["judge", "check", "capture"])
@pytest.mark.parametrize(
    ("option", "data", "word"),
    [
        ("--vm-args", b"hello\n", "no QEMU command line"),
        ("--vm-args", b"qemu-system-x86_64 -device usb-host,vendorid=$VID\n", "$VID"),
        ("--vm-args", b"qemu-system-x86_64 -name '\x1b[31m\n", "never closed"),
        ("--vm-xml", b"<!DOCTYPE d [<!ENTITY a 'b'>]><domain>&a;</domain>", "defines entities"),
        ("--vm-xml", b"<domain type='lxc'><name>hearth</name></domain>", "'lxc'"),
        ("--vm-xml", b"\x1b]0;x\x07", "not well-formed"),
        ("--vm-xl", b"import os\n", "line 1"),
        ("--vm-xl", b"usbdev = ['\x1b[31m']\n", "does not know"),
    ],
)
def test_bad_files_are_one_sentence(command: str, option: str, data: bytes, word: str, tmp_path: Path) -> None:
    """The file's name, what is wrong and what to do; status 2, nothing judged, nothing saved."""
    (tmp_path / "gable.json").write_bytes(save(m.native()))
    file, saved = tmp_path / "hearth", tmp_path / "saved.json"
    file.write_bytes(data)
    words = {"judge": ["judge", str(tmp_path / "gable.json")], "check": ["check"], "capture": ["capture", str(saved)]}
    sentence = one_sentence(radiocheck(*words[command], option, str(file)))
    assert word in sentence
    assert str(file) in sentence
    assert sentence.isprintable()
    assert not saved.exists()


def test_places_that_are_no_files(files: dict[str, str], tmp_path: Path) -> None:
    """A folder, a device, a missing file, and a file without end."""
    for name, word in ((str(tmp_path), "folder"), ("/dev/null", "device"), ("/nowhere", "No such file")):
        assert word in one_sentence(radiocheck("judge", files["json"], "--vm-args", name))
    with open(tmp_path / "hole", "wb") as opened:
        opened.truncate(100 << 30)
    for option, word in (("--vm-args", "6 MB"), ("--vm-xml", "4 MB"), ("--vm-xl", "1 MB")):
        assert word in one_sentence(radiocheck("judge", files["json"], option, str(tmp_path / "hole")))


def test_two_files_for_one_vm(files: dict[str, str], tmp_path: Path) -> None:
    """Nobody is to guess which of two texts counts."""
    sentence = one_sentence(radiocheck("judge", files["json"], "--vm-args", files["sh"], "--vm-xl", files["cfg"]))
    assert "`hearth`" in sentence
    assert "give one" in sentence
