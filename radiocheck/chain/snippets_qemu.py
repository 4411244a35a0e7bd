"""Words of a QEMU command line (hw/usb/host-libusb.c, hw/vfio/pci.c, chardev/char.c)."""

from __future__ import annotations

from .snippet import LINK, LONG_PORT, Facts, Made, bus, here, ids, unique, whole_controller, word
from .template import look_up

IDS = "QEMU takes the first device with these IDs, without a word when a second one is plugged in"
SOCKET = (
    "whatever is plugged into that socket goes to the VM, and the number of the bus can be another one after a "
    "restart of the host"
)


def usb(facts: Facts) -> Made | None:
    """The adapter by its IDs if they are unique here, else by its socket.  QEMU looks for it every two seconds."""
    alone, pair = unique(facts), ids(facts)
    if not here(facts) or alone is None:
        return None
    if alone and pair:
        return Made(f"-device usb-host,vendorid=0x{pair[0]},productid=0x{pair[1]}", IDS)
    return usb_socket(facts)


def usb_socket(facts: Facts) -> Made | None:
    """Whatever is in the adapter's socket."""
    where, port = bus(facts), word(facts, "adapter.path", LONG_PORT)
    if not here(facts) or where is None or port is None:
        return None
    return Made(f"-device usb-host,hostbus={where},hostport={port}", SOCKET)


def usb_no_reset(facts: Facts) -> Made | None:
    """The same for a guest that must not reset the hardware."""
    made = usb(facts)
    if made is None:
        return None
    return Made(f"{made.text},guest-reset=false", f"the guest can no longer revive a hung adapter; {made.gives_up}")


def controller(facts: Facts) -> Made | None:
    """The whole PCI controller that the adapter is plugged into."""
    found = whole_controller(facts)
    return Made(f"-device vfio-pci,host={found[0]}", found[1]) if found else None


def serial(facts: Facts) -> Made | None:
    """The adapter's tty, by the name that stays.  The names allowed here have no comma, which QEMU would split at."""
    link = word(facts, "name.by_id", LINK)
    if link is None or look_up(facts, "name.shared_with") != []:
        return None
    return Made(
        f"-chardev serial,id=mesh,path={link} -serial chardev:mesh",
        "the guest sees a serial port and not the adapter, and a replug leaves the VM with a dead port until QEMU is "
        "started anew",
    )
