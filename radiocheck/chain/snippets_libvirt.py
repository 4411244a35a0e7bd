"""Elements of a libvirt domain, as docs/formatdomain and its schemas have them."""

from __future__ import annotations

from .snippet import (
    LINK,
    PCI,
    POLICIES,
    PORT,
    Facts,
    Made,
    bus,
    here,
    ids,
    number,
    unique,
    whole_controller,
    word,
)
from .template import look_up

IDS = (
    "a second device with the same IDs, once plugged in, makes libvirt refuse the next start; and a running VM "
    "never gets the adapter back by itself after a replug"
)
SOCKET = (
    "whatever is plugged into that socket goes to the VM, and the number of the bus can be another one after a "
    "restart of the host"
)
NUMBER = "it holds until the next replug or the next restart of the host, and must then be written anew"


def usb(facts: Facts) -> Made | None:
    """The adapter by its IDs if they are unique here, else by its socket if this libvirt can name one."""
    found = _selector(facts)
    return Made(_hostdev(facts, found[0]), found[1]) if found else None


def usb_no_reset(facts: Facts) -> Made | None:
    """The same for a guest that must not reset the hardware; libvirt has `guestReset` since 8.6.0."""
    found = _selector(facts)
    if found is None:
        return None
    gives_up = f"the guest can no longer revive a hung adapter by a reset; {found[1]}"
    return Made(_hostdev(facts, found[0], " guestReset='off'"), gives_up)


def usb_number(facts: Facts) -> Made | None:
    """The adapter by its IDs and its device number of now: what every libvirt understands of two alike."""
    pair, where, address = ids(facts), bus(facts), number(facts, "adapter.address", 1, 127)
    if not here(facts) or pair is None or where is None or address is None:
        return None
    return Made(_hostdev(facts, [*_ids(pair), f"<address bus='{where}' device='{address}'/>"]), NUMBER)


def controller(facts: Facts) -> Made | None:
    """The whole PCI controller that the adapter is plugged into."""
    found = whole_controller(facts)
    match = PCI.fullmatch(found[0]) if found else None
    if found is None or match is None:
        return None
    domain, bus_number, slot, function = match.groups()
    address = f"<address domain='0x{domain}' bus='0x{bus_number}' slot='0x{slot}' function='0x{function}'/>"
    lines = ["<hostdev mode='subsystem' type='pci' managed='yes'>", *_source("", [address]), "</hostdev>"]
    return Made("\n".join(lines), found[1])


def serial(facts: Facts) -> Made | None:
    """The adapter's tty, by the name that stays, as a serial port of the VM."""
    link = word(facts, "name.by_id", LINK)
    by_id = link is not None and look_up(facts, "name.shared_with") == []
    link = link if by_id else word(facts, "name.by_path", LINK)
    if link is None:
        return None
    gives_up = (
        "the guest sees a serial port and not the adapter, and a replug leaves the VM with a dead port until it is "
        "restarted"
    )
    if not by_id:
        gives_up += "; the name stands for the socket, so whatever is plugged in there answers to it"
    return Made(f"<serial type='dev'>\n  <source path='{link}'/>\n</serial>", gives_up)


def _selector(facts: Facts) -> tuple[list[str], str] | None:
    """The elements that pick it out, and what that choice gives up."""
    alone, pair = unique(facts), ids(facts)
    if not here(facts) or alone is None:
        return None
    if alone and pair:
        return _ids(pair), IDS
    where, port = bus(facts), word(facts, "adapter.path", PORT)
    if where is None or port is None or look_up(facts, "host.libvirt_names_ports") is not True:
        return None
    return [f"<address bus='{where}' port='{port}'/>"], SOCKET


def _ids(pair: tuple[str, str]) -> list[str]:
    return [f"<vendor id='0x{pair[0]}'/>", f"<product id='0x{pair[1]}'/>"]


def _hostdev(facts: Facts, selector: list[str], more: str = "") -> str:
    """`managed` is left out: it means nothing for USB.  The line's own startupPolicy is kept."""
    policy = look_up(facts, "assignment.startup")
    attributes = (f" startupPolicy='{policy}'" if policy in POLICIES else "") + more
    return "\n".join(["<hostdev mode='subsystem' type='usb'>", *_source(attributes, selector), "</hostdev>"])


def _source(attributes: str, inner: list[str]) -> list[str]:
    return [f"  <source{attributes}>", *(f"    {line}" for line in inner), "  </source>"]
