"""Two halves of one adapter: `lsusb` without a place, and a log or udev's database without IDs."""

from __future__ import annotations

import pytest

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import UsbDevice
from radiocheck.pastes.merge import read

BRIDGE = "Bus 001 Device 004: ID 10c4:ea60 Silicon Labs CP210x UART Bridge\n"
ROOT = "Bus 001 Device 001: ID 1d6b:0002 Linux Foundation 2.0 root hub\n"
MOUSE = "Bus 001 Device 003: ID 1209:7a02 Lindenhof Mouse\n"
ATTACHED = "[   12.113002] usb 1-2: cp210x converter now attached to ttyUSB0\n"
ACM = "[   12.113002] cdc_acm 1-1.2:1.0: ttyACM0: USB ACM device\n"
UDEV = """P: /devices/pci0000:00/0000:00:14.0/usb1/1-3/1-3:1.0/ttyUSB0/tty/ttyUSB0
N: ttyUSB0
E: DEVPATH=/devices/pci0000:00/0000:00:14.0/usb1/1-3/1-3:1.0/ttyUSB0/tty/ttyUSB0
E: DEVNAME=/dev/ttyUSB0
E: SUBSYSTEM=tty
"""


def devices(text: str) -> list[UsbDevice]:
    """The devices that are no root hubs."""
    usb = read(text.encode(), 1_000_000.0).evidence.usb
    return [one for one in usb if not one.name.startswith("usb")] if known(usb) else []


ONE = {
    "the last line of dmesg": BRIDGE + ATTACHED,
    "in the other order": ATTACHED + "\n" + ROOT + BRIDGE,
    "beside a mouse": ROOT + MOUSE + BRIDGE + ATTACHED,
    "a bridge that is a modem by its class": BRIDGE.replace("10c4:ea60", "1a86:55d4") + ACM,
    "udev's database without the USB properties": BRIDGE + UDEV,
    "with the number": BRIDGE + "[   12.0] usb 1-2: new full-speed USB device number 4 using xhci_hcd\n" + ATTACHED,
    "another bus has one, too": BRIDGE.replace("001", "002", 1) + BRIDGE + ATTACHED,
}


@pytest.mark.parametrize("text", ONE.values(), ids=ONE)
def test_one_of_each_is_one_adapter(text: str) -> None:
    """IDs, place and tty are of one device."""
    whole = [one for one in devices(text) if known(one.vid) and known(one.path)]
    assert len(whole) == 1
    assert (whole[0].bus, whole[0].devnum) == (1, 4)
    assert known(whole[0].interfaces)
    assert next(one.ttys for one in whole[0].interfaces) in (["ttyUSB0"], ["ttyACM0"])
    assert sum(known(one.path) for one in devices(text)) == 1


TWO = {
    "two bridges": BRIDGE + BRIDGE.replace("004", "005") + ATTACHED,
    "two ttys": BRIDGE + ATTACHED + ATTACHED.replace("1-2", "1-3").replace("USB0", "USB1"),
    "another driver's bridge": BRIDGE.replace("10c4:ea60", "0403:6001") + ATTACHED,
    "of another bus": BRIDGE.replace("001", "002", 1) + ATTACHED,
    "of no maker of bridges": BRIDGE.replace("10c4:ea60", "1209:7a01") + ATTACHED,
    "another number": BRIDGE + "[   12.0] usb 1-2: new full-speed USB device number 9 using xhci_hcd\n" + ATTACHED,
    "perhaps of a host and its VM": "the VM shows\n" + BRIDGE + "and the host shows\n" + ATTACHED,
}


@pytest.mark.parametrize("text", TWO.values(), ids=TWO)
def test_what_may_be_two_stays_two(text: str) -> None:
    """Which of them made the tty does not show."""
    assert not [one for one in devices(text) if known(one.vid) and known(one.path)]


ERROR = "[ 5120.2] pl2303 ttyUSB0: usb_serial_generic_read_bulk_callback - urb stopped: -32\n"
SPOKEN = {
    "pl2303": ERROR,
    "pl2303, older": "[ 5120.1] pl2303 ttyUSB0: pl2303_set_control_lines - failed: -32\n",
    "ftdi_sio": "[ 5120.1] ftdi_sio ttyUSB0: ftdi_set_termios urb failed to set baudrate\n",
    "ch341": "[ 5120.1] ch341-uart ttyUSB0: failed to submit interrupt urb: -19\n",
    "cp210x": "[ 5120.1] cp210x ttyUSB0: failed set request 0x12 status: -110\n",
    "after an unplug before": "[ 5000.0] usb 1-2: USB disconnect, device number 5\n" + ERROR,
}


@pytest.mark.parametrize("text", SPOKEN.values(), ids=SPOKEN)
def test_errors_of_a_tty_tell_that_it_is_there(text: str) -> None:
    """A driver speaks of a tty that it has, and names no device."""
    (device,) = devices(text)
    assert known(device.interfaces)
    assert device.interfaces[0].ttys == ["ttyUSB0"]


@pytest.mark.parametrize(
    "after",
    [
        "[ 5121.0] usb 1-2: USB disconnect, device number 5\n",
        "[ 5121.0] pl2303 ttyUSB0: pl2303 converter now disconnected from ttyUSB0\n",
    ],
)
def test_errors_before_an_unplug_do_not(after: str) -> None:
    """They are of the unplug."""
    assert devices(ERROR + after) == []


GETTY = """● serial-getty@ttyUSB0.service - Serial Getty on ttyUSB0
     Loaded: loaded (/lib/systemd/system/serial-getty@.service; enabled; preset: enabled)
     Active: active (running) since Wed 2026-11-25 12:00:00 UTC; 1h ago
"""


def test_a_service_on_a_tty_tells_that_it_is_there() -> None:
    """BindsTo=dev-%i.device in serial-getty@.service (systemd 252): it runs no longer than the tty is there."""
    (device,) = devices(GETTY + "\n" + BRIDGE)
    assert device.vid == "10c4"
    assert known(device.interfaces)
    assert device.interfaces[0].ttys == ["ttyUSB0"]
    assert devices(GETTY.replace("active (running)", "inactive (dead)")) == []
    assert devices(GETTY.replace("ttyUSB0", "ttyS0")) == []


def test_a_port_without_power_is_still_there() -> None:
    """The line before the last was pasted: the device is on the bus."""
    line = "[  6.1] usb 1-2.4: rejected 1 configuration due to insufficient available bus power\n"
    assert [one.name for one in devices(line)] == ["1-2.4"]
