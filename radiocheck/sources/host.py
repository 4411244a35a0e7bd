"""The machine itself: kernel, distribution, start of this boot, whether it is a guest, whether it runs guests.

Files: proc_sys_kernel(5), proc_stat(5), os-release(5); virtualisation is judged by
systemd-detect-virt(1), and where that is not installed by what it looks at itself
(systemd src/basic/virt.c): DMI strings, the device tree, the CPU's hypervisor bit.
"""

from __future__ import annotations

import os
import re
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap, Host

from .containment import DETECT, container, detected
from .machine import Machine, Seen, refused

_DMI_FILES = ("product_name", "sys_vendor", "board_vendor", "bios_vendor")
_DMI_WORDS = (("KVM", "kvm"), ("QEMU", "qemu"), ("Xen", "xen"), ("Bochs", "bochs"))  # virt.c, its open ones
_TREE = "/proc/device-tree/hypervisor/compatible"
# programs that run virtual machines, and where they lie (Debian's and Fedora's packages; from memory)
_FOLDERS = ("/usr/local/sbin", "/usr/local/bin", "/usr/sbin", "/usr/bin", "/sbin", "/bin", "/run/current-system/sw/bin")
_RUNS_VMS = re.compile(r"qemu-system-[\w.+-]+|qemu-kvm|kvm|xl")
_LIBEXEC = "/usr/libexec/qemu-kvm"
_LIBVIRT = ("libvirtd", "virtqemud")
_UUID_FILE = "/sys/class/dmi/id/product_uuid"
_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


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
                hypervisor=_hypervisor(machine, gaps),
                uuid=_uuid(machine, gaps),
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
    said = detected(machine, "--vm")
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
    found = container(machine)
    if found is UNSET:
        detail = f"{DETECT} gave no answer"
        gaps.append(Gap(what="host.container", why="no-tool", detail=detail, provide=f"{DETECT} --container"))
    return found


def _hypervisor(machine: Machine, gaps: list[Gap]) -> Any:
    """Whether programs that run virtual machines are installed; libvirt counts with its daemon and its folder."""
    if machine.exists(_LIBEXEC):
        return True
    refusal: Gap | None = None
    daemon = False
    for folder in _FOLDERS:
        try:
            names = machine.names(folder)
        except OSError as error:
            refusal = refused("host.hypervisor", error)
            continue
        if any(_RUNS_VMS.fullmatch(name) for name in names):
            return True
        daemon |= any(name in names for name in _LIBVIRT)
    if daemon and machine.exists("/etc/libvirt/qemu"):
        return True
    if refusal is not None:
        gaps.append(refusal)
        return UNSET
    return False


def _uuid(machine: Machine, gaps: list[Gap]) -> Any:
    """The firmware's UUID of this machine; null where it has none.

    The kernel hides the file when all bytes are 0 or 255 (drivers/firmware/dmi_scan.c,
    dmi_save_uuid), which is what a QEMU without `-uuid` shows (seen with QEMU 7.2 and
    Linux 6.1, which showed the UUID of `-uuid` otherwise); only root may read it.
    """
    if not machine.exists(os.path.dirname(_UUID_FILE)):
        gaps.append(Gap(what="host.uuid", why="not-here", detail="no DMI table"))
        return UNSET
    text = _text(machine, _UUID_FILE, "host.uuid", gaps)
    if not isinstance(text, str):
        return text
    word = text.replace("\0", "").strip().lower()
    if _UUID.fullmatch(word):
        return word
    gaps.append(Gap(what="host.uuid", why="malformed", detail="the DMI table's UUID is none"))
    return UNSET


def _quiet(machine: Machine, path: str) -> str | None:
    """The file's text; None when it cannot be had, because another sign may settle the question."""
    try:
        return machine.attribute(path)
    except OSError:
        return None
