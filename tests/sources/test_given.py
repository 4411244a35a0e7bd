"""VM configurations that a person gives as files."""

from __future__ import annotations

import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import UNSET

from radiocheck.evidence.vm import GivenVm, HostdevUsb, PciArg, UsbHostArg
from radiocheck.sources import given as readers

IDS = UsbHostArg(vid="1209", pid="7a01")
NODE = UsbHostArg(id="hostdev0", node="/dev/bus/usb/001/004")
JSON = '{"driver":"usb-host","hostdevice":"/dev/bus/usb/001/004","id":"hostdev0"}'
USB = "-device usb-host,vendorid=0x1209,productid=0x7a01"


def args(text: str | bytes) -> GivenVm:
    """The only VM of a command line."""
    (vm,) = readers.vm_args(text.encode() if isinstance(text, str) else text, "hearth.sh")
    return vm


def refusal(reader: Any, text: str | bytes) -> str:
    """Why a reader does not take a text."""
    with pytest.raises(ValueError, match=r".") as refused:
        reader(text.encode() if isinstance(text, str) else text, "hearth")
    sentence = str(refused.value)
    assert sentence.isprintable()
    return sentence


# --- command lines


@pytest.mark.parametrize(
    "text",
    [
        f"qemu-system-x86_64 -name hearth {USB}",
        f"#!/bin/sh\n# mira's VM\nmodprobe kvm\nexec sudo -u mira env A=b nice -n 5 /usr/bin/qemu-system-x86_64 \\\n"
        f"  -name 'hearth' \\\n  {USB} >/var/log/hearth.log 2>&1 &\n",
        f"ExecStart=/usr/libexec/qemu-kvm -name guest=hearth,debug-threads=on \\\n    {USB}\n",
        f"mira  1234  1.5 20.1 987654 32100 ?  Sl  09:12  1:23 kvm -name hearth {USB}",
        f"   1234 ?  Sl  1:23 qemu-system-aarch64 -name hearth {USB} disk.img",
        f"USER PID COMMAND\nroot 1 /sbin/init\nmira 1234 /usr/bin/qemu-system-x86_64 -name hearth {USB}\n"
        "mira 1300 grep qemu-system-x86_64\n",
        f"     └─1234 /usr/bin/qemu-system-x86_64 -name hearth {USB}",
        f"-name hearth {USB}",
        f"qemu-system-x86_64\n  -name hearth\n  {USB}\n",
        "qemu-system-x86_64\n-name\nhearth\n-device\nusb-host,vendorid=0x1209,productid=0x7a01\n",
        "/usr/bin/qemu-system-x86_64\0-name\0hearth\0-device\0usb-host,vendorid=0x1209,productid=0x7a01\0",
        "qemu-system-x86_64 -name hearth -device "
        + shlex.quote('{"driver":"usb-host","vendorid":4617,"productid":31233}'),
        'mira 1234 kvm -name hearth -device {"driver": "usb-host", "vendorid": 4617, "productid": 31233}',
        f"\ufeffqemu-system-x86_64 -name hearth {USB}\r\n",
    ],
)
def test_ways_to_write_a_command_line(text: str) -> None:
    """A script, a unit, ps and systemctl, /proc/PID/cmdline, options alone, both syntaxes: all say the same."""
    vm = args(text)
    assert (vm.name, vm.manager, vm.origin, vm.arguments) == ("hearth", "qemu", "hearth.sh", [IDS])
    assert vm.usb_bus is (UNSET if text.startswith("-") else False)


def test_names_of_several_words() -> None:
    """In quotes, and from ps, which drops them."""
    assert args(f"qemu-system-x86_64 -name 'by the hearth' {USB}").name == "by the hearth"
    vm = args(f"mira 1234 qemu-system-x86_64 -name guest=by the hearth,debug-threads=on -device {JSON}")
    assert (vm.name, vm.arguments) == ("by the hearth", [NODE])


