"""A VM's log beside its host's."""

from __future__ import annotations

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


def test_what_a_vm_cannot_enumerate_is_kept() -> None:
    """Errors in the VM are trouble of the path, whatever the host says."""
    error = "[ 51.0] usb 2-2: device descriptor read/64, error -71\n"
    assert ("2-2", "descriptor-error") in events(GUEST + error + HOST)
