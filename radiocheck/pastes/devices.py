"""Devices of a paste: what several programs say of the same one, put together.

The same device is known by its sysfs name, by bus and number, or, where only one has
them, by its IDs.  Listings of different moments contradict each other; device numbers
only grow (until 127), so the greater number is the later one, and the later word counts.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from msgspec import Struct, field

from radiocheck.evidence.usb import UsbDevice, UsbInterface

from .bus_log import Bus

NAME = re.compile(r"usb(\d{1,3})|(\d{1,3})-(\d{1,3}(?:\.\d{1,3}){0,6})")
_FIELDS = frozenset(UsbDevice.__struct_fields__) - {"interfaces"}
_INTERFACE_FIELDS = frozenset(UsbInterface.__struct_fields__)
_STRINGS = frozenset({"manufacturer", "product", "serial"})
# Drivers whose interfaces have no tty (drivers/usb/{storage,core,class}, drivers/hid, net and media of Linux 6.1).
_WITHOUT_TTY = frozenset(
    """
    usbfs hub usbhid usb-storage uas usblp usbtmc snd-usb-audio uvcvideo btusb cdc_ether cdc_ncm cdc_mbim rndis_host
    qmi_wwan huawei_cdc_ncm r8152 asix ax88179_178a rt2800usb ath9k_htc rtl8xxxu mt76x2u cdc_wdm usbip-host vfio-usb
    """.split()
) | {None}
_WRAP = 100  # numbers go from 127 back to low ones: a difference that large is no step back


class Record(Struct):
    """One device while it is put together."""

    fields: dict[str, Any]
    interfaces: dict[int, dict[str, Any]] = field(default_factory=dict)  # by number
    told: bool = False  # all its interfaces are known
    logged: bool = False  # the log has it


class Found(Struct):
    """The devices, and what their list is worth."""

    records: list[Record]
    left: bool = False  # the log says that a listed device has left since
    added: bool = False  # the log has a device that no list has


def of_this_machine(values: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """What is not on another machine's bus, each with the most words that any list has for its IDs."""
    words: dict[tuple[Any, Any], str] = {}
    for one in values:
        ids = (one.get("vid"), one.get("pid"))
        if len(one.get("words") or "") > len(words.get(ids, "")):
            words[ids] = one["words"]
    here = [one for one in values if not one.get("elsewhere")]
    return [one | {"words": words[(one["vid"], one.get("pid"))]} if one.get("words") else one for one in here]


def together(values: Sequence[dict[str, Any]], bus: Bus) -> Found:
    """Put together what was listed and what the log leaves on the bus."""
    found = Found([])
    for value in values:
        _listed(found, value)
    _join_by_ids(found.records)
    _without_gone(found, bus)
    for name, device in bus.devices.items():
        # A log that was filtered may lack the line that says what it is; a list that has its number makes up for it.
        listed = device.arrived and not device.failing and _numbered(found.records, device.fields)
        if device.present or listed:
            _logged(found, name, device.fields, list(device.interfaces.values()), device.all_interfaces)
    _join_by_ids(found.records)
    _hubs(found.records)
    return found


def made(records: Sequence[Record]) -> tuple[list[UsbDevice], list[str]]:
    """The records as evidence, and the names of those whose interfaces are not all known."""
    devices, open_ = [], []
    taken = {record.fields["name"] for record in records if "name" in record.fields}
    for record in records:
        name = record.fields.get("name") or _invented(record, taken)
        taken.add(name)
        record.fields["name"] = name
        device = _made(record, name)
        devices.append(device)
        if record.interfaces and not record.told:
            open_.append(name)
    return devices, open_


def _listed(found: Found, value: dict[str, Any]) -> None:
    """A device that a program listed."""
    fields = {key: item for key, item in value.items() if key in _FIELDS}
    if value.get("words"):
        fields["called"] = value["words"]
    fields |= _of_name(fields.get("name"))
    record = _same(found.records, fields)
    if record is None:
        record = Record({})
        found.records.append(record)
    elif _is_other(record.fields, fields):
        if _is_older(fields, record.fields):
            return
        record.fields, record.interfaces, record.told = {}, {}, False
    _put(record, fields)
    _put_interfaces(record, value.get("interfaces"), value.get("all_interfaces"))


