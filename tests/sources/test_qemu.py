"""QEMU processes are found, and their command lines mean here what they mean to QEMU."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from radiocheck.evidence.absent import UNSET, known
from radiocheck.evidence.vm import PciArg, QemuProcess, TtyArg, UsbHostArg
from radiocheck.sources.machine import Machine
from radiocheck.sources.qemu import collect
from radiocheck.sources.qemu_args import parse, pci_address, read_number

QEMU = shutil.which("qemu-system-x86_64")
needs_qemu = pytest.mark.skipif(QEMU is None, reason="Debian's qemu-system-x86 is not installed")
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root may make nodes, mounts and other users' processes")
IDLE = ["-S", "-nodefaults", "-display", "none", "-machine", "pc,accel=tcg", "-m", "16"]


# --- the command line


@pytest.mark.parametrize(
    ("device", "expected"),
    [
        ("usb-host,vendorid=0x1209,productid=0x7a01,id=radio", UsbHostArg(id="radio", vid="1209", pid="7a01")),
        ("usb-host,vendorid=4617,productid=31233", UsbHostArg(vid="1209", pid="7a01")),
        ("usb-host,vendorid=0,productid=0x7A01", UsbHostArg(pid="7a01")),
        ("usb-host,hostbus=1,hostaddr=5", UsbHostArg(bus=1, address=5)),
        ("usb-host,hostbus=1,hostport=1.2", UsbHostArg(bus=1, port="1.2")),
        ("driver=usb-host,hostbus=1,hostaddr=5,hostaddr=6", UsbHostArg(bus=1, address=6)),
        ("usb-host", UsbHostArg()),
        ("usb-host,hostdevice=/dev/bus/usb/001/005", UsbHostArg(node="/dev/bus/usb/001/005")),
        ("usb-host,hostdevice=/dev/x,,y,guest-reset=off", UsbHostArg(node="/dev/x,y")),
        ('{"driver":"usb-host","vendorid":4617,"productid":31233}', UsbHostArg(vid="1209", pid="7a01")),
        (
            # as libvirt 9.0 writes it, bench sample
            '{"driver":"usb-host","hostdevice":"/dev/bus/usb/009/002","id":"hostdev0","bus":"usb.0","port":"1"}',
            UsbHostArg(id="hostdev0", node="/dev/bus/usb/009/002"),
        ),
        ('{"driver":"usb-host","id":"hostdev0","bus":"usb.0","port":"1"}', UsbHostArg(id="hostdev0")),
        ('{"driver":"usb-host","hostbus":true,"hostaddr":-1,"hostport":7}', UsbHostArg()),
    ],
)
@pytest.mark.parametrize("option", ["-device", "--device"])
def test_a_usb_host_device_in_either_form(option: str, device: str, expected: UsbHostArg) -> None:
    """`-device` takes key=value and, since QEMU 6.2, JSON; a selector of 0 is a wildcard and thus null."""
    assert parse(["qemu-system-x86_64", option, device]).usb == [expected]


@pytest.mark.parametrize(
    ("words", "addresses"),
    [
        (["-device", "vfio-pci,host=00:14.0"], ["0000:00:14.0"]),
        (["-device", "vfio-pci,host=0001:0A:1f.7,id=x"], ["0001:0a:1f.7"]),
        (["-device", '{"driver":"vfio-pci","host":"0000:06:00.0","id":"hostdev0"}'], ["0000:06:00.0"]),
        (["-device", "vfio-pci,sysfsdev=/sys/bus/pci/devices/0000:06:00.0"], ["0000:06:00.0"]),
        (["-device", "vfio-pci,host=nonsense"], []),
        (["-device", "vfio-pci"], []),
    ],
)
def test_a_whole_function_given_to_the_guest(words: list[str], addresses: list[str]) -> None:
    """vfio-pci names the function with or without domain, or by its path in sysfs."""
    assert parse(words).pci == [PciArg(address=address) for address in addresses]


@pytest.mark.parametrize(
    ("words", "paths"),
    [
        (["-chardev", "serial,id=c,path=/dev/ttyUSB0"], ["/dev/ttyUSB0"]),
        (["-chardev", "tty,id=c,path=/dev/serial/by-id/usb-a,,b"], ["/dev/serial/by-id/usb-a,b"]),
        (["-chardev", "id=c,backend=serial,path=/dev/ttyACM0"], ["/dev/ttyACM0"]),
        (["-serial", "/dev/ttyUSB0"], ["/dev/ttyUSB0"]),
        (["-serial", "mon:/dev/ttyUSB0"], ["/dev/ttyUSB0"]),
        (["-serial", "chardev:c", "-serial", "mon:stdio", "-serial", "none"], []),
        (["-chardev", "socket,id=c,path=/run/x"], []),
        (["-chardev", "serial,id=c"], []),
    ],
)
def test_a_tty_given_to_the_guest(words: list[str], paths: list[str]) -> None:
    """A character device on a host tty: the backend `serial` (its old name is `tty`), or a path after -serial."""
    assert parse(words).ttys == [TtyArg(path=path) for path in paths]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["-usb"], True),
        (["-machine", "q35,usb=on"], True),
        (["-M", "type=pc,usb=on"], True),
        (["-machine", "pc,usb=off"], False),
        (["-device", "qemu-xhci,id=usb"], True),
        (["-device", "nec-usb-xhci"], True),
        (["-device", "ich9-usb-ehci1"], True),
        (["-device", "piix3-usb-uhci"], True),
        (["-device", "pci-ohci"], True),
        (["-device", '{"driver":"qemu-xhci","id":"usb"}'], True),
        (["-device", "usb-host"], False),
        (["-device", "usb-hub"], False),
        (["-usbdevice", "tablet"], True),
        ([], False),
    ],
)
def test_a_usb_controller_on_the_command_line(words: list[str], expected: bool) -> None:
    """Controllers are devices of their own, or a switch of the machine."""
    assert parse(["qemu", *words]).usb_bus is expected


@needs_qemu
def test_all_controllers_that_qemu_knows_are_known() -> None:
    """`-device help` lists the USB controllers under their own heading, with a bus that is not USB."""
    listed = subprocess.run([str(QEMU), "-device", "help"], capture_output=True, text=True, check=True).stdout
    section = listed.partition("USB devices:")[2].partition("\n\n")[0]
    names = [name for name, bus in re.findall(r'name "([^"]+)", bus (\S+?)[,\n]', section) if bus != "usb-bus"]
    controllers = [name for name in names if re.search("[xeuo]hci", name)]
    assert len(controllers) >= 5
    assert [name for name in controllers if not parse(["-device", name]).usb_bus] == []


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["-name", "guest=hearth,debug-threads=on"], "hearth"),
        (["-name", "hearth,process=x"], "hearth"),
        (["-name", "a,,b"], "a,b"),
        (["-name", "-device", "-device", "usb-host"], "-device"),
        (["-name", "process=x"], None),
        ([], None),
    ],
)
def test_the_name_of_the_guest(words: list[str], name: str | None) -> None:
    """`-name` takes guest=NAME or just the name."""
    assert parse(words).name == name


UUID = "8c3c1d2e-1111-2222-3333-444455556666"


@pytest.mark.parametrize(
    ("words", "uuid"),
    [
        (["-uuid", UUID], UUID),
        (["-uuid", UUID.upper()], UUID),
        (["-smbios", f"type=1,uuid={UUID}"], UUID),
        (["-smbios", f"type=1,manufacturer=Lindenhof,uuid={UUID.upper()}"], UUID),
        (["-smbios", "type=0,vendor=Lindenhof"], None),
        (["-name", f"-uuid {UUID}"], None),
        (["-uuid", "hearth"], None),
        ([], None),
    ],
)
def test_the_uuid_of_the_guest(words: list[str], uuid: str | None) -> None:
    """`-uuid`, or the UUID of SMBIOS type 1, which QEMU takes for the same."""
    assert parse(words).uuid == uuid


@needs_qemu
@pytest.mark.parametrize("words", [["-uuid", UUID.upper()], ["-smbios", f"type=1,uuid={UUID}"], []])
def test_the_uuid_is_the_one_that_qemu_tells(words: list[str]) -> None:
    """query-uuid gives the same; without either option all its digits are 0."""
    asked = '{"execute":"qmp_capabilities"}\n{"execute":"query-uuid"}\n{"execute":"quit"}\n'
    command = [str(QEMU), *IDLE, "-qmp", "stdio", *words]
    told = subprocess.run(command, input=asked, capture_output=True, text=True, timeout=60, check=False).stdout
    found = [json.loads(line).get("return", {}).get("UUID") for line in told.splitlines()]
    assert (parse(words).uuid or "00000000-0000-0000-0000-000000000000") in found


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["-chardev", "socket,id=charmonitor,fd=31", "-mon", "chardev=charmonitor,id=monitor,mode=control"], True),
        (["-mon", "chardev=mine,mode=control"], False),
        (["-monitor", "stdio"], False),
        ([], False),
    ],
)
def test_whether_libvirt_wrote_the_command_line(words: list[str], expected: bool) -> None:
    """libvirt always attaches a monitor and calls it charmonitor (libvirt 9.0, bench sample)."""
    assert parse(words).libvirt is expected


def test_text_for_the_guests_kernel_is_no_option() -> None:
    """What follows -append is not read as an option of QEMU."""
    assert parse(["-append", "-device", "usb-host", "-usb"]).usb == []


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("host:1.5", UsbHostArg(bus=1, address=5)),
        ("host:1209:7a01", UsbHostArg(vid="1209", pid="7a01")),
        ("host:1209:*", UsbHostArg(vid="1209")),
    ],
)
def test_the_form_of_old_versions(words: str, expected: UsbHostArg) -> None:
    """-usbdevice host:… of old QEMU (from memory; 7.2 refuses it)."""
    assert parse(["-usbdevice", words]).usb == [expected]


def test_devices_from_a_file_are_announced() -> None:
    """-readconfig adds devices that the command line does not show."""
    assert parse(["-readconfig", "/etc/vm.cfg"]).elsewhere == ["/etc/vm.cfg"]


@pytest.mark.parametrize(
    "words",
    [
        ["-device"],
        ["-device", ""],
        ["-device", "{"],
        ["-device", "{" * 100_000],
        ["-device", "[1]"],
        ["-device", '{"driver":{"a":1}}'],
        ["-device", ",,,,="],
        ["-device", "usb-host,vendorid=" + "9" * 5000],
        ["-device", '{"driver":"usb-host","vendorid":' + "9" * 5000 + "}"],
        ["-chardev", "\x1b[31m\ufffd"],
        ["-", "--", "", "-machine"],
        ["-usbdevice", "host:999.999.9"],
    ],
)
def test_nonsense_never_raises(words: list[str]) -> None:
    """Whatever the words are, the result is a plain record with no selector invented."""
    found = parse(words)
    assert all(arg == UsbHostArg() for arg in found.usb)
    assert (found.pci, found.ttys, found.name) == ([], [], None)


@needs_qemu
@pytest.mark.parametrize("number", ["3", "0x10", "0X1f", "010", "+3", " 3", "08", "4K", "-1", ""])
def test_numbers_are_read_as_qemu_reads_them(number: str) -> None:
    """QEMU says which bus it looked at; what it refuses to take as a number is none here."""
    device = f"usb-host,hostbus={number},hostaddr=1"
    ran = subprocess.run(
        [str(QEMU), *IDLE, "-device", "qemu-xhci", "-device", device], capture_output=True, text=True, timeout=30
    )
    if "not a valid device model" in ran.stderr:
        pytest.skip("this QEMU has no usb-host")
    looked_for = re.search(r"failed to find host usb device (\d+):1", ran.stderr)
    assert read_number(number) == (int(looked_for[1]) if looked_for else None)
    assert looked_for or "expects" in ran.stderr


def test_pci_addresses() -> None:
    """Addresses are written with a domain of four digits, in lower case."""
    assert pci_address("0:1F.0") == "0000:00:1f.0"
    assert pci_address("00:1F.0") == "0000:00:1f.0"
    assert pci_address("10000:e1:00.0") == "10000:e1:00.0"
    assert pci_address("00:1f.8") is None
    assert pci_address("0000:00:20.0") is None


# --- the processes


@contextmanager
def running(*words: str, before: tuple[str, ...] = ()) -> Iterator[int]:
    """A QEMU without a guest system, stopped before its first instruction."""
    process = subprocess.Popen([*before, str(QEMU), *IDLE, *words], stderr=subprocess.PIPE, stdin=subprocess.DEVNULL)
    try:
        for _ in range(100):
            name = Path(f"/proc/{process.pid}/comm").read_text().strip()
            # All devices exist once the main loop waits; reading the command line needs only the exec.
            if name.startswith(("qemu-system", "odd")):
                break
            assert process.poll() is None, process.stderr.read() if process.stderr else ""
            time.sleep(0.05)
        yield process.pid
    finally:
        process.kill()
        process.communicate()


def seen_of(pid: int, machine: Machine | None = None) -> QemuProcess:
    """What is seen of that process."""
    found: list[QemuProcess] = collect(machine or Machine()).facts["qemu"]
    return next(process for process in found if process.pid == pid)


@needs_qemu
def test_a_running_qemu_is_seen() -> None:
    """Name, devices, account, groups and start of a real process."""
    words = ["-name", "guest=hearth,debug-threads=on", "-device", "qemu-xhci", "-chardev", "serial,id=c,path=/dev/null"]
    with running(*words, "-device", "usb-host,vendorid=0x1209,productid=0x7a01,id=r") as pid:
        process = seen_of(pid)
        own = Path(f"/proc/{pid}/status").read_text()
    assert process.name == "hearth"
    assert process.usb == [UsbHostArg(id="r", vid="1209", pid="7a01")]
    assert process.ttys == [TtyArg(path="/dev/null")]
    assert process.usb_bus is True
    assert process.uid == os.geteuid()
    assert known(process.groups)
    assert os.getegid() in process.groups
    assert f"Uid:\t{process.uid}\t" in own
    assert known(process.started)
    assert abs(process.started - time.time()) < 60


@needs_qemu
def test_a_qemu_that_calls_itself_otherwise_is_seen() -> None:
    """-name process=… renames the process, not its program."""
    with running("-name", "guest=attic,process=odd") as pid:
        deadline = time.monotonic() + 10
        while Path(f"/proc/{pid}/comm").read_text().strip() != "odd" and time.monotonic() < deadline:
            time.sleep(0.05)
        assert Path(f"/proc/{pid}/comm").read_text().strip() == "odd"
        assert seen_of(pid).name == "attic"


@needs_qemu
@needs_root
def test_the_nodes_in_the_processs_own_dev_are_seen(tmp_path: Path) -> None:
    """libvirt gives each VM a /dev of its own: the nodes there count, not those of the host."""
    script = tmp_path / "start"
    script.write_text(
        "set -e\nmount -t tmpfs tmpfs /dev\nmknod /dev/null c 1 3\nmknod /dev/urandom c 1 9\n"
        "mkdir -p /dev/bus/usb/009\nmknod -m 664 /dev/bus/usb/009/002 c 189 1025\n"
        "chown 64055:64055 /dev/bus/usb/009/002\n"
        'exec "$@"\n'
    )
    trial = subprocess.run(["unshare", "-m", "sh", str(script), "true"], capture_output=True, text=True)
    if trial.returncode:
        pytest.skip(f"no mount namespace or node can be made here: {trial.stderr.strip()}")
    with running(before=("unshare", "-m", "sh", str(script))) as pid:
        nodes = seen_of(pid).own_nodes
    assert known(nodes)
    (node,) = nodes
    assert (node.path, node.major, node.minor) == ("/dev/bus/usb/009/002", 189, 1025)
    assert (node.mode, node.uid, node.gid, node.acl) == (0o664, 64055, 64055, None)


AS_NOBODY = """
import os, sys, msgspec
from radiocheck.sources import proc, accounts, acl, qemu
from radiocheck.sources.machine import Machine
import pwd, grp
os.setgroups([]); os.setresgid(65534, 65534, 65534); os.setresuid(65534, 65534, 65534)
seen = qemu.collect(Machine(root=sys.argv[1]) if len(sys.argv) > 1 else Machine())
print(msgspec.json.encode({"facts": seen.facts, "gaps": seen.gaps}).decode())
"""


def as_nobody(*arguments: str, before: tuple[str, ...] = ()) -> dict[str, Any]:
    """What an account without rights sees."""
    ran = subprocess.run(
        [*before, sys.executable, "-c", AS_NOBODY, *arguments], capture_output=True, text=True, check=True, timeout=60
    )
    read: dict[str, Any] = json.loads(ran.stdout.splitlines()[-1])
    return read


@needs_qemu
@needs_root
def test_without_rights_the_command_line_is_seen_but_not_its_dev() -> None:
    """/proc shows everyone the command line; the process's own /dev is a gap, not an empty list."""
    with running("-name", "hearth") as pid:
        seen = as_nobody()
    (process,) = [process for process in seen["facts"]["qemu"] if process["pid"] == pid]
    assert process["name"] == "hearth"
    assert "own_nodes" not in process
    gap = {gap["what"]: gap for gap in seen["gaps"]}[f"qemu[{pid}].own_nodes"]
    assert (gap["why"], gap["provide"]) == ("denied", "run as root")


