"""The questions that a QEMU is asked about its USB devices, and what its answers mean.

The commands are those of QEMU's qapi/misc.json, qapi/qom.json and qapi/run-state.json
(from memory; all of it seen with QEMU 7.2).  Unlike a command line, the object tree has
what was plugged in later too, and no longer what was taken out.  How a question reaches
QEMU is not known here.
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Iterable, Mapping
from typing import Any

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.vm import MonitorUsb, UsbHostArg

Asker = Callable[[str, Mapping[str, str]], Awaitable[Any]]  # command and its arguments

TEXT_LIMIT = 512  # characters of one value
_FOLDERS = ("/machine/peripheral", "/machine/peripheral-anon")  # devices with an id, and those without
_NO_UUID = "00000000-0000-0000-0000-000000000000"
_NO_NAME = re.compile(r"host:\d+\.\d+")  # hw/usb/host-libusb.c, usb_host_open: the device gives no product name


class Refusal(Exception):
    """QEMU's error in place of an answer: its text, and its class."""

    def __init__(self, kind: str, text: str) -> None:
        super().__init__(_text(text) or "it does not say why")
        self.kind = kind


async def questions(asker: Asker, facts: dict[str, Any]) -> None:
    """Fill in fields of `Monitor` as they are answered, so that what was heard before an end is kept.

    Raises what `asker` raises, `Refusal` among it.
    """
    facts["name"] = _text(_member(await asker("query-name", {}), "name"))
    uuid = _text(_member(await asker("query-uuid", {}), "UUID"))
    facts["uuid"] = uuid.lower() if uuid and uuid != _NO_UUID else None
    if status := _text(_member(await asker("query-status", {}), "status")):
        facts["status"] = status
    version = _member(await asker("query-version", {}), "qemu")
    numbers = [_member(version, part) for part in ("major", "minor", "micro")]
    if all(isinstance(number, int) and 0 <= number < 10_000 for number in numbers):
        facts["version"] = ".".join(map(str, numbers))
    paths = [
        f"{folder}/{child}" for folder in _FOLDERS for child in _children(await asker("qom-list", {"path": folder}))
    ]
    products = await _products(asker) if paths else {}
    devices = [await _device(asker, path, products) for path in paths]
    facts["usb"] = [device for device in devices if device is not None]


def _member(answer: Any, name: str) -> Any:
    return answer.get(name) if isinstance(answer, dict) else None


def _text(value: Any) -> str | None:
    """A text that can be saved; none for an empty one, which QEMU shows for what was not given."""
    if not isinstance(value, str):
        return None
    return value[:TEXT_LIMIT].encode("utf-8", "replace").decode("utf-8").replace("\0", "") or None


def _number(value: Any) -> int | None:
    """A number that was given; 0 is QEMU's wildcard.  All of them have 16 bits or fewer."""
    return value if isinstance(value, int) and not isinstance(value, bool) and 0 < value <= 0xFFFF else None


def _children(answer: Any) -> Iterable[str]:
    """Names of the `usb-host` devices of one folder of the object tree."""
    for entry in answer if isinstance(answer, list) else []:
        name = _member(entry, "name")
        if _member(entry, "type") == "child<usb-host>" and isinstance(name, str):
            yield name


async def _device(asker: Asker, path: str, products: Mapping[str, str]) -> MonitorUsb | None:
    """One device; none when it was taken out meanwhile."""
    names = ("vendorid", "productid", "hostbus", "hostaddr", "hostport", "hostdevice", "attached", "hotplugged")
    told: dict[str, Any] = {}
    for name in names:
        try:
            told[name] = await asker("qom-get", {"path": path, "property": name})
        except Refusal as error:
            if error.kind == "DeviceNotFound":
                return None
            told[name] = None  # this QEMU was built without that property
    folder, _, name = path.rpartition("/")
    own = _text(name) if folder == _FOLDERS[0] else None
    vid, pid = _number(told["vendorid"]), _number(told["productid"])
    attached, late = told["attached"], told["hotplugged"]
    return MonitorUsb(
        argument=UsbHostArg(
            id=own,
            vid=None if vid is None else f"{vid:04x}",
            pid=None if pid is None else f"{pid:04x}",
            bus=_number(told["hostbus"]),
            address=_number(told["hostaddr"]),
            port=_text(told["hostport"]),
            node=_text(told["hostdevice"]),
        ),
        attached=attached if isinstance(attached, bool) else UNSET,
        hot_plugged=late if isinstance(late, bool) else UNSET,
        product=_product(products.get(own or ""), attached),
    )


async def _products(asker: Asker) -> dict[str, str]:
    """Product names by device id, as QEMU shows them to people (hw/usb/bus.c, qmp_x_query_usb).

    The command is an unstable one, and a name may hold anything, a line break included:
    an id that two lines end with is left out, and without an answer there are no names.
    """
    try:
        shown = str(_member(await asker("x-query-usb", {}), "human-readable-text"))
    except Refusal:  # an older QEMU, or one without USB
        return {}
    lines = re.findall(r"^  Device \S+, Port \S*, Speed \S+ Mb/s, Product (.*), ID: (\S+)$", shown, re.MULTILINE)
    ids = re.findall(r", ID: (\S+)$", shown, re.MULTILINE)
    return {own: product for product, own in lines if ids.count(own) == 1}


def _product(shown: str | None, attached: Any) -> str | UnsetType | None:
    """The adapter's own name; none while there is no adapter behind the device, or it has none."""
    if attached is False:
        return None
    if shown is None or attached is not True:
        return UNSET
    return None if _NO_NAME.fullmatch(shown) else _text(shown)
