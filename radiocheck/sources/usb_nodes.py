"""The nodes of USB devices, `/dev/bus/usb/BBB/DDD`, through which programs reach them directly."""

from __future__ import annotations

from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import Node

from .acl import read_node
from .machine import Machine, Seen, refused

FOLDER = "/dev/bus/usb"


def collect(machine: Machine) -> Seen:
    """`usb_nodes`: all of them with their rights; empty where there are none."""
    gaps: list[Gap] = []
    nodes: list[Node] = []
    try:
        paths = [
            f"{FOLDER}/{bus}/{number}"
            for bus in machine.names(FOLDER)
            if bus.isdecimal()
            for number in machine.names(f"{FOLDER}/{bus}")
            if number.isdecimal()
        ]
    except OSError as error:
        return Seen({}, (refused("usb_nodes", error),))
    for path in paths:
        node, more = read_node(machine, path, f"usb_nodes[{path}]")
        gaps += more
        if isinstance(node, Node):
            nodes.append(node)
        elif node is not None:  # refused: a list is complete or absent
            return Seen({}, tuple(gaps))
    return Seen({"usb_nodes": nodes}, tuple(gaps))
