"""`lsusb -v`: usbutils 014 run under a testbed that has descriptors."""

from __future__ import annotations

import pytest

from tests.sources.umock import needs_umockdev

from .said import printed, said, values

STICK = """
Bus 001 Device 005: ID 1209:7a01 Generic Mesh stick
Device Descriptor:
  bLength                18
  bDescriptorType         1
  bcdUSB               2.00
  bDeviceClass            0
  idVendor           0x1209 Generic
  idProduct          0x7a01
  bcdDevice            1.00
  iManufacturer           1 Lindenhof
  iProduct                2 Mesh stick
  iSerial                 0
  bNumConfigurations      1
  Configuration Descriptor:
    bNumInterfaces          1
    bConfigurationValue     1
    bmAttributes         0x80
      (Bus Powered)
    MaxPower              500mA
    Interface Descriptor:
      bInterfaceNumber        0
      bAlternateSetting       0
      bNumEndpoints           2
      bInterfaceClass       255 Vendor Specific Class
      bInterfaceSubClass      0
      bInterfaceProtocol      0
"""  # usbutils 014, shortened


@needs_umockdev
def test_the_program_prints_descriptors() -> None:
    """Strings, power and class of the disk, as its testbed has them."""
    found = {one["pid"]: one for one in values("verbose", printed("gable", "lsusb", "-v"), "device")}
    disk = found["0004"]
    assert (disk["manufacturer"], disk["product"], disk["serial"]) == ("Lindenhof", "Bench disk", "000000000007")
    assert (disk["max_power_ma"], disk["self_powered"], disk["version"]) == (224, False, "3.20")
    assert disk["described"] == [{"number": 0, "endpoints": 2, "class_": 8, "subclass": 6, "protocol": 80}]


@needs_umockdev
def test_descriptors_are_no_interfaces() -> None:
    """lsusb describes interfaces of a device without configuration, which has none: they do not count as such."""
    found = values("verbose", printed("refused", "lsusb", "-v"), "device")
    assert {one["devnum"] for one in found} >= {4, 6}
    assert not any("interfaces" in one for one in found)


def test_a_device_without_a_serial_number() -> None:
    """Index 0: the device has no such string (USB 2.0, table 9-8)."""
    (found,) = values("verbose", STICK, "device")
    assert (found["serial"], found["manufacturer"], found["max_power_ma"]) == (None, "Lindenhof", 500)


@pytest.mark.parametrize("line", ["  iSerial                 3 ", "  iSerial                 3 (error)"])
def test_a_string_that_was_not_read_is_no_string(line: str) -> None:
    """There is one, and lsusb does not say which."""
    (found,) = values("verbose", STICK.replace("  iSerial                 0", line), "device")
    assert "serial" not in found


def test_without_rights_the_strings_are_the_databases() -> None:
    """ "Couldn't open device, some information will be missing" (lsusb.c): names come from usb.ids."""
    text = STICK.replace("\nDevice Desc", "\nCouldn't open device, some information will be missing\nDevice Desc")
    (found,) = values("verbose", text, "device")
    assert "manufacturer" not in found
    assert found["max_power_ma"] == 500


def test_a_heading_alone_is_left_to_lsusb() -> None:
    """Without descriptors there is nothing more to say."""
    assert said("verbose", "Bus 001 Device 005: ID 1209:7a01 Generic Mesh stick\n\n") == []


def test_interfaces_that_were_cut_off_are_not_told() -> None:
    """The configuration says that there are two."""
    (found,) = values("verbose", STICK.replace("bNumInterfaces          1", "bNumInterfaces          2"), "device")
    assert "described" not in found


def test_power_of_the_second_configuration_is_not_taken() -> None:
    """Only one is active, and lsusb does not say which: the first is what the kernel takes mostly."""
    second = STICK[STICK.index("  Configuration") :].replace("500mA", "  2mA")
    (found,) = values("verbose", STICK + second, "device")
    assert found["max_power_ma"] == 500
