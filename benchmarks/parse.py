"""A thousand domain XMLs and a thousand command lines read, against Python's own parsers on the same texts.

The other side only makes elements or words of them, and looks for nothing in these: what
radiocheck adds is the search, and for XML the refusal of entities (defusedxml, whose parser
is written in Python where that of ElementTree is written in C).
"""

from __future__ import annotations

import shlex
import statistics
import time
import xml.etree.ElementTree
from collections.abc import Callable, Sequence
from typing import Any

from .figures import Target, machine, show, told

NUMBER = 1000
ROUNDS = 5  # that count; one before them does not
XML_LIMIT = 4.0
ARGS_LIMIT = 1.0

HOSTDEV = """    <hostdev mode='subsystem' type='usb' managed='yes'>
      <source startupPolicy='optional'>
        <vendor id='0x1209'/>
        <product id='0x7a01'/>
      </source>
      <address type='usb' bus='0' port='{number}'/>
    </hostdev>
"""
DISK = """    <disk type='file' device='disk'>
      <driver name='qemu' type='qcow2' discard='unmap'/>
      <source file='/srv/images/hearth-{number}.qcow2'/>
      <target dev='vd{letter}' bus='virtio'/>
      <address type='pci' domain='0x0000' bus='0x0{number}' slot='0x00' function='0x0'/>
    </disk>
"""


def main() -> list[Target]:
    """Measure, print, and return the claims."""
    from radiocheck.sources.given import vm_args, vm_xml

    print(machine())
    domains = [domain(number).encode() for number in range(NUMBER)]
    lines = [command_line(number).encode() for number in range(NUMBER)]
    return [
        _compare("domain XMLs", domains, lambda text: vm_xml(text, "x"), xml.etree.ElementTree.fromstring, XML_LIMIT),
        _compare(
            "command lines", lines, lambda text: vm_args(text, "x"), lambda text: shlex.split(text.decode()), ARGS_LIMIT
        ),
    ]


def domain(number: int) -> str:
    """A domain as libvirt prints it, with a USB device and more of the rest than most have."""
    rest = "".join(DISK.format(number=each, letter="abcdefgh"[each]) for each in range(8))
    controllers = "".join(
        f"    <controller type='pci' index='{each}' model='pcie-root-port'>\n      <model name='pcie-root-port'/>\n"
        f"      <target chassis='{each}' port='0x{each:x}'/>\n    </controller>\n"
        for each in range(1, 15)
    )
    return (
        f"<domain type='kvm'>\n  <name>hearth-{number}</name>\n"
        f"  <uuid>00000000-0000-4000-8000-{number:012x}</uuid>\n  <memory unit='KiB'>2097152</memory>\n"
        "  <os>\n    <type arch='x86_64' machine='pc-q35-7.2'>hvm</type>\n    <boot dev='hd'/>\n  </os>\n"
        "  <devices>\n    <controller type='usb' index='0' model='qemu-xhci' ports='15'/>\n"
        f"{controllers}{rest}{HOSTDEV.format(number=1)}{HOSTDEV.format(number=2)}  </devices>\n</domain>\n"
    )


def command_line(number: int) -> str:
    """A command line as libvirt's log of a domain has it: continued lines, JSON in quotes."""
    words = ["/usr/bin/qemu-system-x86_64", "-name", f"guest=hearth-{number},debug-threads=on", "-nodefaults"]
    for each in range(15):
        words += ["-device", f'{{"driver":"pcie-root-port","port":{each},"chassis":{each},"id":"pci.{each}"}}']
    for each in range(8):
        words += ["-blockdev", f'{{"driver":"file","filename":"/srv/images/{each}.qcow2","node-name":"f{each}"}}']
        words += ["-device", f'{{"driver":"virtio-blk-pci","bus":"pci.{each}","drive":"f{each}","id":"d{each}"}}']
    words += ["-device", "qemu-xhci,id=usb", "-device", "usb-host,vendorid=0x1209,productid=0x7a01"]
    return " \\\n".join(shlex.quote(word) for word in words) + "\n"


def _compare(
    what: str, texts: Sequence[bytes], ours: Callable[[bytes], Any], theirs: Callable[[bytes], Any], limit: float
) -> Target:
    taken: dict[str, list[float]] = {"radiocheck": [], "Python's parser": []}
    for _ in range(ROUNDS + 1):
        for name, read in (("radiocheck", ours), ("Python's parser", theirs)):
            began = time.process_time()
            for text in texts:
                read(text)
            taken[name].append((time.process_time() - began) * 1e3)
    size = statistics.mean(len(text) for text in texts)
    print(f"  {len(texts)} {what} of {size / 1000:.1f} kB")
    for name, times in taken.items():
        print(f"    {name:15} {told(times[1:])}")
    ratio = statistics.median(taken["radiocheck"][1:]) / statistics.median(taken["Python's parser"][1:])
    target = Target(f"processor time of {len(texts)} {what} over Python's parser", ratio, limit)
    show(target)
    return target
