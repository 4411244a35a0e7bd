"""What a refused start names of the VM's configuration."""

from __future__ import annotations

from radiocheck.evidence.serial import AppMessage
from radiocheck.evidence.vm import Domain, GivenVm, PciArg, TtyArg, UsbHostArg, VmMessage
from radiocheck.pastes.refusals import told
from radiocheck.sources.vm_log import read_line


def message(line: str) -> VmMessage:
    """QEMU's or libvirt's words."""
    found = read_line(line)
    assert found is not None
    return found


def test_one_device_in_two_messages() -> None:
    """libusb names the node, QEMU bus and address."""
    both = [
        message("libusb: error [get_usbfs_fd] libusb couldn't open USB device /dev/bus/usb/001/006, errno=13"),
        message("qemu-kvm: -device usb-host,hostbus=1,hostaddr=6: failed to open host usb device 1:6"),
    ]
    for messages in (both, both[::-1]):
        (found,) = told(messages, [], [], [])
        assert found.arguments == [UsbHostArg(bus=1, address=6)]


def test_a_controller() -> None:
    """By QEMU's argument, or by the address that libvirt names."""
    for line in (
        "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: no iommu_group found: No such file",
        "error: operation failed: Unmanaged PCI device 0000:06:00.0 must be manually detached from the host",
    ):
        (found,) = told([message(line)], [], [], [])
        assert found.pci == [PciArg(address="0000:06:00.0")]


def test_a_character_device() -> None:
    """QEMU names the tty that it could not open; libvirt's names of such devices tell that it is libvirt's."""
    for words, manager in (("serial,id=gps", "qemu"), ("tty,id=charserial1", "libvirt")):
        line = f"qemu-system-x86_64: -chardev {words},path=/dev/ttyUSB0: Could not open '/dev/ttyUSB0': No such file"
        app = AppMessage(kind="missing", path="/dev/ttyUSB0", program=None, text=line)
        (found,) = told([], [], [], [], [app])
        assert (found.manager, found.ttys) == (manager, [TtyArg(path="/dev/ttyUSB0")])
    assert told([], [], [], [], [AppMessage(kind="missing", path=None, program=None, text="no device")]) == []


def test_a_vm_that_is_shown_needs_none() -> None:
    """Its configuration is there; a domain of which only the state is known has none."""
    line = message("qemu-system-x86_64: -device usb-host,hostbus=1,hostaddr=6: failed to open host usb device 1:6")
    assert told([line], [], [], [GivenVm(name="hearth", manager="qemu", origin="paste")]) == []
    assert len(told([line], [Domain(name="hearth", state="running")], [], [])) == 1
