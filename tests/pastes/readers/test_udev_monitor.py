"""`udevadm monitor` of systemd 252 (udevadm-monitor.c; its form from memory, its heading seen)."""

from __future__ import annotations

import pytest

from .said import said, values

PLACE = "/devices/pci0000:00/0000:00:14.0/usb1/1-2"
TEXT = f"""monitor will print the received events for:
UDEV - the event which udev sends out after rule processing
KERNEL - the kernel uevent

KERNEL[1234.567890] remove   {PLACE}/1-2:1.0/ttyUSB0/tty/ttyUSB0 (tty)
KERNEL[1234.567990] unbind   {PLACE}/1-2:1.0/ttyUSB0 (usb-serial)
KERNEL[1234.568890] remove   {PLACE} (usb)
UDEV  [1234.569890] remove   {PLACE} (usb)
KERNEL[1240.000001] add      {PLACE} (usb)
KERNEL[1240.100001] add      {PLACE}/1-2:1.0 (usb)
KERNEL[1240.200001] bind     {PLACE}/1-2:1.0 (usb)
UDEV  [1240.250001] add      {PLACE} (usb)
KERNEL[1240.300001] add      {PLACE}/1-2:1.0/tty/ttyACM0 (tty)
"""


def kinds(text: str) -> list[tuple[str, str | None, str | None]]:
    """What came and went."""
    return [(event.kind, event.device, event.tty) for _, event in values("udev_monitor", text, "event")]


def test_what_comes_and_goes() -> None:
    """The kernel's word; udev's is the same a moment later."""
    assert kinds(TEXT) == [
        ("detached", None, "ttyUSB0"),
        ("disconnect", "1-2", None),
        ("new-device", "1-2", None),
        ("acm", "1-2", "ttyACM0"),
    ]
    assert values("udev_monitor", TEXT, "log") == [{"clock": "uptime", "last": 1240.300001, "from_boot": False}]


def test_udev_alone() -> None:
    """`udevadm monitor -u`."""
    text = "\n".join(row for row in TEXT.splitlines() if not row.startswith("KERNEL["))
    assert kinds(text) == [("disconnect", "1-2", None), ("new-device", "1-2", None)]


def test_the_kernel_log_tells_the_same() -> None:
    """An arrival counts once."""
    assert said("udev_monitor", TEXT + "[ 1240.0] usb 1-2: new full-speed USB device number 5 using xhci_hcd\n") == []


@pytest.mark.parametrize(
    "line",
    [
        "",
        "KERNEL[1.0] add /x (usb)",
        "KERNEL[1.0] change /devices/x/usb1/1-2 (usb)",
        "KERNEL[12] add      /devices/x/usb1/1-2 (usb)",
    ],
)
def test_other_lines_say_nothing(line: str) -> None:
    """No device, no arrival, no time."""
    assert [piece for piece in said("udev_monitor", line) if piece.kind == "event"] == []
