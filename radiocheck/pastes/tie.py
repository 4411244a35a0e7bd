"""Which tty belongs to which device, where no program's output says so plainly."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from msgspec.structs import replace

from radiocheck.chain.meant import is_built_in
from radiocheck.evidence.serial import Link, Tty

from .devices import Record

_BY_PATH = re.compile(r"-usb(?:v\d)?-\d+:(?P<path>[\d.]+):(?P<config>\d+)\.(?P<number>\d+)")
_NUMBER = re.compile(r"-if(?P<number>[0-9a-f]{2})")
_USB_TTY = re.compile(r"tty(?:USB|ACM)\d{1,4}")
_BRIDGES = frozenset({"0403", "067b", "10c4", "1a86"})  # usb.ids: makers of serial bridges
_ACM = "cdc_acm"
_OF_ONE = ("name", "bus", "devnum", "path", "parent", "port", "serial")  # what tells two alike apart


def tie(records: list[Record], ttys: Sequence[Tty], links: Sequence[Link]) -> list[Tty]:
    """Give each tty of a USB adapter its interface, and each such interface its tty.

    By what udev or the log said; by the port in a by-path name; by the serial number or the
    product in a by-id name; because there is only one tty and one device for it.  A tty
    that nothing else is known of has a device all the same: one that was not seen.
    """
    usb = [tty for tty in ttys if _USB_TTY.fullmatch(tty.name)]
    targets: dict[str, list[str]] = {}
    for link in links:
        if isinstance(link.target, str):
            targets.setdefault(link.target, []).append(link.path)
    owners = {name: found for tty in usb for name, found in [(tty.name, _told(tty, records))] if found is not None}
    for tty in usb:
        if tty.name not in owners and (found := _by_link(targets.get(tty.name, []), records)):
            owners[tty.name] = found
    loose = [tty for tty in usb if tty.name not in owners]
    if len(usb) == len(loose) == 1 and len(alone := list(_alone(records, usb[0].name))) == 1:
        owners[usb[0].name] = (alone[0], _free_number(alone[0]))
        loose = []
    alike = _as_many_alike(loose, records, owners.values())
    for tty, record in zip(loose, alike, strict=False):
        owners[tty.name] = (record, 0)
    for tty in loose[len(alike) :]:
        records.append(Record({}))
        owners[tty.name] = (records[-1], 0)
    made = []
    for tty in ttys:
        if tty.name in owners:
            record, number = owners[tty.name]
            _give(record, number, tty.name)
            device = record.fields.get("name")
            if device is not None and not isinstance(tty.interface, str):
                tty = replace(tty, interface=record.interfaces[number].get("name", f"{device}:1.{number}"))
        made.append(tty)
    return made


def _as_many_alike(loose: Sequence[Tty], records: Sequence[Record], owners: Iterable[Owner]) -> list[Record]:
    """As many bridges with the same IDs as ttys that nobody has: which has which is not known, and so no place is."""
    taken = {id(record) for record, _ in owners}
    free = [one for one in records if id(one) not in taken and not one.interfaces and one.fields.get("vid") in _BRIDGES]
    ids = {(one.fields["vid"], one.fields.get("pid")) for one in free}
    if len(loose) < 2 or len(free) != len(loose) or len(ids) != 1 or any("ttyACM" in tty.name for tty in loose):
        return []
    for one in free:
        for key in _OF_ONE:
            one.fields.pop(key, None)
    return free


Owner = tuple[Record, int]  # and the number of the interface


def _told(tty: Tty, records: Sequence[Record]) -> Owner | None:
    """By the log, or by the interface that udev names."""
    for record in records:
        for number, interface in record.interfaces.items():
            if tty.name in interface.get("ttys", []):
                return record, number
    if isinstance(tty.interface, str):
        device, _, tail = tty.interface.partition(":")
        last = tail.rpartition(".")[2]
        named = next((one for one in records if one.fields.get("name") == device), None)
        if named is not None and last.isdigit():
            return named, int(last)
    return None


def _by_link(paths: Sequence[str], records: Sequence[Record]) -> Owner | None:
    for path in paths:
        if "/by-path/" in path and (match := _BY_PATH.search(path)):
            there = [one for one in records if one.fields.get("path") == match["path"]]
            if len(there) == 1:
                return there[0], int(match["number"])
    for path in paths:
        if "/by-id/" not in path:
            continue
        name = path.rpartition("/")[2]
        number = _NUMBER.search(name)
        for key in ("serial", "product"):
            alike = list(_named(records, key, name))
            if len(alike) == 1:
                return alike[0], int(number["number"], 16) if number else 0
    return None


def _named(records: Sequence[Record], key: str, name: str) -> Iterator[Record]:
    """Devices whose string is in a by-id name, as udev writes it there (src/udev/udev-builtin-usb_id.c)."""
    for record in records:
        text = record.fields.get(key)
        if isinstance(text, str) and len(text.strip()) > 2:
            word = re.sub(r"[^0-9A-Za-z#+.:=@_-]", "_", re.sub(r"\s+", "_", text.strip()))
            if f"_{word}-" in name or f"_{word}_" in name:
                yield record


def _alone(records: Sequence[Record], tty: str) -> Iterator[Record]:
    """The devices that could have made a tty of that kind."""
    plain = [one for one in records if one.fields.get("device_class") != 9 and one.fields.get("vid") != "1d6b"]
    plain = [one for one in plain if not is_built_in(one.fields.get("called"))]
    likely: list[Callable[[Record], bool]] = [
        lambda one: _drives(one, tty),
        lambda one: not one.told and one.fields.get("vid") in _BRIDGES and not tty.startswith("ttyACM"),
        lambda one: not one.told,
    ]
    for test in likely:
        found = [one for one in plain if test(one)]
        if found:
            yield from found
            return


def _drives(record: Record, tty: str) -> bool:
    drivers = {one.get("driver") for one in record.interfaces.values() if "ttys" not in one}
    if tty.startswith("ttyACM"):
        return _ACM in drivers
    return any(isinstance(one, str) and (_looks_serial(one)) for one in drivers)


def _looks_serial(driver: str) -> bool:
    """usb-serial drivers that people have most (drivers/usb/serial of Linux 6.1)."""
    words = (
        "ftdi",
        "cp210",
        "ch34",
        "pl2303",
        "usbserial",
        "option",
        "qcserial",
        "sierra",
        "ti_usb",
        "mct",
        "mos",
        "ark",
    )
    return driver.startswith(words)


def _free_number(record: Record) -> int:
    """The interface that gets the tty: one with a serial driver, else the first."""
    for number, one in sorted(record.interfaces.items()):
        driver = one.get("driver")
        if isinstance(driver, str) and (driver == _ACM or _looks_serial(driver)) and "ttys" not in one:
            return number
    return min(record.interfaces, default=0)


def _give(record: Record, number: int, tty: str) -> None:
    interface: dict[str, Any] = record.interfaces.setdefault(number, {"number": number})
    ttys = interface.setdefault("ttys", [])
    if tty not in ttys:
        ttys.append(tty)
    if tty.startswith("ttyACM") and "driver" not in interface:
        interface["driver"] = _ACM