def _logged(found: Found, name: str, fields: dict[str, Any], interfaces: list[dict[str, Any]], all_told: bool) -> None:
    """A device that the log leaves on the bus.  A listing of the same enumeration knows more, of a later one better."""
    record = _same(found.records, fields)
    if record is None:
        nameless = [one for one in found.records if "name" not in one.fields and one.fields.get("bus") == fields["bus"]]
        alike = [one for one in nameless if _ids(one) is not None and _ids(one) == _ids_of(fields)]
        if len(alike) == 1 and not _is_older(alike[0].fields, fields):
            record = alike[0]  # enumerated again since, most likely in the same place
            for key in ("name", "path", "parent"):
                record.fields.setdefault(key, fields[key])
            record.logged = True
            if "devnum" in fields:
                return
        elif len(alike) == 1:
            found.records.remove(alike[0])
        if record is None:
            record = Record({})
            found.records.append(record)
            found.added = True
    elif _is_other(record.fields, fields):
        if _is_older(fields, record.fields):
            return
        record.fields, record.interfaces, record.told = {}, {}, False
    for key, item in fields.items():
        record.fields.setdefault(key, item)
    for interface in interfaces:
        _put_logged_interface(record, interface)
    record.told = record.told or all_told
    record.logged = True


def _numbered(records: Sequence[Record], fields: dict[str, Any]) -> bool:
    """Whether a listed device has that bus and number."""
    place = (fields["bus"], fields.get("devnum"))
    return any((one.fields.get("bus"), one.fields.get("devnum")) == place for one in records if "devnum" in one.fields)


def _same(records: Sequence[Record], fields: dict[str, Any]) -> Record | None:
    """The record of that name, else of that bus and number."""
    name, place = fields.get("name"), (fields.get("bus"), fields.get("devnum"))
    for record in records:
        if name is not None and record.fields.get("name") == name:
            return record
    for record in records:
        if None not in place and (record.fields.get("bus"), record.fields.get("devnum")) == place:
            unnamed = name is None or "name" not in record.fields
            return record if unnamed else None
    return None


