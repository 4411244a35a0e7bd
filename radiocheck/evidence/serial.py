"""Serial nodes, their names, their rights and who holds them open."""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType


class AclEntry(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One entry of a POSIX access ACL (acl(5)); `perms` is the rwx bit mask 0–7."""

    tag: str  # owner, user, group-owner, group, mask, other
    id: int | None = None
    name: str | None = None
    perms: int


class Node(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A character device node as stat(2) shows it."""

    path: str
    major: int | UnsetType = UNSET
    minor: int | UnsetType = UNSET
    mode: int | UnsetType = UNSET  # permission bits, e.g. 0o660
    uid: int | UnsetType = UNSET
    gid: int | UnsetType = UNSET
    owner: str | UnsetType | None = UNSET  # null: no such account here
    group: str | UnsetType | None = UNSET
    acl: list[AclEntry] | UnsetType | None = UNSET  # null: no ACL beyond the mode


class Tty(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A serial tty of the kernel (`/sys/class/tty/NAME`)."""

    name: str  # ttyUSB0
    interface: str | UnsetType | None = UNSET  # USB interface it belongs to, "1-2:1.0"
    port_number: int | UnsetType | None = UNSET  # of usb-serial devices
    node: Node | UnsetType | None = UNSET  # null: no node under /dev
    udev: dict[str, str] | UnsetType = UNSET  # ID_*, BRLTTY_*, DEVLINKS … of the udev database
    console: bool | UnsetType = UNSET  # an active kernel console


class Link(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A name under /dev/serial."""

    path: str  # /dev/serial/by-id/…
    target: str | UnsetType | None = UNSET  # tty name behind it; null: dangling
    claimants: list[str] | UnsetType = UNSET  # ttys that want this name (udev's link stack); complete


class User(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """An account whose rights count."""

    name: str
    uid: int | UnsetType = UNSET
    exists: bool | UnsetType = UNSET
    groups: list[int] | UnsetType = UNSET  # by the account database, primary included
    session_groups: list[int] | UnsetType = UNSET  # of its oldest login process still running
    asked: bool = False  # named with --user, or the person who runs the check


class Handle(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A process that holds a tty, a USB node or a VFIO node open."""

    pid: int
    command: str  # comm
    uid: int | UnsetType = UNSET
    user: str | UnsetType | None = UNSET
    path: str  # as the process sees it, without the mark for deleted nodes
    major: int | UnsetType = UNSET
    minor: int | UnsetType = UNSET
    deleted: bool = False
    hypervisor: bool | UnsetType = UNSET
    container: bool | UnsetType = UNSET  # process namespace of its own, or a container engine's control group
    unit: str | UnsetType | None = UNSET  # systemd unit by cgroup; user@UID.service/UNIT for a user's


class Handles(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """All holders that could be seen, and how many processes could not be looked into."""

    open: list[Handle]
    unread: int = 0


class Service(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A service that is known to take or to block ports."""

    # modem-prober, braille, gps, usb-guard, power-saver, serial-console, firmware-updater; ups-driver; sandboxed: a
    # program that is kept from device nodes
    kind: str
    unit: str  # without systemd: the program's name
    active: bool | UnsetType = UNSET
    enabled: bool | UnsetType = UNSET
    policy: str | UnsetType | None = UNSET  # modem prober: strict, legacy, paranoid …; sandboxed: the setting
    tty: str | UnsetType | None = UNSET  # units with an instance (serial console, GPS): its tty


class UdevRule(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A line of a udev rules file, or what udev says of one that it does not take (of a paste)."""

    text: str
    path: str = ""  # its file, where that was told
    names: list[str] = []  # names under /dev that it makes, or means to make
    # What the device must have; null: it does not ask for that
    vid: str | None = None
    pid: str | None = None
    serial: str | None = None
    kernel: str | None = None  # pattern of the tty's name
    # Why it never does anything: operator, no-effect, own, parents, case, refused; null: nothing in it says so
    fault: str | None = None
    words: str = ""  # the part of it, or udev's words, that show that
    made: bool | UnsetType = UNSET  # its names are there


# Kinds of words that came out of an open port.  application: it runs where a tool needs the boot loader;
# boot-loader-again: it came back when it was told to start the application; deaf-boot-loader: it runs and hears
# nothing; parity-…: what bytes that were read carry; answered: what was said before it is over.
FROM_PORT = frozenset(
    """
    boot-loader boot-loader-again application no-application deaf-boot-loader parity-even parity-odd answered
    """.split()
)


IN_GUEST = "in-guest"  # the kernel of a VM could not set up what its host has


class AppMessage(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What a program said when it could not use a port or a device, or what came out of the port."""

    # denied, not-permitted, busy, missing, io-error, no-answer; positions: given to a modem program, it sends NMEA;
    # IN_GUEST, or one of FROM_PORT
    kind: str
    path: str | None = None  # the node or link that it named; null: none
    program: str | None = None
    text: str
    over: bool = False  # a later line of the paste shows that it is so no more
