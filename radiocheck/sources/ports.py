"""USB ports, read from the port objects below each hub's interface in sysfs.

Kernel: drivers/usb/core/port.c (names and files), drivers/usb/core/usb-acpi.c (what
firmware tells), drivers/base/physical_location.c; Documentation/ABI/testing/sysfs-bus-usb
and sysfs-devices-physical_location.  The ABI text calls the object `port<X>`, the
code names it `<hub>-port<X>`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap
from radiocheck.evidence.usb import PhysicalPlace, UsbPort

from .machine import Machine, Seen, refused
from .sysfs import linked_name, read_value

DEVICES = "/sys/bus/usb/devices"

_PORT_NAME = re.compile(r"(usb\d+|\d+-\d+(?:\.\d+)*)-port(\d+)")
_PLACES_SINCE = (5, 19)  # physical_location: ABI text of March 2022; release from memory


def _number(text: str) -> int:
    number = int(text, 10)
    if not 0 <= number < 1 << 32:  # port.c prints an unsigned 32-bit count
        raise ValueError
    return number


def _location(text: str) -> int | None:
    return int(text[:18], 16) or None  # 0: firmware gave none (usb-acpi.c leaves it unset)


def _flag(text: str) -> bool:
    return {"0": False, "1": True, "no": False, "yes": True}[text]


def collect(machine: Machine) -> Seen:
    """`ports`: every port object of every hub that was there throughout."""
    if not machine.exists(DEVICES):
        if machine.exists("/sys/bus"):
            return Seen({"ports": []})  # no USB core in this kernel, so no port either
        return Seen(gaps=(Gap(what="ports", why="not-here", detail="/sys is not mounted", provide="mount sysfs"),))
    gaps: list[Gap] = []
    ports: list[UsbPort] = []
    try:
        for interface in machine.names(DEVICES):
            if ":" in interface:
                ports.extend(_ports(machine, interface, gaps))
    except OSError as error:
        return Seen(gaps=(refused("ports", error),))
    ports.sort(key=lambda port: (port.hub, port.number))
    if any(port.state is UNSET for port in ports) and not any(gap.what.endswith(".state") for gap in gaps):
        gaps.append(Gap(what="ports[].state", why="not-here", detail="Linux tells the state of a port from 6.5 on"))
    unasked = [port.name for port in ports if port.disabled is UNSET]
    if unasked and not any(gap.what.endswith(".disabled") for gap in gaps):
        gaps.append(_not_asked(unasked))
    return Seen({"ports": ports}, tuple(gaps))


def _ports(machine: Machine, interface: str, gaps: list[Gap]) -> list[UsbPort]:
    folder = f"{DEVICES}/{interface}"
    found: list[UsbPort] = []
    may_ask: bool | None = None
    for name in machine.names(folder):
        match = _PORT_NAME.fullmatch(name)
        if not match:
            continue
        if may_ask is None:
            may_ask = _answers_silently(machine, match[1])
        own: list[Gap] = []
        port = _port(machine, f"{folder}/{name}", name, match[1], int(match[2]), may_ask, own)
        if machine.exists(f"{folder}/{name}"):  # else the hub was pulled while we read
            found.append(port)
            gaps.extend(own)
    return found


def _port(machine: Machine, folder: str, name: str, hub: str, number: int, may_ask: bool, gaps: list[Gap]) -> UsbPort:
    def read(file: str, field: str, parse: Callable[[str], Any]) -> Any:
        return read_value(machine, f"{folder}/{file}", f"ports[{name}].{field}", parse, gaps)

    device = linked_name(machine, f"{folder}/device", f"ports[{name}].device", gaps)
    disabled: Any = UNSET
    if isinstance(device, str):
        disabled = False  # port.c disable_store() takes the device off the bus before it cuts the power
    elif may_ask:
        disabled = read("disable", "disabled", _flag)
    return UsbPort(
        name=name,
        hub=hub,
        number=number,
        connect_type=read("connect_type", "connect_type", str),
        location=read("location", "location", _location),
        place=_place(machine, folder, f"ports[{name}].place", gaps),
        over_current=read("over_current_count", "over_current", _number),
        state=read("state", "state", str),
        disabled=disabled,
        early_stop=read("early_stop", "early_stop", _flag),
        peer=linked_name(machine, f"{folder}/peer", f"ports[{name}].peer", gaps),
        device=device,
    )


def _answers_silently(machine: Machine, hub: str) -> bool:
    """Whether `disable` of the hub's empty ports can be read without touching hardware that sleeps or is remote.

    port.c disable_show() wakes the hub and sends it a GetPortStatus request.  A root hub
    that is awake answers from the host controller's own registers: nothing goes over a wire.
    """
    if not hub.startswith("usb"):
        return False
    try:
        return machine.attribute(f"{DEVICES}/{hub}/power/runtime_status") in ("active", "unsupported")
    except OSError:
        return False


def _not_asked(ports: list[str]) -> Gap:
    return Gap(
        what="ports[].disabled",
        why="not-here",
        detail=f"not asked of {len(ports)} empty ports, the first {ports[0]}: older than Linux 6.0, "
        "or reading it would wake a hub or send it a request",
        provide=f"cat {DEVICES}/*/*-port*/disable",
    )


def _place(machine: Machine, folder: str, what: str, gaps: list[Gap]) -> Any:
    folder += "/physical_location"
    if not machine.exists(folder):
        return None if _kernel_tells_places(machine) else UNSET

    def read(file: str, field: str, parse: Callable[[str], Any] = str) -> Any:
        return read_value(machine, f"{folder}/{file}", f"{what}.{field}", parse, gaps)

    return PhysicalPlace(
        panel=read("panel", "panel"),
        vertical=read("vertical_position", "vertical"),
        horizontal=read("horizontal_position", "horizontal"),
        dock=read("dock", "dock", _flag),
        lid=read("lid", "lid", _flag),
    )


def _kernel_tells_places(machine: Machine) -> bool:
    try:
        release = machine.attribute("/proc/sys/kernel/osrelease") or ""
    except OSError:
        return False
    match = re.match(r"(\d{1,4})\.(\d{1,4})", release)
    return match is not None and (int(match[1]), int(match[2])) >= _PLACES_SINCE
