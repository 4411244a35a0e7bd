"""What QEMU 7.2 and libvirt 9.0 say (formats: tests/sources/test_vm_log.py), as people paste it; virsh run here."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from .said import said, typed, values

START = """error: Failed to start domain 'hearth'
error: internal error: Did not find USB device 1209:7a01
"""


def test_the_vm_is_the_one_that_was_named() -> None:
    """In the line before, or in the command."""
    (message,) = values("vm_words", START, "vm_message")
    assert (message.vm, message.kind, message.data) == ("hearth", "libvirt-not-found", {"vid": "1209", "pid": "7a01"})
    text = typed("virsh start --console attic", "error: internal error: Did not find USB device 1209:7a01")
    assert values("vm_words", text, "vm_message")[0].vm == "attic"
    text = typed("virsh start attic", "") + typed("lsusb", START.partition("\n")[2])
    assert values("vm_words", text, "vm_message")[0].vm is None


WORDS = {
    "libvirt-several": "error: operation failed: Multiple USB devices for 1209:7a01, use <address> to specify one",
    "libvirt-in-use": "error: USB device 001:005 is in use by driver QEMU, domain attic",
    "no-usb-bus": "qemu-system-x86_64: -device usb-host,hostbus=1: No 'usb-bus' bus found for device 'usb-host'",
    "open-failed": "qemu-system-x86_64: failed to open /dev/bus/usb/001/005: Permission denied",
    "group-not-viable": "2026-11-25T12:00:00.000000Z qemu-system-x86_64: vfio 0000:00:14.0: group 5 is not viable",
}


@pytest.mark.parametrize(("kind", "line"), WORDS.items())
def test_any_frame(kind: str, line: str) -> None:
    """virsh's word before it, QEMU's stamp, a quotation."""
    for text in (line, f"> {line}", f"Nov 25 12:00:00 gable libvirtd[900]: {line}"):
        assert [one.kind for one in values("vm_words", text, "vm_message")] == [kind]


def test_libusb_says_the_same_to_every_program() -> None:
    """Without a word of a VM anywhere it is no VM's message."""
    line = "libusb: error [get_usbfs_fd] libusb couldn't open USB device /dev/bus/usb/001/005, errno=13\n"
    assert said("vm_words", line) == []
    assert [one.kind for one in values("vm_words", "my VM:\n" + line, "vm_message")] == ["node-refused"]


@pytest.mark.skipif(shutil.which("virsh") is None, reason="Debian's libvirt-clients is not installed")
def test_virsh_refuses_what_it_does_not_know() -> None:
    """Its test driver has one domain; another's name is no message that means something."""
    ran = subprocess.run(
        ["virsh", "-c", "test:///default", "start", "hearth"], capture_output=True, text=True, check=False
    )
    assert "error:" in ran.stderr
    assert said("vm_words", typed("virsh start hearth", ran.stderr)) == []


def test_words_of_other_languages() -> None:
    """The VM is the one that the line before names, not the one that has the device (libvirt 9.0 in Russian)."""
    text = """ошибка: Failed to start domain 'hearth'
ошибка: Недопустимая операция: USB-устройство 002:003 используется драйвером QEMU, домен attic
"""
    (message,) = values("vm_words", text, "vm_message")
    assert (message.vm, message.kind, message.data["domain"]) == ("hearth", "libvirt-in-use", "attic")
    bare = typed("virsh start hearth", "Konnte USB Einheit Bus:1 Einheit:5 nicht finden")
    (message,) = values("vm_words", bare, "vm_message")
    assert (message.vm, message.kind) == ("hearth", "libvirt-not-found")
