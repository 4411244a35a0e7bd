"""`lsmod` (kmod 30) and /proc/modules, by their forms."""

from __future__ import annotations

import pytest

from .said import said, typed, values

LSMOD = """Module                  Size  Used by
cp210x                 36864  1
usbserial              65536  3 cp210x,ftdi_sio
snd_hda_intel          57344  0
vfio_pci               16384  -2
"""


def names(text: str) -> list[str]:
    """Modules that are loaded."""
    found = values("lsmod", text, "module")
    assert all(one["loaded"] is True for one in found)
    return [one["name"] for one in found]


@pytest.mark.parametrize(
    "text",
    [
        LSMOD,
        typed("lsmod", LSMOD),
        LSMOD.partition("\n")[2],
        typed("lsmod | grep -e usb -e cp", LSMOD.partition("\n")[2]),
    ],
)
def test_modules_that_matter(text: str) -> None:
    """With and without the heading; what uses another is loaded, too; sound does not matter."""
    assert names(text) == ["cp210x", "usbserial", "ftdi_sio", "vfio_pci"]


def test_the_kernels_own_list() -> None:
    """Linux, kernel/module/procfs.c."""
    assert names(
        "cp210x 36864 1 - Live 0x0000000000000000\nusbserial 65536 1 cp210x, Live 0xffffffffc0a00000 (E)\n"
    ) == ["cp210x", "usbserial"]


@pytest.mark.parametrize(
    "text", ["", "modprobe cp210x", "cp210x", "usbserial 3", "the usb 100 5 things are", "usb  480  2 ports of it all"]
)
def test_other_rows_are_no_modules(text: str) -> None:
    """Prose and other tables."""
    assert said("lsmod", text) == []
