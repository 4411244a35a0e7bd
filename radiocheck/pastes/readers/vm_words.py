"""What QEMU, libusb and libvirt said: virsh's errors, VM logs, the journal of libvirt's daemons.

libvirt translates its messages (pastes/libvirt_words), QEMU and libusb do not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes import libvirt_words
from radiocheck.pastes.line import Line
from radiocheck.pastes.mentions import vms
from radiocheck.pastes.piece import Piece
from radiocheck.sources.vm_log import read_line

TITLE = "messages of QEMU and libvirt"

_VM = re.compile(
    r"(?:Failed to (?:start|create|attach device to|save) domain|[Dd]omain) ['\"]?(?P<vm>[\w.+-]{1,80})['\"]?$"
)

_VIRSH = re.compile(
    r"\bvirsh (?:-c \S{1,80} )?(?:start|resume|reboot|(?:at|de)tach-device)\s(?:--\S{1,20} )*(?P<vm>[\w.+-]{1,80})"
)

# Any program that uses libusb says these, too.
_OF_LIBUSB = ("node-refused", "libusb-error", "open-failed")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each message that vm_log knows; the VM is the one that the line before it names."""
    vm: str | None = None
    about = vms(lines)
    asked_virsh = False
    for line in lines:
        if line.prompt is not None:
            asked = _VIRSH.search(line.prompt)
            asked_virsh = asked is not None
            vm = asked["vm"] if asked else None
            continue
        text = line.text.strip()
        if "omain" in text and " in use by " not in text and (match := _VM.search(text[:300])):
            vm = match["vm"]
        message = read_line(text[:2000], vm) or libvirt_words.read(text, vm, framed=asked_virsh)
        if message is None:
            vm = libvirt_words.vm_named(text) or vm
        elif message.kind not in _OF_LIBUSB or about:
            yield Piece("vm_message", (line.number,), message)
