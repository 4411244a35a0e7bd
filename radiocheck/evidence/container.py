"""What a container shows of a tty that its kernel has."""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType

from .serial import Node


class ContainerNode(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One USB tty of the kernel, as the container that radiocheck runs in sees it."""

    tty: str  # "ttyACM0"
    major: int  # the number that the kernel has given it (sysfs)
    minor: int
    node: Node | UnsetType | None = UNSET  # that carries its number, or its name and a dead number; null: there is none
    mount: str | UnsetType = UNSET  # what holds the node, or /dev: devtmpfs, tmpfs …; bind: mounted by itself
    nodev: bool | UnsetType = UNSET  # that mount lets no device node be opened
    removed: bool | UnsetType = UNSET  # mounted by itself, and removed on the machine since then
    refused: str | UnsetType | None = UNSET  # access(2) of this process: EPERM device list, EACCES mode; null: allowed
    # A version 1 device list holds the kernel's number; it shows no exceptions.  null: there is no list to read.
    listed: bool | UnsetType | None = UNSET
    asked_uid: int | UnsetType = UNSET  # effective uid of this process, as the container numbers it
    asked_groups: list[int] | UnsetType = UNSET  # its groups, the effective one included
