"""What a machine has besides its USB devices, for `testbed`.

Numbers are those that `udevadm info --export-db` showed on a small Debian 12 guest (Linux
6.1, two processors), places and properties are shortened.  A hypervisor has more of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple


class Kind(NamedTuple):
    """Devices of one subsystem; `{n}` in places and values is a device's number."""

    subsystem: str
    number: int
    place: str
    properties: Mapping[str, str] = {}


SINGLE = (
    "watchdog vtconsole virtio-ports rtc regulator nvmem node net memory_tiering "
    "iommu i2c graphics edac dmi clocksource"
)
KINDS = (
    Kind("acpi", 76, "LNXSYSTM:00/LNXSYBUS:00/device:{n:02x}", {"MODALIAS": "acpi:PNP0C0F:"}),
    Kind(
        "tty", 64, "virtual/tty/tty{n}", {"DEVNAME": "/dev/tty{n}", "MAJOR": "4", "MINOR": "{n}", "TAGS": ":systemd:"}
    ),
    Kind("tty", 4, "platform/serial8250/tty/ttyS{n}", {"DEVNAME": "/dev/ttyS{n}", "MAJOR": "4"}),
    Kind("memory", 24, "system/memory/memory{n}"),
    Kind("vc", 21, "virtual/vc/vcs{n}", {"DEVNAME": "/dev/vcs{n}", "MAJOR": "7", "MINOR": "{n}"}),
    Kind("wakeup", 17, "virtual/wakeup/wakeup{n}"),
    Kind("platform", 17, "platform/PNP0C0C:{n:02x}", {"DRIVER": "iTCO_wdt", "MODALIAS": "platform:iTCO_wdt"}),
    Kind(
        "pci",
        11,
        "pci0000:00/0000:00:00.{n}",
        {"PCI_CLASS": "60000", "PCI_ID": "8086:29C0", "PCI_SLOT_NAME": "0000:00:00.{n}"},
    ),
    Kind("misc", 13, "virtual/misc/misc{n}", {"DEVNAME": "/dev/misc{n}", "MAJOR": "10", "MINOR": "{n}"}),
    Kind(
        "input",
        10,
        "platform/i8042/serio0/input/input{n}",
        {"PRODUCT": "11/1/1/ab41", "NAME": '"keyboard"', "EV": "120013"},
    ),
    Kind("bdi", 10, "virtual/bdi/7:{n}"),
    Kind(
        "block",
        9,
        "virtual/block/loop{n}",
        {
            "DEVNAME": "/dev/loop{n}",
            "DEVTYPE": "disk",
            "MAJOR": "7",
            "MINOR": "{n}",
            "DISKSEQ": "{n}",
            "TAGS": ":systemd:",
        },
    ),
    Kind("workqueue", 8, "virtual/workqueue/scsi_tmf_{n}"),
    Kind("mem", 8, "virtual/mem/mem{n}", {"DEVNAME": "/dev/mem{n}", "MAJOR": "1", "MINOR": "{n}"}),
    *(Kind(name, 6, f"platform/{name}{{n}}") for name in "scsi_host scsi event_source".split()),
    *(Kind(name, 6, f"platform/{name}{{n}}") for name in "ata_port ata_link ata_device".split()),
    Kind("pnp", 5, "pnp0/00:{n:02x}", {"DRIVER": "serial"}),
    Kind("virtio", 4, "platform/virtio{n}", {"DRIVER": "virtio_blk", "MODALIAS": "virtio:d00000002v00001AF4"}),
    *(Kind(name, 3, f"virtual/{name}/{name}{{n}}") for name in "leds container clockevents".split()),
    *(Kind(name, 2, f"virtual/{name}/{name}{{n}}") for name in "thermal serio pci_bus machinecheck cpu".split()),
    *(Kind(name, 1, f"virtual/{name}/{name}{{n}}") for name in SINGLE.split()),
)


def blocks() -> Iterator[str]:
    """The descriptions of all of them."""
    for kind in KINDS:
        for number in range(kind.number):
            lines = [f"P: /devices/{kind.place.format(n=number)}", f"E: SUBSYSTEM={kind.subsystem}"]
            lines += [f"E: {name}={value.format(n=number)}" for name, value in kind.properties.items()]
            if kind.subsystem == "pci":
                lines += ["A: class=0x060000\\n", "A: vendor=0x8086\\n", "A: device=0x29c0\\n"]
            yield "\n".join(lines)
