"""A VM's log beside its host's."""

from __future__ import annotations

from radiocheck.evidence.serial import IN_GUEST
from radiocheck.pastes.merge import read

HOST = (
    "root@gable:~# virsh list\nroot@gable:~# dmesg\n"
    "[ 100.0] usb 3-9: reset full-speed USB device number 7 using xhci_hcd\n"
)
GUEST = "In the VM:\n[ 50.0] usb 2-1: USB disconnect, device number 2\n"


def events(text: str) -> list[tuple[str | None, str]]:
    """Places and kinds of the log that a paste makes."""
    log = read(text.encode()).evidence.kernel_log
    return [(event.device, event.kind) for event in log.events] if log else []


def test_a_departure_in_the_vm_is_none_of_the_host() -> None:
    """What a VM sees go is no unplug where its host's log is there, too."""
    assert events(GUEST + HOST) == [("3-9", "reset")]


def test_a_vms_log_alone_is_kept() -> None:
    """Without the host's log the VM's is all there is."""
    assert events(GUEST) == [("2-1", "disconnect")]


def test_what_a_vm_cannot_set_up_and_its_host_has() -> None:
    """The VM's errors are no trouble of the host's bus; they are told as what the VM's kernel says."""
    error = "[ 51.0] usb 2-2: device descriptor read/64, error -71\n"
    text = GUEST + error + HOST
    assert events(text) == [("3-9", "reset")]
    told = read(text.encode()).evidence.app_messages
    assert told
    assert [(one.kind, one.text) for one in told] == [(IN_GUEST, error[8:].strip())]


def test_what_neither_can_set_up() -> None:
    """With the same errors on the host they are trouble of the path."""
    error = "[ 51.0] usb 2-2: device descriptor read/64, error -71\n"
    host = HOST.replace("reset full-speed USB device number 7 using xhci_hcd", "device descriptor read/64, error -71")
    assert ("2-2", "descriptor-error") in events(GUEST + error + host)
