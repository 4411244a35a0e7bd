"""Lines of an xl.cfg, in the forms of its man page."""

from __future__ import annotations

from radiocheck.evidence.vm import GivenVm, HostdevUsb, PciArg, UsbHostArg

from .said import said, typed, values

BEGINNING = 'type = "hvm"\nname = "lathe"\nmemory = 2048\nvcpus = 2\n'


def vms(text: str) -> list[GivenVm]:
    """The VMs that a paste names."""
    return values("xl_lines", text, "given")


def test_devices_of_the_host() -> None:
    """By the option of before, by bus and number, and a whole controller."""
    (old,) = vms(typed("cat /etc/xen/lathe.cfg", BEGINNING + 'usbdevice = [ "tablet", "host:0403:6010" ]\n'))
    assert (old.name, old.manager, old.arguments) == ("lathe", "xen", [UsbHostArg(vid="0403", pid="6010")])
    (new,) = vms(BEGINNING + "usbdev = [ 'type=hostdev,hostbus=2,hostaddr=3' ]\n")
    assert new.hostdevs == [HostdevUsb(bus=2, address=3)]
    (whole,) = vms(BEGINNING + "# the card\n\npci = [\n  '00:14.0',\n]\n")
    assert whole.pci == [PciArg(address="0000:00:14.0")]


def test_what_hands_nothing_over() -> None:
    """A VM without a device, a script's variables, and settings of another program."""
    assert said("xl_lines", BEGINNING) == []
    assert said("xl_lines", "pci = '00:14.0'\necho $pci\n") == []
    assert said("xl_lines", 'usbdevice = [ "host:0403:6010" ]\n') == []
