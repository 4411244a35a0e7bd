"""IOMMU groups that are not there (ls of coreutils 9.1, QEMU 7.2), and modprobe.d(5) for vfio-pci."""

from __future__ import annotations

from typing import Any

import pytest

from .said import said, typed, values

LSPCI = (
    "04:00.0 USB controller [0c03]: Renesas Technology Corp. uPD720201 USB 3.0 Host Controller [1912:0014] (rev 03)\n"
    "\tKernel driver in use: xhci_hcd\n"
)
NONE = [{"address": "0000:04:00.0", "iommu_group": None}]


def controllers(text: str) -> list[dict[str, Any]]:
    """What is said of controllers."""
    return values("iommu", text, "controller")


@pytest.mark.parametrize(
    "command", ["ls /sys/kernel/iommu_groups/", "ls -l /sys/kernel/iommu_groups", "tree /sys/kernel/iommu_groups/"]
)
def test_no_group_at_all(command: str) -> None:
    """Then no controller of the paste is in one."""
    found = controllers(typed("lspci -nnk", LSPCI) + typed(command, "") + typed("lsusb", ""))
    assert found == NONE


@pytest.mark.parametrize(
    "text",
    [
        typed("lspci -nnk", LSPCI) + typed("ls /sys/kernel/iommu_groups/", "0  1  10  11\n") + typed("lsusb", ""),
        typed("lspci -nnk", LSPCI) + typed("ls /sys/kernel/iommu_groups/", ""),  # what came of it was not pasted
        LSPCI + "look into /sys/kernel/iommu_groups/ for them",
    ],
)
def test_groups_that_are_there_or_not_shown(text: str) -> None:
    """Nothing follows."""
    assert said("iommu", text) == []


def test_qemu_says_it_of_one() -> None:
    """hw/vfio/pci.c."""
    line = "qemu-system-x86_64: -device vfio-pci,host=04:00.0: vfio 0000:04:00.0: no iommu_group found: No such file"
    assert controllers(line) == NONE


@pytest.mark.parametrize(
    "setting", ["options vfio-pci ids=1912:0014,8086:a36d", "root=/dev/sda1 ro vfio-pci.ids=1912:0014 quiet"]
)
def test_settings_that_reserve(setting: str) -> None:
    """A controller whose IDs are among them; a comment is none."""
    assert controllers(f"{setting}\n{LSPCI}") == [{"address": "0000:04:00.0", "reserved": setting}]
    assert controllers(f"# {setting}\n{LSPCI}") == []
    assert controllers(setting.replace("0014", "0015") + "\n" + LSPCI) == []
