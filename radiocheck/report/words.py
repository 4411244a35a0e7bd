"""Codes of the report in plain words."""

from __future__ import annotations

import re
import time

from radiocheck.chain.verdict import Adapter, Chain, Missing, Report

from .layout import listed

RISKS = {
    "reads": "only reads, changes nothing",
    "reversible": "changes something; can be undone",
    "interrupts": "interrupts service",
    "hands-on": "needs hands on plugs and cables",
}

WHYS = {
    "denied": "not allowed",
    "no-tool": "the program for it is not installed",
    "timed-out": "took too long",
    "failed": "failed",
    "not-here": "not on this machine",
    "malformed": "could not be understood",
}

# Top-level fields of the evidence, as things a person knows.
THINGS = {
    "host": "the machine itself",
    "usb": "USB devices",
    "ports": "USB ports",
    "controllers": "PCI USB controllers",
    "disks": "disks in use",
    "modules": "kernel modules",
    "ttys": "serial ports",
    "links": "names under /dev/serial",
    "usb_nodes": "USB device nodes",
    "container_nodes": "the nodes that the container is given",
    "users": "accounts and their groups",
    "handles": "who holds ports open",
    "services": "services that take ports",
    "kernel_log": "the kernel log",
    "qemu": "QEMU processes",
    "domains": "libvirt's VMs",
    "libvirt_version": "libvirt's version",
    "monitors": "QEMU's monitors",
    "vm_messages": "the VMs' logs",
    "guest": "the VM's own side",
    "app_messages": "what programs said",
    "air_readings": "what the radio measured",
    "wifi": "Wi-Fi networks",
    "site": "your house's air",
}


def route(chain: Chain) -> str:
    """The chain's route, e.g. "passed to the VM hearth as a USB device"."""
    only = chain.vms[0] if len(chain.vms) == 1 else None
    nameless = only is not None and only.startswith("the VM ")  # it is called by the file that it is known from
    named = only if nameless else f"the VM {only}" if only is not None else f"the VMs {listed(chain.vms)}"
    who = named if chain.vms else "a VM"
    return {
        "unknown": "its use is not known",
        "native": "used on this host, through its serial port",
        "device": f"passed to {who} as a USB device",
        "controller": f"in {who}, with the whole USB controller it is plugged into",
        "forwarded": f"its serial port on this host is given to {who}",
        "received": "this machine is a VM and has it from its host",
    }[chain.route]


def details(adapter: Adapter, vendor: str | None) -> str:
    """Who made it, its IDs and where it sits: what the label does not say already."""
    maker = adapter.manufacturer or vendor
    ids = f"{adapter.vid}:{adapter.pid}" if adapter.vid and adapter.pid else None
    place = f"port {adapter.port}" if adapter.port else None
    said = [word for word in (maker, ids, place, adapter.tty) if word and word not in adapter.label]
    if adapter.present is False:
        said.append("not on the bus now")
    elif adapter.present is None:
        said.append("not known whether it is on the bus")
    return ", ".join(said)


def thing(what: str) -> str:
    """An evidence path in words; what lies below the top level is kept beside them."""
    head = re.split(r"[.\[( ]", what, maxsplit=1)[0]
    if head not in THINGS:
        return what
    return THINGS[head] if head == what else f"{THINGS[head]} ({what})"


def provided(missing: list[Missing]) -> list[str]:
    """What a person can do to show more, each with what it would show; then what nothing can be done about."""
    doable: dict[str, list[str]] = {}
    lost: dict[str, list[str]] = {}
    ways = [item.provide for item in missing]
    for item in missing:
        how = simplest(item.provide, ways)
        words = (doable if how else lost).setdefault(how or WHYS.get(item.why, item.why), [])
        if thing(item.what) not in words:
            words.append(thing(item.what))
    return [f"{how}: would show {listed(things)}" for how, things in doable.items()] + [
        f"{listed(things)}: {why}" for why, things in lost.items()
    ]


def simplest(way: str, ways: list[str]) -> str:
    """The shorter way that does the same: "run as root" stands for "run as root, or …" when it is asked anyway."""
    return min((other for other in ways if way.startswith(f"{other},")), key=len, default=way)


def taken(report: Report) -> str:
    """Where, when and with which rights the evidence was taken."""
    try:
        when = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(report.taken))
    except (OverflowError, ValueError, OSError):
        when = "time not known"
    rights = {True: "as root", False: "without root", None: ""}[report.root]
    return ", ".join(word for word in (report.host, when, rights) if word)