def _is_other(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two descriptions of a place are of different enumerations."""
    return any(key in one and key in other and one[key] != other[key] for key in ("devnum", "vid", "pid"))


def _is_older(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether the first is of an earlier enumeration than the second, by their numbers."""
    if "devnum" not in one or "devnum" not in other:
        return False
    return bool(0 < other["devnum"] - one["devnum"] < _WRAP)


def _put(record: Record, fields: dict[str, Any]) -> None:
    """Add what was said; a string that was read is not undone by one that was not."""
    for key, item in fields.items():
        if item is None and key in _STRINGS and isinstance(record.fields.get(key), str):
            continue
        record.fields[key] = item


def _put_interfaces(record: Record, listed: Any, all_told: bool | None) -> None:
    if not isinstance(listed, list):
        return
    whole = bool(all_told)  # udevadm and others tell of one interface only
    if whole and listed and record.told:
        record.interfaces = {number: one for number, one in record.interfaces.items() if number in _numbers(listed)}
    for value in listed:
        number = value.get("number")
        if isinstance(number, int):
            record.interfaces.setdefault(number, {}).update(
                {key: item for key, item in value.items() if key in _INTERFACE_FIELDS}
            )
    record.told = record.told or whole


def _numbers(listed: list[dict[str, Any]]) -> set[Any]:
    return {value.get("number") for value in listed}


def _put_logged_interface(record: Record, value: dict[str, Any]) -> None:
    """What the log has of an interface; who drives it now is told better by a listing."""
    number = value.get("number")
    if not isinstance(number, int):
        return
    mine = record.interfaces.setdefault(number, {})
    driver = mine.get("driver", value.get("driver"))
    if "driver" in mine and mine["driver"] != value.get("driver"):
        value = {key: item for key, item in value.items() if key != "ttys"}  # of the driver that it had then
    for key, item in value.items():
        mine.setdefault(key, item)
    if "driver" in value or "driver" in mine:
        mine["driver"] = driver


def _join_by_ids(records: list[Record]) -> None:
    """A record that lacks a number and one that lacks a name are the same device when no other has their IDs."""
    for record in list(records):
        ids = _ids(record)
        if ids is None or ("name" in record.fields and "devnum" in record.fields):
            continue
        others = [one for one in records if one is not record and _ids(one) == ids and _fit(one.fields, record.fields)]
        alike = [one for one in records if one is not record and _ids(one) == ids]
        if len(others) == 1 == len(alike):
            other = others[0]
            for key, item in record.fields.items():
                other.fields.setdefault(key, item)
            for number, interface in record.interfaces.items():
                other.interfaces.setdefault(number, {}).update(interface)
            other.told = other.told or record.told
            records.remove(record)


def _fit(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether nothing says that two descriptions are of different devices."""
    return not any(
        one.get(key) is not None and other.get(key) is not None and one[key] != other[key]
        for key in ("name", "bus", "devnum", "path", "serial")
    )


def _ids(record: Record) -> tuple[Any, Any] | None:
    return _ids_of(record.fields)


def _ids_of(fields: dict[str, Any]) -> tuple[Any, Any] | None:
    return (fields["vid"], fields["pid"]) if "vid" in fields and "pid" in fields else None


def _without_gone(found: Found, bus: Bus) -> None:
    """Leave out what was listed before it left, by the log."""
    for record in list(found.records):
        place = (record.fields.get("bus"), record.fields.get("devnum"))
        if place not in bus.gone:
            continue
        ids = bus.gone[place]
        if None in ids or _ids(record) in (None, ids):
            found.records.remove(record)
            found.left = True


def _hubs(records: Sequence[Record]) -> None:
    """What others hang on is a hub, whatever else was said of it."""
    parents = {record.fields.get("parent") for record in records}
    for record in records:
        if record.fields.get("name") in parents - {None}:
            record.fields.setdefault("device_class", 9)


def _of_name(name: Any) -> dict[str, Any]:
    """Bus, path and hub, as a sysfs name tells them."""
    match = NAME.fullmatch(name) if isinstance(name, str) else None
    if match is None:
        return {}
    if match[1]:
        return {"bus": int(match[1]), "path": "0", "parent": None, "device_class": 9}
    above = match[3].rpartition(".")[0]
    parent = f"{match[2]}-{above}" if above else f"usb{match[2]}"
    return {"bus": int(match[2]), "path": match[3], "parent": parent}


def _invented(record: Record, taken: set[str]) -> str:
    """A name for a device whose place was not seen; no sysfs name looks like it."""
    bus, number = record.fields.get("bus"), record.fields.get("devnum")
    ttys = [tty for one in record.interfaces.values() for tty in one.get("ttys", [])]
    if bus is not None and number is not None:
        name = f"bus {bus} device {number}"
    else:
        name = f"the port of {ttys[0]}" if ttys else "a port that was not seen"
    count = 2
    while name in taken:
        name = f"{name.partition(' (')[0]} ({count})"
        count += 1
    return name


def _made(record: Record, name: str) -> UsbDevice:
    interfaces = [_interface(name, number, value) for number, value in sorted(record.interfaces.items())]
    fields = {key: item for key, item in record.fields.items() if key in _FIELDS}
    if interfaces or record.told:
        fields["interfaces"] = interfaces
    return UsbDevice(**fields)


def _interface(device: str, number: int, value: dict[str, Any]) -> UsbInterface:
    fields = {key: item for key, item in value.items() if key in _INTERFACE_FIELDS}
    fields = {"name": f"{device}:1.{number}", "number": number, **fields}
    if not fields["name"].startswith(f"{device}:"):
        fields["name"] = f"{device}:1.{number}"
    # What no serial driver has makes no tty.
    if "ttys" not in fields and "driver" in fields and fields["driver"] in _WITHOUT_TTY:
        fields["ttys"] = []
    return UsbInterface(**fields)
