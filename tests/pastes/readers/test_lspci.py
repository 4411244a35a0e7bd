"""`lspci` (pciutils 3.9.0), as the bench's machine printed it."""

from __future__ import annotations

from typing import Any

import pytest

from radiocheck.evidence.usb import GroupMember

from .said import said, typed, values

BENCH = """00:03.0 SCSI storage controller [0100]: Red Hat, Inc. Virtio block device [1af4:1001]
\tSubsystem: Red Hat, Inc. Virtio block device [1af4:0002]
\tKernel driver in use: virtio-pci
\tKernel modules: virtio_pci
00:05.0 USB controller [0c03]: Red Hat, Inc. QEMU XHCI Host Controller [1b36:000d] (rev 01)
\tSubsystem: Red Hat, Inc. QEMU XHCI Host Controller [1af4:1100]
\tKernel driver in use: xhci_hcd
\tKernel modules: xhci_pci
00:06.0 USB controller [0c03]: Red Hat, Inc. QEMU XHCI Host Controller [1b36:000d] (rev 01)
\tSubsystem: Red Hat, Inc. QEMU XHCI Host Controller [1af4:1100]
\tKernel driver in use: vfio-pci
\tKernel modules: xhci_pci
00:07.0 USB controller [0c03]: NEC Corporation uPD720200 USB 3.0 Host Controller [1033:0194] (rev 03)
\tKernel modules: xhci_pci
"""


def controllers(text: str) -> list[dict[str, Any]]:
    """USB controllers."""
    return values("lspci", text, "controller")


def test_who_has_each_controller() -> None:
    """The host, a VM's driver, nobody: modules are named, and no driver."""
    assert [(one["address"], one["vid"], one["driver"], one["vfio"]) for one in controllers(BENCH)] == [
        ("0000:00:05.0", "1b36", "xhci_hcd", False),
        ("0000:00:06.0", "1b36", "vfio-pci", True),
        ("0000:00:07.0", "1033", None, False),
    ]


def test_without_k_nobody_knows_the_driver() -> None:
    """Only that it is there."""
    (found,) = controllers("00:14.0 USB controller: Intel Corporation Device a36d (rev 10)")
    assert found == {"address": "0000:00:14.0"}


@pytest.mark.parametrize(
    "text",
    [
        "IOMMU Group 5 00:14.0 USB controller [0c03]: Intel Corporation xHCI [8086:a36d] (rev 10)",
        "IOMMU group 5:\t00:14.0 USB controller [0c03]: Intel Corporation xHCI [8086:a36d]",
        "00:14.0 USB controller [0c03]: Intel Corporation xHCI [8086:a36d]\n\tIOMMU group: 5\n",
        "0000:00:14.0 0c03: 8086:a36d (rev 10) (prog-if 30 [XHCI])\n\tIOMMU group: 5\n",
    ],
)
def test_groups(text: str) -> None:
    """`lspci -v`, `-n`, and the loops that people run over /sys/kernel/iommu_groups."""
    (found,) = controllers(text)
    assert (found["address"], found["vid"], found["pid"], found["iommu_group"]) == ("0000:00:14.0", "8086", "a36d", 5)


def test_a_driver_behind_another_command_is_not_taken() -> None:
    """A prompt ends the list."""
    (found,) = controllers(
        typed("lspci", "00:14.0 USB controller: x\n") + typed("cat x", "\tKernel driver in use: vfio-pci\n")
    )
    assert "driver" not in found


@pytest.mark.parametrize(
    "text",
    ["", "USB controller", "00:1f.2 SATA controller [0106]: x\n\tKernel driver in use: ahci", "14.0 USB controller: x"],
)
def test_other_functions_do_not_matter(text: str) -> None:
    """No USB controller, or no address."""
    assert said("lspci", text) == []


GROUP = """IOMMU Group 5:
\t00:14.0 USB controller [0c03]: Intel Corporation xHCI Host Controller [8086:a36d] (rev 10)
\t00:14.2 RAM memory [0500]: Intel Corporation Shared SRAM [8086:a36f] (rev 10)
IOMMU Group 6:
\t00:17.0 SATA controller [0106]: Intel Corporation SATA [8086:a352] (rev 10)
"""


def test_a_heading_lists_the_whole_group() -> None:
    """Loops over /sys/kernel/iommu_groups print it above, or before each function."""
    (found,) = controllers(GROUP)
    assert (found["iommu_group"], found["group"]) == (5, [GroupMember(address="0000:00:14.2", class_="050000")])
    beside = GROUP.replace(":\n\t", " ").replace("\n\t", "\nIOMMU Group 5 ")
    assert controllers(beside) == [found]


def test_a_list_of_usb_controllers_alone_was_filtered() -> None:
    """Who else is in the group does not show."""
    (found,) = controllers("IOMMU Group 5 00:14.0 USB controller [0c03]: Intel Corporation xHCI [8086:a36d]\n")
    assert (found["iommu_group"], "group" in found) == (5, False)
