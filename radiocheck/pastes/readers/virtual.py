"""Whether the machine says itself that it is a VM."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "systemd-detect-virt, lscpu, hostnamectl, and the kernel's word at boot"

# systemd-detect-virt(1) prints one word: `none` on a machine of its own, or the manager of a container
_CONTAINERS = "openvz|lxc(?:-libvirt)?|systemd-nspawn|docker|podman|rkt|wsl|proot|pouch|container-other"
_MANAGER = rf"(?!(?:none|{_CONTAINERS})\s*$)[a-z][a-z-]{{1,19}}"
_DETECTED = re.compile(rf"^\s*{_MANAGER}\s*$")
_SAID = re.compile(
    r"^\s*Hypervisor vendor:\s{1,40}(?P<vendor>[A-Z]\w{1,19})\b"  # util-linux, sys-utils/lscpu.c
    rf"|^\s*Virtualization: (?P<manager>{_MANAGER})\s*$"  # systemd, src/hostname/hostnamectl.c
    # arch/x86/kernel/cpu/hypervisor.c
    r"|\bHypervisor detected: (?P<kernel>[A-Z]\w{1,19})\b"
    r"|\bDMI: (?P<board>QEMU|Bochs) "  # drivers/firmware/dmi_scan.c
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """The hypervisor, each time that it is named."""
    asked = False
    for line in lines:
        text = line.text[:300]
        if line.prompt is not None:
            asked = line.prompt.startswith("systemd-detect-virt")
            continue
        if asked and _DETECTED.match(text):
            yield Piece("host", (line.number,), {"virtualisation": text.strip()})
        elif match := _SAID.search(text):
            name = next(filter(None, match.groups()))
            yield Piece("host", (line.number,), {"virtualisation": name.split()[0].lower()})
        if text.strip():
            asked = False