@needs_root
@pytest.mark.parametrize("hidepid", ["invisible", "noaccess"])
def test_hidden_processes_are_a_gap(hidepid: str) -> None:
    """With /proc mounted hidepid=… nobody can say that there is no QEMU (proc(5))."""
    with TemporaryDirectory() as root:  # tmp_path is for its owner only
        os.chmod(root, 0o755)
        os.mkdir(f"{root}/proc")
        script = f'mount -t proc -o hidepid={hidepid} proc {root}/proc && exec "$@"'
        before = ("unshare", "-m", "sh", "-c", script, "sh")
        if subprocess.run([*before, "true"], capture_output=True).returncode:
            pytest.skip("no mount namespace can be made here")
        seen = as_nobody(root, before=before)
    assert seen["facts"] == {}
    assert [(gap["what"], gap["why"], gap["provide"]) for gap in seen["gaps"]] == [("qemu", "denied", "run as root")]


def fake(root: Path, pid: int, **files: str) -> None:
    """A process below a root that is no machine."""
    folder = root / "proc" / str(pid)
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / name).write_bytes(text.encode("utf-8", "surrogateescape"))


def status(parent: int = 1) -> str:
    """The lines of /proc/PID/status that are used."""
    return f"Name:\tx\nPPid:\t{parent}\nUid:\t0\t64055\t0\t0\nGid:\t0\t64055\t0\t0\nGroups:\t103 \n"


