"""Lines of an xl.cfg(5) of Xen 4.17."""

from __future__ import annotations

from .snippet import Facts, Made, bus, here, number, whole_controller


def usb(facts: Facts) -> Made | None:
    """The adapter by its device number of now: `usbdev` has no other selector."""
    where, address = bus(facts), number(facts, "adapter.address", 1, 127)
    if not here(facts) or where is None or address is None:
        return None
    return Made(
        f"usbdev = [ 'type=hostdev,hostbus={where},hostaddr={address}' ]",
        "it holds until the next replug or the next restart of the host, and must then be written anew",
    )


def controller(facts: Facts) -> Made | None:
    """The whole PCI controller that the adapter is plugged into."""
    found = whole_controller(facts)
    return Made(f"pci = [ '{found[0]}' ]", found[1]) if found else None
