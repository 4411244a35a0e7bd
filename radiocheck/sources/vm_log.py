"""What a VM's start and life left in the logs: QEMU's stderr, libvirt's refusals, denials.

Sources: the newest start in each `/var/log/libvirt/qemu/NAME.log`, and this boot's
journal of libvirt's daemons.  Message texts: QEMU's hw/usb/host-libusb.c, hw/usb/bus.c,
hw/vfio/container.c and libusb's os/linux_usbfs.c; libvirt's src/hypervisor/virhostdev.c,
src/util/virusb.c and src/conf/domain_conf.c.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterable, Iterator
from datetime import datetime
from functools import cache

from radiocheck.evidence.record import Gap
from radiocheck.evidence.vm import VmMessage

from . import journal
from .machine import Machine, Seen, decoded, refused

LOGS = "/var/log/libvirt/qemu"
TAIL = 256 << 10  # bytes of each log that are read; the newest
KEPT = 100  # messages of each log that are kept; the newest
TEXT_LIMIT = 400  # characters of a message that are kept
_DAEMONS = ("_SYSTEMD_UNIT=libvirtd.service", "_SYSTEMD_UNIT=virtqemud.service", "+", "_TRANSPORT=audit")
_NEWEST = 5000  # entries that are asked of the journal

KINDS: dict[str, str] = {
    "no-such-device": "QEMU found no device with that bus and address",
    "open-failed": "QEMU could not open the device or its node",
    "libusb-error": "a request to the device failed",
    "node-refused": "the node of a device could not be opened",
    "speed-mismatch": "the virtual USB port is too slow for the device",
    "no-usb-bus": "the VM has no USB controller",
    "no-free-port": "the virtual USB port is taken, or none is free",
    "libvirt-not-found": "libvirt found no device as the VM's configuration describes it",
    "libvirt-several": "libvirt found several devices with that vendor and product",
    "libvirt-in-use": "libvirt says that another running VM has the device",
    "libvirt-missing": "the device to take away is not in the running VM's configuration",
    "group-not-viable": "another device of the IOMMU group is still with a host driver",
    "vfio-not-bound": "the controller, or another device of its IOMMU group, is not with a VFIO driver",
    "vfio-refused": "QEMU may not open the node of the IOMMU group",
    "vfio-no-memory": "the process may not lock the guest's memory, as passing a PCI function through needs",
    "no-iommu-group": "the controller is in no IOMMU group: the IOMMU is off, or there is none",
    "pci-in-use": "another running VM has the controller",
    "pci-missing": "the host has no device with that PCI address",
    "option-refused": "QEMU does not take the option any more by which the device is given",
    "id-refused": "QEMU does not take a vendor or product ID as a number",
    "redirection-begun": "a viewer may hand devices of its own machine to the VM from now on",
    "redirection-ended": "the channel through which a viewer handed a device over was closed",
    "apparmor-denied": "AppArmor denied something to a VM",
    "selinux-denied": "SELinux denied a VM a device node",
}

_PCI = r"vfio (?:error: )?(?P<pci>[0-9a-f:.]+): (?:.*: )?"
_PCI_NAME = r"['\"]?(?P<pci>[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7])['\"]?"

# Each with a piece of fixed text that a line must hold, so that other lines cost next to nothing.
_FORMATS: tuple[tuple[str, str, str], ...] = (
    ("no-such-device", "host usb device", r"failed to find host usb device (?P<bus>\d+):(?P<address>\d+)"),
    (
        "open-failed",
        "failed to open ",
        r"failed to open (?:host usb device )?(?:(?P<bus>\d+):(?P<address>\d+)|(?P<node>/dev/bus/usb/\d{3}/\d{3}))"
        r"(?:: (?P<strerror>.+))?",
    ),
    ("libusb-error", "libusb_", r"(?P<fn>libusb_\w+)(?: \[iso\])?: (?P<rc>-\d+) \[(?P<name>[A-Z_?]+)\]"),
    (
        "node-refused",
        "couldn't open USB device",
        r"libusb couldn't open USB device (?P<node>/dev/bus/usb/\d{3}/\d{3})"
        r"(?:, errno=(?P<errno>\d+)|: (?P<strerror>.+))",
    ),
    (
        "speed-mismatch",
        "speed mismatch",
        r'speed mismatch trying to attach usb device "(?P<product>.*)" \((?P<speed>[a-z+]+) speed\)'
        r' to bus "(?P<bus>[^"]+)", port "(?P<port>[^"]+)" \((?P<port_speed>[a-z+]+) speed\)',
    ),
    ("no-usb-bus", "No 'usb-bus' bus", r"No 'usb-bus' bus found for device '(?P<driver>[\w-]+)'"),
    # src/conf/domain_conf.c, virDomainDefCompatibleDevice (from memory)
    ("no-usb-bus", "no USB bus support", r"[Dd]omain has no USB bus support"),
    ("no-usb-bus", "USB is disabled in this", r"USB is disabled in this (?:host|domain)"),
    ("no-free-port", "not found (in use?)", r"usb port (?P<port>\S+) \(bus (?P<bus>\S+)\) not found \(in use\?\)"),
    ("no-free-port", "No free USB ports", r"\bNo free USB ports\b"),  # src/conf/domain_addr.c
    ("no-free-port", "no free ports", r"tried to attach usb device (?P<product>.*) to a bus with no free ports"),
    (
        "libvirt-not-found",
        "Did not find ",
        r"Did not find USB device (?:(?P<vid>[0-9a-f]{1,4}):(?P<pid>[0-9a-f]{1,4}))?"
        r" ?(?:bus:(?P<bus>\d+) device:(?P<address>\d+))?",
    ),
    (
        "libvirt-not-found",
        "Did not find ",
        r"Did not find matching USB device: vid:(?P<vid>[0-9a-f]+), pid:(?P<pid>[0-9a-f]+),"
        r" bus:(?P<bus>\d+), device:(?P<address>\d+), port:(?P<port>[\d.]*)",
    ),
    (
        "libvirt-several",
        "Multiple USB devices for",
        r"Multiple USB devices for (?P<vid>[0-9a-f]+):(?P<pid>[0-9a-f]+)"
        r"(?: were found, but none of them is at bus:(?P<bus>\d+) device:(?P<address>\d+))?",
    ),
    (
        "libvirt-in-use",
        "USB device ",
        r"USB device (?P<bus>\d{3}):(?P<address>\d{3}) is (?:in use by driver (?P<driver>\S+), domain (?P<domain>.+)"
        r"|already in use)",
    ),
    (
        "libvirt-missing",
        "host usb device ",
        r"host usb device (?:(?P<bus>\d{3})\.(?P<address>\d{3})|vendor=0x(?P<vid>[0-9a-f]+)"
        r" product=0x(?P<pid>[0-9a-f]+)) not found",
    ),
    # QEMU until 2.8 or so names no function there (hw/vfio/common.c, from memory); its option does.
    (
        "group-not-viable",
        "is not viable",
        r"vfio-pci,host=(?:0000:)?(?P<pci>[0-9a-f]{2}:[0-9a-f]{2}\.[0-7])\b.{0,200}?vfio: error, "
        r"group (?P<group>\d+) is not viable",
    ),
    ("group-not-viable", "is not viable", _PCI + r"group (?P<group>\d+) is not viable"),
    # The kernel answers ENODEV while no VFIO driver has the device (drivers/vfio/group.c), and the group's node is
    # not there while none has any of its devices.
    (
        "vfio-not-bound",
        "error getting device from",
        _PCI + r"error getting device from group (?P<group>\d+): No such device",
    ),
    ("vfio-not-bound", "/dev/vfio/", _PCI + r"failed to open /dev/vfio/(?P<group>\d+): No such file or directory"),
    ("vfio-not-bound", "manually detached", rf"[Uu]nmanaged PCI device {_PCI_NAME} must be manually detached"),
    ("pci-in-use", "/dev/vfio/", _PCI + r"failed to open /dev/vfio/(?P<group>\d+): Device or resource busy"),
    (
        "vfio-refused",
        "/dev/vfio/",
        _PCI + r"failed to open (?P<node>/dev/vfio/\w+): (?P<strerror>Permission denied|Operation not permitted)",
    ),
    (
        "pci-in-use",
        "PCI device ",
        rf"PCI device {_PCI_NAME} is in use by driver (?P<driver>\S+), domain (?P<domain>.+)",
    ),
    # QEMU, hw/vfio/common.c (now container.c); older ones say the second. The kernel's own words:
    # drivers/vfio/vfio_iommu_type1.c
    (
        "vfio-no-memory",
        "vfio_",
        rf"(?:{_PCI})?vfio_(?:legacy_|container_)?dma_map\([^)]{{1,200}}\) = -12\b",
    ),
    ("vfio-no-memory", "VFIO_MAP_DMA", r"VFIO_MAP_DMA(?: failed)?: (?:-12\b|Cannot allocate memory)"),
    ("vfio-no-memory", "RLIMIT_MEMLOCK", r"\w{3,60}: RLIMIT_MEMLOCK \((?P<limit>\d+)\) exceeded"),
    ("no-iommu-group", "no iommu_group found", _PCI + "no iommu_group found"),
    (
        "no-iommu-group",
        "host doesn't support ",
        "host doesn't support (?:passthrough of host PCI devices|VFIO PCI passthrough)",
    ),
    ("pci-missing", "no such host device", _PCI + "no such host device"),
    ("pci-missing", "not found: could not access", rf"[Dd]evice {_PCI_NAME} not found: could not access"),
    (
        # QEMU, qom/object.c and qapi (seen with 7.2): an ID with letters, or with an 8 or 9 behind a leading 0
        "id-refused",
        " expects ",
        r"-device '?usb-host,.{0,300}: Parameter '(?P<property>vendorid|productid)' expects ",
    ),
    (
        # QEMU, hw/usb/bus.c, usbdevice_create (seen with 7.2)
        "option-refused",
        "usbdevice parameters",
        r"-usbdevice host:(?:(?P<vid>[0-9a-fA-F]{1,4}):(?P<pid>[0-9a-fA-F]{1,4})"
        r"|(?P<bus>\d{1,3})\.(?P<address>\d{1,3})): usbdevice parameters are not supported anymore",
    ),
    # usbredir, usbredirparser/usbredirparser.c; spice-server, red-channel-client.c, where 9 is SPICE_CHANNEL_USBREDIR
    # (both from memory)
    ("redirection-begun", "usbredirparser: Peer version", r"usbredirparser: Peer version: (?P<client>.{1,60}?), using"),
    (
        "redirection-ended",
        "red_channel_client_disconnect",
        r"red_channel_client_disconnect: rcc=\S{3,20} \(channel=\S{3,20} type=9 id=\d{1,3}\)",
    ),
    (
        "apparmor-denied",
        'apparmor="DENIED"',
        r'apparmor="DENIED" operation="(?P<operation>\w+)".*? profile="libvirt-(?P<uuid>[0-9a-f-]{36})"'
        r'(?:.*? name="(?P<path>[^"]*)")?',
    ),
    (
        # security/selinux/avc.c; libvirt runs QEMU as svirt_t (selinux-policy, virt.te)
        "selinux-denied",
        "tclass=chr_file",
        r'avc:\s+denied\s+\{ (?P<operation>[\w ]+) \} .*? comm="(?P<command>(?:qemu|kvm|CPU |vhost|libvirt|virt)[^"]*)"'
        r' (?:path="(?P<path>[^"]*)"|name="(?P<name>[^"]*)").*? tclass=chr_file(?! permissive=1)',
    ),
)
# QEMU stamps its own lines with -msg timestamp=on, libvirt those it adds.
_STAMP = re.compile(r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d:\d\d\.\d{1,6})(Z|\+0000)?:? ")
_START = re.compile(r"^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d\.\d+\+0000: starting up\b", re.MULTILINE)


@cache
def _pattern(expression: str) -> re.Pattern[str]:
    return re.compile(expression)  # on first use: a healthy machine compiles none


def read_line(text: str, vm: str | None = None, at: float | None = None) -> VmMessage | None:
    """The message in one line of a log, or None for other lines.  Nothing in the text can make this raise."""
    for kind, needle, expression in _FORMATS:
        if needle in text and (match := _pattern(expression).search(text[:2000])):
            data = {key: _value(key, value) for key, value in match.groupdict().items() if value}
            return VmMessage(vm=vm, kind=kind, at=at, data=data, text=text[:TEXT_LIMIT].replace("\0", ""))
    return None


def _value(key: str, value: str) -> str:
    """As it stands, but numbers in the one form of the evidence: ids of four digits, bus and address without zeros."""
    value = value[:TEXT_LIMIT].replace("\0", "")
    if key in ("vid", "pid"):
        return value.zfill(4).lower()
    if key in ("bus", "address") and value.isdecimal():
        return value.lstrip("0") or "0"
    return value


def read(text: str, vm: str | None = None) -> list[VmMessage]:
    """The messages in the text of a VM's log since its newest start, oldest first."""
    starts = list(_START.finditer(text))
    return list(_messages(_stamped(text[starts[-1].start() :] if starts else text), vm))