def test_other_programs_zombies_and_forks_are_no_vm(tmp_path: Path) -> None:
    """Kernel threads and zombies have no command line; a fork before its exec still has its parent's."""
    line = "qemu-system-x86_64\0-name\0hearth\0"
    fake(tmp_path, 1, comm="init\n", cmdline="/sbin/init\0")
    fake(tmp_path, 5, comm="kvm\n", cmdline="")
    fake(tmp_path, 6, comm="kvm-nx-lpage-re\n", cmdline="")
    fake(tmp_path, 7, comm="qemu-ga\n", cmdline="/usr/sbin/qemu-ga\0")
    fake(tmp_path, 8, comm="qemu-x86_64\n", cmdline="qemu-x86_64\0./a.out\0")
    fake(tmp_path, 20, comm="qemu-system-x86\n", cmdline=line, status=status())
    fake(tmp_path, 21, comm="qemu-system-x86\n", cmdline=line, status=status(20))
    seen = collect(Machine(root=str(tmp_path)))
    assert [process.pid for process in seen.facts["qemu"]] == [20]
    (process,) = seen.facts["qemu"]
    assert (process.uid, process.groups, process.name) == (64055, [103, 64055], "hearth")
    assert process.started is UNSET


def test_devices_from_a_file_leave_a_gap(tmp_path: Path) -> None:
    """With -readconfig the lists are not complete, so they are absent and a gap names the file."""
    fake(tmp_path, 1, comm="init\n")
    line = "qemu-system-x86_64\0-readconfig\0/etc/vm.cfg\0-usb\0"
    fake(tmp_path, 20, comm="qemu-system-x86\n", cmdline=line, status=status())
    seen = collect(Machine(root=str(tmp_path)))
    (process,) = seen.facts["qemu"]
    assert (process.usb, process.pci, process.ttys, process.usb_bus) == (UNSET, UNSET, UNSET, UNSET)
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("qemu[20].usb", "not-here")]


def test_a_hostile_command_line_is_only_text(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 and terminal escapes neither raise nor vanish."""
    fake(tmp_path, 1, comm="init\n")
    line = "kvm\0-name\0a\x1b[31m\udcff\0-device\0usb-host,id=\udcfe\n\0"
    fake(tmp_path, 20, comm="kvm\n", cmdline=line, status="nonsense")
    (process,) = collect(Machine(root=str(tmp_path))).facts["qemu"]
    assert process.name == "a\x1b[31m\ufffd"
    assert process.usb == [UsbHostArg(id="\ufffd\n")]
    assert process.uid is UNSET


def test_without_proc_nothing_is_claimed(tmp_path: Path) -> None:
    """No /proc, no list."""
    seen = collect(Machine(root=str(tmp_path)))
    assert seen.facts == {}
    assert [gap.what for gap in seen.gaps] == ["qemu"]
