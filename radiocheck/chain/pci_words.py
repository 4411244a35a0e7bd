"""PCI class codes in words (pci.ids, "C" lines; Linux, include/linux/pci_ids.h)."""

from __future__ import annotations

from msgspec import UnsetType

from radiocheck.evidence.absent import known

# The longest prefix that fits names the function.
_WORDS = {
    "0101": "IDE disks",
    "0104": "RAID disks",
    "0106": "SATA disks",
    "0107": "SAS disks",
    "0108": "NVMe disk",
    "01": "disks",
    "0280": "wireless network",
    "02": "network",
    "03": "graphics",
    "0403": "sound",
    "04": "multimedia",
    "05": "memory",
    "0601": "ISA bridge",
    "06": "bridge",
    "0780": "management engine",
    "07": "communication",
    "08": "system function",
    "0c03": "USB controller",
    "0c05": "SMBus",
    "0d": "wireless",
    "10": "encryption",
    "12": "accelerator",
}


def function_word(class_: str | UnsetType) -> str:
    """What a function is, by its six-digit class; "unknown kind" when that was not read."""
    if not known(class_):
        return "unknown kind"
    return next((_WORDS[class_[:end]] for end in (4, 2) if class_[:end] in _WORDS), f"class {class_[:4]}")


def is_bridge(class_: str) -> bool:
    """PCI-to-PCI bridges, which VFIO does not count (Linux, Documentation/driver-api/vfio.rst)."""
    return class_.startswith("0604")


def is_vital(class_: str) -> bool:
    """Disks and network ports: without them the host itself stands still or is out of reach."""
    return class_[:2] in ("01", "02")
