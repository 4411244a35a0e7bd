"""VMs as lines of `key: value`."""

from __future__ import annotations

import pytest

from radiocheck.evidence.vm import GivenVm, PciArg, TtyArg, UsbHostArg

from .said import said, typed, values

LINES = """agent: 1
boot: order=scsi0
memory: 4096
name: hearth
net0: virtio=02:00:00:00:00:01,bridge=br0
usb0: host=1209:7a01,usb3=1
usb1: host=1-2.1
hostpci0: 0000:00:14.0,pcie=1
serial0: /dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0
"""


def test_all_that_is_of_the_host() -> None:
    """A USB device by IDs and by port, a PCI function, a tty."""
    assert values("vm_lines", LINES, "given") == [
        GivenVm(
            name="hearth",
            manager="qemu",
            origin="paste",
            arguments=[UsbHostArg(id="usb0", vid="1209", pid="7a01"), UsbHostArg(id="usb1", bus=1, port="2.1")],
            pci=[PciArg(address="0000:00:14.0")],
            ttys=[TtyArg(path="/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0")],
        )
    ]


@pytest.mark.parametrize(
    ("line", "argument"),
    [
        ("usb0: host=1209:7A01", UsbHostArg(id="usb0", vid="1209", pid="7a01")),
        ("usb12: host=0x1209:0x7a01", UsbHostArg(id="usb12", vid="1209", pid="7a01")),
        ("> usb0: host=3-1", UsbHostArg(id="usb0", bus=3, port="1")),
        ("usb0: usb3=yes,host=3-1.4", UsbHostArg(id="usb0", bus=3, port="1.4")),
    ],
)
def test_one_line(line: str, argument: UsbHostArg) -> None:
    """A line alone is enough."""
    (found,) = values("vm_lines", line, "given")
    assert found.arguments == [argument]
    assert found.name is None


@pytest.mark.parametrize(
    ("line", "address"),
    [
        ("hostpci0: 00:14", "0000:00:14.0"),
        ("hostpci1: 01:00.1,x-vga=1", "0000:01:00.1"),
        ("hostpci0: host=0000:03:00.0", "0000:03:00.0"),
    ],
)
def test_functions(line: str, address: str) -> None:
    """With and without domain and function."""
    (found,) = values("vm_lines", line, "given")
    assert found.pci == [PciArg(address=address)]


def test_two_vms_are_two() -> None:
    """A command or a line of prose stands between them."""
    text = typed("cat 100.conf", LINES) + typed("cat 101.conf", LINES.replace("hearth", "attic"))
    assert [one.name for one in values("vm_lines", text, "given")] == ["hearth", "attic"]


@pytest.mark.parametrize(
    "line",
    [
        "usb0: spice",
        "usb0: host=12",
        "usb0: host=1209:7a...",
        "usb 1-2: Product: x",
        "hostpci0: mapping=x",
        "serial0: socket",
        "name: x",
        "usb0:",
    ],
)
def test_other_lines_say_nothing(line: str) -> None:
    """Nothing of the host, or half of it."""
    assert said("vm_lines", line) == []
