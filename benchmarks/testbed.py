"""Descriptions of machines with many USB serial adapters, in the format of umockdev-record(1).

Made from a number instead of kept as files, so that any size can be asked for.  The files
are those that Linux 6.1 shows of an xHCI controller (Documentation/ABI/*/sysfs-bus-usb;
drivers/usb/core/sysfs.c, port.c): two root hubs each, seven-port hubs below the USB 2 one,
adapters on the hubs, a tty with udev's properties for each adapter, descriptors so that
lsusb(8) reads them, and nodes under /dev/bus/usb.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from .rest import blocks as others

BLOCKS_IN_A_FILE = 20
HUB_PORTS = 7
ROOT_PORTS = 16
ON_A_BUS = 64  # adapters per controller: with their hubs well below the 127 addresses of a bus (USB 2.0, 9.4.6)

# Device, configuration, interface and endpoint descriptors: USB 2.0, 9.6; the last of a SuperSpeed hub: USB 3.1, 9.6.7
_DESCRIPTORS = {
    "root-2": "12010002090001406B1D020001060302010109021900010100E0000904000001090000000705810304000C",
    "root-3": "12010003090003096B1D030001060302010109021F00010100E0000904000001090000000705810304000C063000000000",
    "hub": "12011002090001400912020010010102000109021900010100E0000904000001090000000705810301000C",
    "adapter": "12010002000000400912017A0001010203010902200001010080320904000002FF0000000705820240000007050202400000",
}
_USB_DRIVERS = "bus/usb/drivers"


def describe(adapters: int) -> list[str]:
    """The USB part, a block for each device: one adapter alone sits in a root port, more sit on hubs."""
    blocks: list[str] = []
    for first in range(0, adapters, ON_A_BUS):
        blocks += _controller(first // ON_A_BUS, range(first, min(first + ON_A_BUS, adapters)))
    return blocks


def devices(adapters: int) -> int:
    """How many USB devices that is, hubs and root hubs included."""
    return sum("DEVTYPE=usb_device" in block for block in describe(adapters))


def write(folder: Path, adapters: int, rest: bool) -> list[Path]:
    """Write the description as files, which are to be loaded in this order.

    umockdev's time to load a file grows with the square of its length, hence several.
    """
    blocks = [*(others() if rest else ()), *describe(adapters)]
    files = []
    for first in range(0, len(blocks), BLOCKS_IN_A_FILE):
        file = folder / f"{first:05}.umockdev"
        file.write_text("\n\n".join(blocks[first : first + BLOCKS_IN_A_FILE]) + "\n", "utf-8")
        files.append(file)
    return files


def _controller(number: int, adapters: range) -> Iterator[str]:
    address = f"0000:00:{0x10 + number:02x}.0"
    path = f"/devices/pci0000:00/{address}"
    yield _block(
        path,
        {"SUBSYSTEM": "pci", "DRIVER": "xhci_hcd", "PCI_CLASS": "C0330", "PCI_ID": "1B36:000D"},
        {"class": "0x0c0330", "vendor": "0x1b36", "device": "0x000d", "driver_override": "(null)"},
        {"driver": f"{_up(path)}bus/pci/drivers/xhci_hcd", "iommu_group": f"{_up(path)}kernel/iommu_groups/{number}"},
    )
    bus = 2 * number + 1
    hubs = -(-len(adapters) // HUB_PORTS) if len(adapters) > 1 else 0
    taken = {port + 1: f"{bus}-{port + 1}" for port in range(hubs or len(adapters))}
    yield from _hub(path, f"usb{bus}", bus, 1, "0", "root-2", ROOT_PORTS, taken, address)
    yield from _hub(path, f"usb{bus + 1}", bus + 1, 1, "0", "root-3", ROOT_PORTS, {}, address)
    root = f"{path}/usb{bus}"
    if not hubs:
        yield from _adapter(root, f"{bus}-1", bus, 2, adapters[0], address)
    for hub in range(hubs):
        name = f"{bus}-{hub + 1}"
        members = adapters[hub * HUB_PORTS : (hub + 1) * HUB_PORTS]
        below = {port + 1: f"{name}.{port + 1}" for port in range(len(members))}
        yield from _hub(root, name, bus, hub + 2, str(hub + 1), "hub", HUB_PORTS, below, address)
        for port, member in enumerate(members, 1):
            number_on_bus = 2 + hubs + hub * HUB_PORTS + port
            yield from _adapter(f"{root}/{name}", f"{name}.{port}", bus, number_on_bus, member, address)


def _hub(
    above: str,
    name: str,
    bus: int,
    devnum: int,
    devpath: str,
    kind: str,
    ports: int,
    taken: Mapping[int, str],
    pci: str,
) -> Iterator[str]:
    path = f"{above}/{name}"
    root = kind != "hub"
    interface = f"{bus}-0:1.0" if root else f"{name}:1.0"
    device = {
        "manufacturer": "Linux 6.1.0 xhci-hcd" if root else "Lindenhof",
        "product": "xHCI Host Controller" if root else "Seven-port hub",
        "bDeviceClass": "09",
        "bMaxPower": "0mA",
        "bmAttributes": "e0",  # self-powered: a healthy machine
        "maxchild": str(ports),
        "power/control": "auto",
        "power/autosuspend_delay_ms": "0",
        "removable": "unknown" if root else "removable",
        "speed": "5000" if kind == "root-3" else "480",
        "version": " 3.00" if kind == "root-3" else " 2.00",
    }
    if root:
        device |= {"authorized_default": "1", "interface_authorized_default": "1", "serial": pci}
    yield _device(path, bus, devnum, devpath, kind, device)
    attributes = _interface_attributes(kind, "09", 1)
    links = {"driver": f"{_up(f'{path}/{interface}')}{_USB_DRIVERS}/hub"}
    for number in range(1, ports + 1):
        port = f"{name}-port{number}"
        attributes |= {
            f"{port}/connect_type": "hotplug" if root else "unknown",
            f"{port}/location": f"0x8000{number:04x}" if root else "0x00000000",
            f"{port}/over_current_count": "0",
            f"{port}/quirks": "00000000",
            f"{port}/early_stop": "no",
            f"{port}/disable": "0",
        }
        if root:
            other = bus - 1 if kind == "root-3" else bus + 1
            links[f"{port}/peer"] = f"../../../usb{other}/{other}-0:1.0/usb{other}-port{number}"
        if number in taken:
            links[f"{port}/device"] = f"../../{taken[number]}"
    yield _interface(f"{path}/{interface}", kind, "hub", "9/0/0", attributes, links)


def _adapter(above: str, name: str, bus: int, devnum: int, number: int, pci: str) -> Iterator[str]:
    path, interface, tty, serial = f"{above}/{name}", f"{name}:1.0", f"ttyUSB{number}", f"A1B2C3{number:04}"
    devpath = name.partition("-")[2]
    udev = {
        "ID_BUS": "usb",
        "ID_MODEL": "Mesh_stick",
        "ID_MODEL_ID": "7a01",
        "ID_PATH": f"pci-{pci}-usb-0:{devpath}",
        "ID_REVISION": "0100",
        "ID_SERIAL": f"Lindenhof_Mesh_stick_{serial}",
        "ID_SERIAL_SHORT": serial,
        "ID_USB_INTERFACES": ":ff0000:",
        "ID_VENDOR": "Lindenhof",
        "ID_VENDOR_ID": "1209",
    }
    device = {
        "manufacturer": "Lindenhof",
        "product": "Mesh stick",
        "serial": serial,
        "bDeviceClass": "00",
        "bMaxPower": "100mA",
        "bmAttributes": "80",
        "maxchild": "0",
        "power/control": "on",
        "power/autosuspend_delay_ms": "2000",
        "removable": "removable",
        "speed": "12",
        "version": " 2.00",
    }
    hub = above.rpartition("/")[2]
    hub_interface = f"{hub.removeprefix('usb')}-0:1.0" if hub.startswith("usb") else f"{hub}:1.0"
    port = f"../{hub_interface}/{hub}-port{name.replace('-', '.').rpartition('.')[2]}"
    yield _device(path, bus, devnum, devpath, "adapter", device, udev, {"port": port})
    path = f"{path}/{interface}"
    attributes = _interface_attributes("adapter", "ff", 2) | {"interface": "Mesh stick UART"}
    links = {"driver": f"{_up(path)}{_USB_DRIVERS}/cp210x"}
    yield _interface(path, "adapter", "cp210x", "255/0/0", attributes, links)
    path = f"{path}/{tty}"
    driver = {"driver": f"{_up(path)}bus/usb-serial/drivers/cp210x"}
    yield _block(path, {"SUBSYSTEM": "usb-serial", "DRIVER": "cp210x"}, {"port_number": "0"}, driver)
    by_id = f"serial/by-id/usb-Lindenhof_Mesh_stick_{serial}-if00-port0"
    by_path = f"serial/by-path/pci-{pci}-usb-0:{devpath}:1.0-port0"
    yield _block(
        f"{path}/tty/{tty}",
        {
            "SUBSYSTEM": "tty",
            "DEVNAME": f"/dev/{tty}",
            "MAJOR": "188",
            "MINOR": str(number),
            **udev,
            "ID_USB_DRIVER": "cp210x",
            "ID_USB_INTERFACE_NUM": "00",
            "DEVLINKS": f"/dev/{by_id} /dev/{by_path}",
            "TAGS": ":systemd:",
        },
        {"dev": f"188:{number}"},
        {},
        names=(f"N: {tty}", f"S: {by_id}", f"S: {by_path}"),
    )


def _device(
    path: str,
    bus: int,
    devnum: int,
    devpath: str,
    kind: str,
    more: Mapping[str, str],
    udev: Mapping[str, str] | None = None,
    links: Mapping[str, str] | None = None,
) -> str:
    descriptors = bytes.fromhex(_DESCRIPTORS[kind])
    vid, pid, bcd = (f"{descriptors[at + 1]:02x}{descriptors[at]:02x}" for at in (8, 10, 12))
    node = f"bus/usb/{bus:03}/{devnum:03}"
    minor = (bus - 1) * 128 + devnum - 1  # drivers/usb/core/hub.c, usb_new_device()
    properties = {
        "SUBSYSTEM": "usb",
        "DEVTYPE": "usb_device",
        "DRIVER": "usb",
        "PRODUCT": f"{int(vid, 16):x}/{int(pid, 16):x}/{int(bcd, 16):x}",
        "TYPE": f"{descriptors[4]}/{descriptors[5]}/{descriptors[6]}",
        "DEVNAME": f"/dev/{node}",
        "MAJOR": "189",
        "MINOR": str(minor),
        "BUSNUM": f"{bus:03}",
        "DEVNUM": f"{devnum:03}",
        **(udev or {}),
    }
    attributes = {
        "authorized": "1",
        "bConfigurationValue": "1",
        "bDeviceProtocol": f"{descriptors[6]:02x}",
        "bDeviceSubClass": f"{descriptors[5]:02x}",
        "bMaxPacketSize0": str(descriptors[7]),
        "bNumConfigurations": "1",
        "bNumInterfaces": " 1",
        "bcdDevice": bcd,
        "busnum": str(bus),
        "dev": f"189:{minor}",
        "devnum": str(devnum),
        "devpath": devpath,
        "idProduct": pid,
        "idVendor": vid,
        "power/connected_duration": "3600500",
        "power/runtime_status": "active",
        "urbnum": "431",
        **more,
    }
    links = {"driver": f"{_up(path)}{_USB_DRIVERS}/usb", **(links or {})}
    return _block(path, properties, attributes, links, (f"N: {node}",), f"H: descriptors={descriptors.hex().upper()}")


def _interface_attributes(kind: str, class_: str, endpoints: int) -> dict[str, str]:
    return {
        "authorized": "1",
        "bAlternateSetting": " 0",
        "bInterfaceClass": class_,
        "bInterfaceNumber": "00",
        "bInterfaceProtocol": "00",
        "bInterfaceSubClass": "00",
        "bNumEndpoints": f"{endpoints:02x}",
        "modalias": _modalias(kind, class_),
    }


def _interface(
    path: str, kind: str, driver: str, type_: str, attributes: Mapping[str, str], links: Mapping[str, str]
) -> str:
    modalias = attributes["modalias"]
    properties = {
        "SUBSYSTEM": "usb", "DEVTYPE": "usb_interface", "DRIVER": driver, "INTERFACE": type_, "MODALIAS": modalias
    }  # fmt: skip
    return _block(path, properties, attributes, links)


def _modalias(kind: str, class_: str) -> str:
    descriptors = bytes.fromhex(_DESCRIPTORS[kind])
    vid, pid, bcd = (f"{descriptors[at + 1]:02X}{descriptors[at]:02X}" for at in (8, 10, 12))
    own = "".join(f"{name}{descriptors[at]:02X}" for name, at in (("dc", 4), ("dsc", 5), ("dp", 6)))
    return f"usb:v{vid}p{pid}d{bcd}{own}ic{class_.upper()}isc00ip00in00"


def _block(
    path: str,
    properties: Mapping[str, str],
    attributes: Mapping[str, str],
    links: Mapping[str, str],
    names: tuple[str, ...] = (),
    binary: str = "",
) -> str:
    lines = [f"P: {path}", *names]
    lines += [f"E: {name}={value}" for name, value in properties.items()]
    lines += [f"A: {name}={value}\\n" for name, value in attributes.items()]
    lines += [binary] if binary else []
    lines += [f"L: {name}={target}" for name, target in links.items()]
    return "\n".join(lines)


def _up(path: str) -> str:
    """The way from a device's folder up to /sys."""
    return "../" * path.count("/")