def _messages(lines: Iterable[journal.Line], vm: str | None) -> Iterator[VmMessage]:
    return (message for at, line in lines if (message := read_line(line, vm, at)))


def _stamped(text: str) -> Iterator[journal.Line]:
    for line in text.split("\n"):
        at, match = None, _STAMP.match(line)
        if match:
            try:
                at = datetime.fromisoformat(f"{match[1]}T{match[2].ljust(15, '0')}+00:00").timestamp()
            except (ValueError, OverflowError):
                match = None
        yield at, line[match.end() :] if match else line


def collect(machine: Machine) -> Seen:
    """`vm_messages`: of every VM's newest start, and of libvirt's daemons in this boot."""
    if not machine.exists(LOGS) and not machine.exists("/etc/libvirt"):
        return Seen({"vm_messages": []})
    found: list[VmMessage] = []
    gaps: list[Gap] = []
    try:
        for file in machine.names(LOGS):
            if file.endswith(".log"):
                found += _newest(read(_tail(machine, f"{LOGS}/{file}"), decoded(file.removesuffix(".log"))), gaps)
    except OSError as error:
        return Seen({}, (refused("vm_messages", error),))  # a list is complete or absent
    lines = journal.ask(machine, "vm_messages", _NEWEST, *_DAEMONS)
    if isinstance(lines, Gap):
        return Seen({}, (*gaps, lines))
    found += _newest(list(_messages(lines, None)), gaps)
    return Seen({"vm_messages": found}, tuple(gaps))


def _newest(messages: list[VmMessage], gaps: list[Gap]) -> list[VmMessage]:
    if len(messages) > KEPT:
        whose = f"of {messages[0].vm}" if messages[0].vm else "of libvirt"
        gaps.append(Gap(what="vm_messages", why="failed", detail=f"too many messages {whose}: the newest are kept"))
    return messages[-KEPT:]


def _tail(machine: Machine, path: str) -> str:
    """The end of a log from a whole line on; empty when it is gone.  Raises `OSError`."""
    try:
        with open(machine.path(path), "rb", opener=_opener) as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                return ""
            cut = max(0, file.seek(0, os.SEEK_END) - TAIL)
            file.seek(cut)
            text = file.read(TAIL).decode("utf-8", "replace")
    except FileNotFoundError:
        return ""
    return text.partition("\n")[2] if cut else text


def _opener(path: str, flags: int) -> int:
    return os.open(path, flags | os.O_NONBLOCK | os.O_CLOEXEC)  # what only looks like a log must not make us wait
