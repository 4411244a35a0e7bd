"""What a paste speaks of at all, where a line alone does not tell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from radiocheck.pastes.line import Line

_WORDS = "qemu kvm virsh libvirt virtqemud hostdev usb-host vfio".split()
_OTHER = re.compile(r"\bVMs?\b|virtual machine|^\W{0,8}(?:usb|hostpci)\d: ")
# A command that runs inside of a container, and shells of images: a host name that the container's number is, and
# busybox's prompt without any; flatpak's own has a parcel.
_INTO_CONTAINER = re.compile(
    r"\b(?:docker|podman|nerdctl|lxc|incus|kubectl|crictl|machinectl|ctr|flatpak|toolbox|distrobox)\b"
    r".{0,60}?\s(?:exec|run|attach|shell|enter)\b"
    r"|\b(?:lxc-attach|lxc-execute|systemd-nspawn)\b"
)
_SHELL_OF_CONTAINER = re.compile(r"^\s*(?:\w{1,32}@[0-9a-f]{12}:|/[\w/.-]{0,60} [#$] |\[\U0001f4e6 )")
_READ = 2_000  # characters of a line that are looked at


def vms(lines: Iterable[Line]) -> bool:
    """Whether virtual machines come up anywhere: libusb says the same to QEMU as to every other program."""
    return any(_speaks(line.text[:_READ]) for line in lines)


def _speaks(text: str) -> bool:
    small = text.lower()
    return any(word in small for word in _WORDS) or _OTHER.search(text) is not None


def in_container(line: Line) -> bool:
    """Whether the command at a prompt runs inside of a container, whose /dev is not its machine's."""
    if line.prompt is None:
        return False
    return _INTO_CONTAINER.search(line.prompt) is not None or _SHELL_OF_CONTAINER.match(line.text) is not None


def into_container(line: Line) -> bool:
    """Whether the host's shell runs a command inside of a container."""
    return line.prompt is not None and _INTO_CONTAINER.search(line.prompt) is not None