def test_lines_that_libvirt_wrote_are_marked() -> None:
    """libvirt looks the numbers up anew at each start: its command line is told apart from one that a person wrote."""
    vm = args(f"kvm -name guest=hearth -mon chardev=charmonitor,id=monitor,mode=control -device '{JSON}'")
    assert (vm.manager, vm.arguments) == ("libvirt", [NODE])


def test_thousands_of_arguments_and_odd_bytes() -> None:
    """A command line of 20,000 words with bytes that are no UTF-8 is read."""
    words = [b"qemu-system-x86_64", b"-name", b"h\xffrth", *[b"-set", b"a.b.c=\xfe"] * 10_000]
    words += [b"-device", b"usb-host,hostbus=1,hostport=2"]
    for data in (b"\0".join(words) + b"\0", b" ".join(words)):
        vm = args(data)
        assert (vm.name, vm.arguments) == ("h\N{REPLACEMENT CHARACTER}rth", [UsbHostArg(bus=1, port="2")])


def test_several_vms_in_one_text() -> None:
    """Each command is a VM of its own; a repetition counts once, a contradiction is refused."""
    first, second = f"qemu-system-x86_64 -name hearth {USB}\n", "qemu-system-x86_64 -name attic -m 512\n"
    assert [vm.name for vm in readers.vm_args((first + second + first).encode(), "x")] == ["hearth", "attic"]
    said = refusal(readers.vm_args, first + "qemu-system-x86_64 -name hearth -m 512")
    assert "describes `hearth` twice" in said


@pytest.mark.parametrize(
    "text",
    [
        "qemu-system-x86_64 -m $MEM -drive file=$IMG,if=virtio -netdev user,id=$(date +%s) " + USB,
        "qemu-system-x86_64 -device virtio-net,mac=$MAC -chardev socket,path=$RUN/x -serial mon:stdio " + USB,
        'qemu-system-x86_64 -smp "$(nproc)" ' + USB + ' >"$LOG" 2>&1',
        "qemu-system-x86_64 -append 'root=$x' " + USB,
    ],
)
def test_variables_that_hide_nothing_of_the_path(text: str) -> None:
    """What only the shell knows does not matter in options that hand over no device."""
    assert args(text).arguments == [IDS]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("qemu-system-x86_64 -device usb-host,vendorid=$VID", "usb-host,vendorid=$VID"),
        ("qemu-system-x86_64 -device $STICK", "$STICK"),
        ("qemu-system-x86_64 -chardev serial,id=a,path=$TTY", "path=$TTY"),
        ("qemu-system-x86_64 -serial $TTY", "$TTY"),
        ("qemu-system-x86_64 -readconfig $FILE", "$FILE"),
        ('qemu-system-x86_64 -m 512 "$@"', "$@"),
        ("qemu-system-x86_64 -m 512 -nographic $EXTRA", "$EXTRA"),
        ('args=(\n  -m 512\n)\nqemu-system-x86_64 "${args[@]}"', "${args[@]}"),
        ("qemu-system-x86_64 -device <(cat stick)", "<(cat stick)"),
    ],
)
def test_variables_that_may_hide_a_device_are_refused(text: str, word: str) -> None:
    """A device that only the shell knows is not guessed; the sentence says how to give the running command."""
    said = refusal(readers.vm_args, text)
    assert word in said
    assert "/proc/PID/cmdline" in said


