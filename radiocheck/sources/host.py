"""The machine itself: kernel, distribution, start of this boot, and whether it is a guest.

Files: proc_sys_kernel(5), proc_stat(5), os-release(5); virtualisation is judged by
systemd-detect-virt(1), and where that is not installed by what it looks at itself
(systemd src/basic/virt.c): DMI strings, the device tree, the CPU's hypervisor bit.
"""

from __future__ import annotations

import os
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap, Host

from .machine import Machine, Seen, ToolHung, ToolMissing, refused

DETECT = "systemd-detect-virt"
_DMI_FILES = ("product_name", "sys_vendor", "board_vendor", "bios_vendor")
_DMI_WORDS = (("KVM", "kvm"), ("QEMU", "qemu"), ("Xen", "xen"), ("Bochs", "bochs"))  # virt.c, its open ones
_TREE = "/proc/device-tree/hypervisor/compatible"
# what a container manager leaves at a fixed place inside
_CONTAINER_MARKS = (("/run/systemd/container", None), ("/run/.containerenv", "podman"), ("/.dockerenv", "docker"))


def collect(machine: Machine) -> Seen:
    """`host`: every field that could be read; the others are absent, each with a gap."""
    gaps: list[Gap] = []
    return Seen(
        {
            "host": Host(
                kernel=_line(machine, "/proc/sys/kernel/osrelease", "host.kernel", gaps),
                machine=_architecture(machine),
                distribution=_distribution(machine, gaps),
                booted=_booted(machine, gaps),
                virtualisation=_virtualisation(machine, gaps),
                container=_container(machine, gaps),
                udev_running=machine.exists("/run/udev/control"),
            )
        },
        tuple(gaps),
    )


def _line(machine: Machine, path: str, what: str, gaps: list[Gap]) -> Any:
    text = _text(machine, path, what, gaps)
    if text is UNSET:
        return UNSET
    if text is None:
        gaps.append(Gap(what=what, why="not-here", detail=f"no {path}"))
        return UNSET
    return text.replace("\0", "").strip()


def _text(machine: Machine, path: str, what: str, gaps: list[Gap]) -> Any:
    """The file's text, None when there is no file, absent with a gap when it is refused."""
    try:
        return machine.attribute(path)
    except OSError as error:
        gaps.append(refused(what, error))
        return UNSET


def _architecture(machine: Machine) -> Any:
    try:
        text = machine.attribute("/proc/sys/kernel/arch")  # from Linux 6.1 on
    except OSError:
        text = None
    if text:
        return text.replace("\0", "").strip()
    return os.uname().machine if machine.root == "/" else UNSET


def _distribution(machine: Machine, gaps: list[Gap]) -> Any:
    text: Any = None
    for path in ("/etc/os-release", "/usr/lib/os-release"):  # the order of os-release(5)
        text = _text(machine, path, "host.distribution", gaps)
        if text is not None:
            break
    if not isinstance(text, str):
        return text
    for line in text.replace("\0", "").splitlines():
        name, equals, value = line.strip().partition("=")
        if name == "PRETTY_NAME" and equals:
            return _unquoted(value, gaps)
    return None


def _unquoted(value: str, gaps: list[Gap]) -> Any:
    import shlex

    try:
        words = shlex.split(value)  # os-release(5): shell quoting
    except ValueError as error:
        gaps.append(Gap(what="host.distribution", why="malformed", detail=str(error)))
        return UNSET
    return " ".join(words) or None


def _booted(machine: Machine, gaps: list[Gap]) -> Any:
    text = _text(machine, "/proc/stat", "host.booted", gaps)
    if text is UNSET:
        return UNSET
    for line in (text or "").splitlines():
        name, _, value = line.partition(" ")
        if name == "btime" and value.strip().isdecimal() and len(value) < 16:
            return float(value)
    gaps.append(Gap(what="host.booted", why="malformed" if text else "not-here", detail="no btime in /proc/stat"))
    return UNSET


def _virtualisation(machine: Machine, gaps: list[Gap]) -> Any:
    said = _detected(machine, "--vm")
    if said:
        return None if said == "none" else said
    found = _own_look(machine)
    if found is UNSET:
        gaps.append(
            Gap(
                what="host.virtualisation",
                why="no-tool",
                detail=f"{DETECT} gave no answer, and neither DMI, device tree nor CPU flags settle it",
                provide=f"{DETECT} --vm",
            )
        )
    return found


def _detected(machine: Machine, kind: str) -> str | None:
    """One word, `none` included (then the exit status is not 0); None when the tool gave none."""
    try:
        ran = machine.run([DETECT, kind])
    except (ToolMissing, ToolHung):
        return None
    word = ran.out.replace("\0", "").strip()
    return word if word and len(word.split()) == 1 else None


def _own_look(machine: Machine) -> Any:
    """virt.c's own order, shortened: DMI words, device tree, CPU flag.  Absent: nothing settles it."""
    if "control_d" in (_quiet(machine, "/proc/xen/capabilities") or ""):
        return None  # Xen's control domain is the host, though its CPU flags look like a guest's
    for file in _DMI_FILES:
        vendor = _quiet(machine, f"/sys/class/dmi/id/{file}")
        for prefix, word in _DMI_WORDS:
            if vendor and vendor.startswith(prefix):
                return word
    tree = _quiet(machine, _TREE)
    if tree:
        words = tree.split("\0")
        return next((word for mark, word in (("linux,kvm", "kvm"), ("xen,xen", "xen")) if mark in words), "vm-other")
    flags = [line for line in (_quiet(machine, "/proc/cpuinfo") or "").splitlines() if line.startswith("flags")]
    if not flags:
        return UNSET  # not an x86 CPU, whose flags would tell
    return "vm-other" if "hypervisor" in flags[0].split() else None  # systemd's word for an unnamed hypervisor


def _container(machine: Machine, gaps: list[Gap]) -> Any:
    for path, name in _CONTAINER_MARKS:
        if machine.exists(path):
            word = (_quiet(machine, path) or "").replace("\0", "").strip() if name is None else name
            return word or "container-other"
    if machine.exists("/run/systemd/system"):
        return None  # a systemd that runs in a container writes the first mark at its start (from memory)
    said = _detected(machine, "--container")
    if said:
        return None if said == "none" else said
    gap = Gap(what="host.container", why="no-tool", detail=f"{DETECT} gave no answer", provide=f"{DETECT} --container")
    gaps.append(gap)
    return UNSET


def _quiet(machine: Machine, path: str) -> str | None:
    """The file's text; None when it cannot be had, because another sign may settle the question."""
    try:
        return machine.attribute(path)
    except OSError:
        return None
