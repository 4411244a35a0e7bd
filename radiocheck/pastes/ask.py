"""Which command shows what: the commands to ask a person for, and the shortest list of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

# Evidence field → commands whose output a reader of this package takes as that field, the usual one first.
COMMANDS: dict[str, tuple[str, ...]] = {
    "usb": ("lsusb", "lsusb -t"),
    "usb.interfaces": ("lsusb -t",),
    "kernel_log": ("sudo dmesg | tail -n 200",),
    "ttys": ("ls -l /dev/ttyUSB* /dev/ttyACM*",),
    "links": ("ls -l /dev/serial/by-id /dev/serial/by-path",),
    "users": ("id",),
    "handles": ("sudo lsof /dev/ttyUSB* /dev/ttyACM* /dev/bus/usb/*/*",),
    "qemu": ("ps -ef | grep [q]emu",),
    "domains": ("virsh list --all; for vm in $(virsh list --all --name); do virsh dumpxml $vm; done",),
    "services": ("systemctl status ModemManager brltty gpsd usbguard",),
    "modules": ("lsmod",),
    "controllers": ("lspci -nnk",),
    "usb_nodes": ("ls -l /dev/bus/usb/*/*",),
    "vm_messages": ("sudo tail -n 50 /var/log/libvirt/qemu/*.log",),
    "app_messages": ("the program's own words when it starts",),
}
FIRST = ("lsusb", "lsusb -t", "sudo dmesg | tail -n 200")  # when nothing is known at all
MOST = 4  # commands that a person is asked for at once


def command_for(field: str) -> str:
    """The usual command that shows a field of the evidence, "" when no output that is read shows it."""
    found = COMMANDS.get(field) or COMMANDS.get(field.partition("[")[0].partition(".")[0])
    return found[0] if found else ""


def shortest(wanted: Mapping[str, float], most: int = MOST) -> list[str]:
    """Few commands that show the most of what is wanted (field → weight), the weightiest first.

    A greedy cover: each step takes the command that shows the most weight that is still
    missing.
    """
    missing = {field: weight for field, weight in wanted.items() if command_for(field)}
    shows = _shows(missing)
    found: list[str] = []
    while missing and len(found) < most:
        best = max(shows, key=lambda command: sum(missing.get(field, 0.0) for field in shows[command]))
        gained = [field for field in shows[best] if field in missing]
        if not gained:
            break
        found.append(best)
        for field in gained:
            del missing[field]
    return found


def _shows(fields: Iterable[str]) -> dict[str, list[str]]:
    shows: dict[str, list[str]] = {}
    for field in fields:
        for command in COMMANDS.get(field) or (command_for(field),):
            shows.setdefault(command, []).append(field)
    return shows


def block(commands: Sequence[str]) -> str:
    """The commands, ready to be copied as one."""
    return "\n".join(commands)