def test_a_name_from_a_variable_is_no_name() -> None:
    """A VM called by a variable has no name that could be compared."""
    assert args(f'qemu-system-x86_64 -name "$NAME" {USB}').name is None


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "is empty"),
        (b" \n", "is empty"),
        (b"name = 'hearth'\n", "no QEMU command line"),
        (b"<domain type='kvm'/>", "no QEMU command line"),
        (b"qemu-system-x86_64\n", "no QEMU command line"),
        (b"modprobe kvm; lsmod | grep kvm", "no QEMU command line"),
        (b"\x7fELF\x02\0\0\0", "no QEMU command line"),
        (b"PATH=/bin\0HOME=/root\0", "no QEMU command line"),
        (b"qemu-system-x86_64 -name 'hearth", "never closed"),
        (b"qemu-system-x86_64 -m 512 \\", "never closed"),
        (b"qemu-system-x86_64 -readconfig /etc/hearth.cfg", "/etc/hearth.cfg"),
        ("qemu-system-x86_64 -m 512".encode("utf-16"), "UTF-16"),
        (b"-" * (readers.ARGS_LIMIT + 1), "larger than 6 MB"),
    ],
)
def test_what_is_no_command_line(data: bytes, word: str) -> None:
    """Other files, files that were cut off, and files that lead elsewhere are one sentence each."""
    assert word in refusal(readers.vm_args, data)


def test_words_are_those_that_qemu_gets(tmp_path: Path) -> None:
    """A script read as text says what the program sees when a shell runs it."""
    program = tmp_path / "qemu-system-x86_64"
    program.write_text(f"#!{sys.executable}\nimport os, sys\nsys.stdout.write('\\0'.join(sys.argv) + '\\0')\n")
    program.chmod(0o755)
    script = (
        f"# the VM's start\n'{program}' -name guest=\"by the hearth\",debug-threads=on \\\n"
        f"  -device '{JSON}' -device usb-host,hostbus=1,hostport=1.2 `: nothing` \\\n"
        "  -device vfio-pci,host=00:14.0 -usb # and no more\n"
    )
    ran = subprocess.run(["sh", "-c", script], capture_output=True, check=True).stdout
    assert args(script.replace("`: nothing` ", "")) == args(ran)
    assert args(ran).pci == [PciArg(address="0000:00:14.0")]


# --- all of them


def test_xl_files() -> None:
    """An xl file by its text; a mistake is told with the man page."""
    (vm,) = readers.vm_xl(b"name='hearth'\nusbdev=['hostbus=1,hostaddr=5']\n", "hearth.cfg")
    assert (vm.name, vm.manager, vm.hostdevs) == ("hearth", "xen", [HostdevUsb(bus=1, address=5)])
    assert "xl.cfg(5)" in refusal(readers.vm_xl, "import os")
    assert "is empty" in refusal(readers.vm_xl, "")
    assert "larger than 1 MB" in refusal(readers.vm_xl, "é" * (1 << 20))


PIECES = [
    b"qemu-system-x86_64", b" ", b"-device", b"\n", b"usb-host,", b"hostbus=1", b"{", b'"driver":', b"'", b'"', b"\\",
    b"$(", b"$x", b"\0", b"-name", b"<domain type='kvm'>", b"</domain>", b"<devices>", b"</devices>", b"<hostdev",
    b" type='usb'>", b"</hostdev>", b"<source>", b"</source>", b"<vendor id='0x1209'/>", b"<!DOCTYPE x [", b"]>",
    b"<!ENTITY a 'b'>", b"&a;", b"<?xml version='1.0'?>", b"name=", b"usbdev=", b"[", b"]", b"'hostbus=1,hostaddr=5'",
    b"\xff", b"\xc3\xa9", b"#", b"1234 ", b"-readconfig", b"\x1b", b"\r\n",
]  # fmt: skip


@pytest.mark.parametrize("reader", [readers.vm_args, readers.vm_xml, readers.vm_xl])
@given(st.one_of(st.binary(), st.lists(st.sampled_from(PIECES), max_size=30).map(b"".join)))
@settings(max_examples=600, deadline=None)
def test_any_bytes_are_read_or_refused(reader: Any, data: bytes) -> None:
    """No file makes a reader raise anything but ValueError with one printable line, or give a VM twice."""
    found, said = [], ""
    try:
        found = reader(data, "hearth")
    except ValueError as error:
        said = str(error)
    assert bool(found) != bool(said)
    assert said.isprintable()
    assert len({vm.name for vm in found}) == len(found)
