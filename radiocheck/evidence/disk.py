"""Block devices of the host that are in use: what is lost when their controller is given away."""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType


class Disk(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A disk or partition that carries a mounted file system or swap space, alone or with others."""

    name: str  # "sda2"
    usb: str | UnsetType | None = UNSET  # sysfs name of the USB device that it is; null: none
    pci: str | UnsetType | None = UNSET  # address of the PCI function above it; null: none
    # Where, each once: "/", "/boot", "swap"; of a longer path only the first folder is kept
    mounts: list[str] = []
