"""Whether the machine says itself that it is a VM."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "systemd-detect-virt, lscpu, hostnamectl, and the kernel's word at boot"

# systemd-detect-virt(1); `none` is printed on a machine of its own, container managers are left out
_KINDS = "kvm|qemu|amazon|bochs|xen|uml|vmware|oracle|microsoft|zvm|parallels|bhyve|qnx|acrn|powervm|apple|vm-other"
_DETECTED = re.compile(rf"^\s*(?:{_KINDS})\s*$")
_SAID = re.compile(
    r"^\s*Hypervisor vendor:\s{1,40}(?P<vendor>KVM|QEMU|Xen|VMware|Microsoft)\b"  # util-linux, sys-utils/lscpu.c
    r"|^\s*Virtualization: (?P<manager>kvm|qemu|xen|vmware|oracle|microsoft)\s*$"  # systemd, src/hostname/hostnamectl.c
    # arch/x86/kernel/cpu/hypervisor.c
    r"|\bHypervisor detected: (?P<kernel>KVM|Xen PV|Xen HVM|VMware|Microsoft Hyper-V)\b"
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
