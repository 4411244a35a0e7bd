"""Serial ttys of USB devices, their udev properties and their names under /dev/serial."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import stat
from collections.abc import Iterable

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import Link, Tty

from .acl import read_node
from .machine import Machine, Seen, decoded, refused

CLASS = "/sys/class/tty"
NAMES = ("/dev/serial/by-id", "/dev/serial/by-path")
STACK = "/run/udev/links"  # one folder per wanted name, one entry per device that wants it
DATABASE = "/run/udev/data"
HASHED = 254  # bytes; udev shortens longer folder names and ends them in a hash (seen with systemd 252)

# Folder of an interface: bus-port.port:configuration.interface (Linux drivers/usb/core/message.c)
_INTERFACE = re.compile(r"\d+-\d+(?:\.\d+)*:\d+\.\d+")
_USB_NAME = re.compile(r"tty(?:USB|ACM)\d+")
_KEPT = ("ID_", "BRLTTY_")
_KEPT_WHOLE = frozenset({"DEVLINKS", "DEVNAME", "TAGS", "SYSTEMD_WANTS"})


def collect(machine: Machine) -> Seen:
    """`ttys`: those of USB devices only.  `links`: all names under /dev/serial, wanted ones too."""
    gaps: list[Gap] = []
    ttys = _ttys(machine, gaps)
    facts: dict[str, object] = {}
    if ttys is not UNSET:
        facts["ttys"] = ttys
    links = _links(machine, ttys, gaps)
    if links is not UNSET:
        facts["links"] = links
    return Seen(facts, tuple(gaps))


def _ttys(machine: Machine, gaps: list[Gap]) -> list[Tty] | UnsetType:
    if not machine.exists(CLASS):
        gaps.append(Gap(what="ttys", why="not-here", detail=f"{CLASS} is not there"))
        return UNSET
    try:
        paths = {name: os.readlink(machine.path(f"{CLASS}/{name}")) for name in _linked(machine, CLASS)}
    except OSError as error:
        gaps.append(refused("ttys", error))
        return UNSET
    ours = {
        name: next((part for part in reversed(path.split("/")) if _INTERFACE.fullmatch(part)), None)
        for name, path in paths.items()
    }
    ours = {name: interface for name, interface in ours.items() if interface or _USB_NAME.fullmatch(name)}
    if not ours:
        return []
    udev = _udev_properties(machine, ours, gaps)
    consoles = _consoles(machine, gaps)
    return [
        tty
        for name in sorted(ours, key=_natural)
        if (tty := _tty(machine, name, ours[name], udev.get(name, UNSET), consoles, gaps)) is not None
    ]


def _tty(
    machine: Machine,
    name: str,
    interface: str | None,
    udev: dict[str, str] | UnsetType,
    consoles: list[str] | UnsetType,
    gaps: list[Gap],
) -> Tty | None:
    """One tty; None when it went away while it was being read."""
    own: list[Gap] = []
    port: int | UnsetType | None = UNSET
    what = f"ttys[{decoded(name)}]"
    try:
        content = machine.attribute(f"{CLASS}/{name}/device/port_number")  # of usb-serial devices only
        port = int(content) if content is not None else None
    except OSError as error:
        own.append(refused(f"{what}.port_number", error))
    except ValueError:
        own.append(Gap(what=f"{what}.port_number", why="malformed", detail="not a number"))
    node, more = read_node(machine, f"/dev/{name}", f"{what}.node")
    if not machine.exists(f"{CLASS}/{name}"):
        return None
    gaps += [*own, *more]
    return Tty(
        name=decoded(name),
        interface=interface,
        port_number=port,
        node=node,
        udev=udev,
        console=name in consoles if consoles is not UNSET else UNSET,
    )


def _linked(machine: Machine, folder: str) -> list[str]:
    return [name for name in machine.names(folder) if os.path.islink(machine.path(f"{folder}/{name}"))]


def _consoles(machine: Machine, gaps: list[Gap]) -> list[str] | UnsetType:
    """Names of the active kernel consoles (Linux Documentation/ABI/testing/sysfs-tty)."""
    try:
        content = machine.attribute(f"{CLASS}/console/active")
    except OSError as error:
        gaps.append(refused("ttys.console", error))
        return UNSET
    if content is None:
        gaps.append(Gap(what="ttys.console", why="not-here", detail=f"{CLASS}/console/active is not there"))
        return UNSET
    return content.split()


def _udev_properties(machine: Machine, names: Iterable[str], gaps: list[Gap]) -> dict[str, dict[str, str]]:
    """The kept properties by tty name.  A tty that is missing here could not be looked up."""
    found: dict[str, dict[str, str]] = {}
    reader = _from_libudev if machine.root == "/" else _from_database
    try:
        found = reader(machine, names)
    except ImportError as error:  # pyudev, or the libudev that it loads
        gaps.append(Gap(what="ttys.udev", why="no-tool", detail=str(error), provide="install libudev"))
    except OSError as error:
        gaps.append(refused("ttys.udev", error))
    else:
        if len(found) < len(list(names)) and not machine.exists(DATABASE):
            gaps.append(
                Gap(
                    what="ttys.udev",
                    why="not-here",
                    detail=f"udev keeps no database here ({DATABASE} is not there)",
                    provide="run on the host, outside of any container",
                )
            )
    return found


def _from_libudev(machine: Machine, names: Iterable[str]) -> dict[str, dict[str, str]]:
    import pyudev  # 20 ms; only machines with a USB tty pay for it

    context = pyudev.Context()
    database = machine.exists(DATABASE)
    found = {}
    for name in names:
        try:
            device = pyudev.Devices.from_name(context, "tty", name)
            kept = _kept(dict(device.properties).items())
        except (pyudev.DeviceNotFoundError, OSError):
            continue  # left meanwhile
        # Without a database libudev shows what the kernel says, which is not udev's word.
        if database or device.is_initialized or kept.keys() - {"DEVNAME"}:
            found[name] = kept
    return found


def _from_database(machine: Machine, names: Iterable[str]) -> dict[str, dict[str, str]]:
    """The same from udev's files, for a root other than this system's.

    Line kinds by systemd src/libsystemd/sd-device/device-private.c (from memory; seen
    with systemd 252 and 257): `E:` property, `S:` link below /dev, `G:` tag.
    """
    found: dict[str, dict[str, str]] = {}
    if not machine.exists(DATABASE):
        return found
    for name in names:
        number = machine.attribute(f"{CLASS}/{name}/dev")
        lines = (machine.attribute(f"{DATABASE}/c{number}") or "").split("\n") if number else []
        rows = [(line[0], line[2:]) for line in lines if line[1:2] == ":"]
        properties = dict(text.split("=", 1) for kind, text in rows if kind == "E" and "=" in text)
        if links := [f"/dev/{text}" for kind, text in rows if kind == "S"]:
            properties["DEVLINKS"] = " ".join(links)
        if tags := [text for kind, text in rows if kind == "G"]:
            properties["TAGS"] = f":{':'.join(tags)}:"
        found[name] = _kept(properties.items())
    return found


def _kept(properties: Iterable[tuple[str, str]]) -> dict[str, str]:
    return {
        decoded(key): decoded(value) for key, value in sorted(properties) if key.startswith(_KEPT) or key in _KEPT_WHOLE
    }


def _links(machine: Machine, ttys: list[Tty] | UnsetType, gaps: list[Gap]) -> list[Link] | UnsetType:
    """Every name on disk and every name that a device here wants, whether or not it is on disk."""
    try:
        paths = {f"{folder}/{name}" for folder in NAMES for name in machine.names(folder)}
    except OSError as error:
        gaps.append(refused("links", error))
        return UNSET
    wanted: dict[str, set[str]] = {}
    complete = ttys is not UNSET
    for tty in ttys if ttys is not UNSET else []:
        if tty.udev is UNSET:
            complete = False
            continue
        for path in tty.udev.get("DEVLINKS", "").split():
            if path.startswith("/dev/serial/"):
                wanted.setdefault(path, set()).add(tty.name)
    try:
        stacked = _stacked(machine)
    except OSError as error:
        gaps.append(refused("links.claimants", error))
        stacked = {}
    for path, names in stacked.items():
        if names or path in paths:
            wanted.setdefault(path, set()).update(names)
    unclaimed: set[str] | UnsetType = set() if complete else UNSET
    links = []
    for path in sorted(paths | wanted.keys()):
        claimants = wanted.get(path, unclaimed)
        if not complete and path not in stacked:
            claimants = UNSET
        links.append(
            Link(
                path=decoded(path),
                target=_tty_behind(machine, path),
                claimants=sorted(map(decoded, claimants), key=_natural) if claimants is not UNSET else UNSET,
            )
        )
    return links


def _stacked(machine: Machine) -> dict[str, set[str]]:
    """udev's link stack: names of the devices that want each link under /dev/serial.

    Folders are the link's path below /dev with `\\x2f` for a slash and `\\x5c` for a
    backslash; entries are device ids such as `c188:0`, links to `PRIORITY:DEVNODE`
    (systemd src/udev/udev-node.c, from memory; seen with systemd 252 and 257).  What a
    crash of udev left behind for a device that is gone counts for nothing.
    """
    found: dict[str, set[str]] = {}
    for folder in machine.names(STACK):
        path = "/dev/" + folder.replace("\\x2f", "/").replace("\\x5c", "\\")
        if not path.startswith("/dev/serial/") or len(os.fsencode(folder)) >= HASHED:
            continue
        names = found.setdefault(path, set())
        for identity in machine.names(f"{STACK}/{folder}"):
            if identity.startswith("c") and (name := machine.target(f"/sys/dev/char/{identity[1:]}")):
                names.add(name)
    return found


def _tty_behind(machine: Machine, path: str) -> str | None:
    """The tty that a name leads to, through further links; None when it leads nowhere."""
    for _ in range(8):
        try:
            text = os.readlink(machine.path(path))
        except OSError as error:
            return _tty_at(machine, path) if error.errno == errno.EINVAL else None  # EINVAL: the end, no link
        name = os.path.basename(text)
        if machine.exists(f"{CLASS}/{name}") and machine.exists(f"/dev/{name}"):
            return decoded(name)
        path = os.path.normpath(os.path.join(os.path.dirname(path), text))
    return None


def _tty_at(machine: Machine, path: str) -> str:
    """The tty of a node, by its number: containers may get a node that bears the name itself."""
    with contextlib.suppress(OSError):
        found = os.stat(machine.path(path))
        number = f"{os.major(found.st_rdev)}:{os.minor(found.st_rdev)}"
        if stat.S_ISCHR(found.st_mode) and (name := machine.target(f"/sys/dev/char/{number}")):
            return decoded(name)
    return decoded(os.path.basename(path))


def _natural(name: str) -> list[tuple[int, str]]:
    """A sort key by which ttyUSB2 comes before ttyUSB10."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"(\d+)", name)]
