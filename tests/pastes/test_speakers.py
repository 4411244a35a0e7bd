"""Whose output a line is."""

from __future__ import annotations

import pytest

from radiocheck.pastes.line import lines
from radiocheck.pastes.speakers import machines, speakers


@pytest.mark.parametrize(
    ("text", "who"),
    [
        ("x\n", [None, None]),
        ("mira@gable:~$ lsusb\nx", ["@gable", "@gable"]),
        ("[mira@gable ~]$ lsusb\nx", ["@gable", "@gable"]),
        ("[hearth ~]$ lsusb\nx", ["@hearth", "@hearth"]),
        ("[hearth ~]$ lsusb\nroot@gable:~# virsh dumpxml hearth", ["guest", "host"]),
        ("In the VM:\n$ lsusb\nOn the host:\n$ lsusb", ["guest", "guest", "host", "host"]),
        ("No hospedeiro:\nx", ["host", "host"]),
        ("На хосте:\nx", ["host", "host"]),
        ("$ virsh list\nx", ["host", "host"]),
        ("host$ lsusb\nguest$ lsusb\nvm# dmesg\nx", ["host", "guest", "guest", "guest"]),
        (
            "[hote ~]# virsh list\n Id   Nom       État\n 2    attic    en cours d'exécution\njp@attic:~$ id",
            ["host", "host", "host", "guest"],
        ),
        ("$ virsh list\n 2    attic    running\njp@gable:~$ id", ["host", "host", "@gable"]),
        ("The guest shows nothing at all.\nx", [None, None]),
    ],
)
def test_by_prompt_and_heading(text: str, who: list[str | None]) -> None:
    """A prompt's host, a heading of its own, and what virsh calls a domain; prose tells nothing."""
    assert speakers(lines(text.encode())) == who


@pytest.mark.parametrize(
    ("text", "who"),
    [
        ("and host dmesg at that time", "host"),
        ("Host dmesg while that happens:", "host"),
        ("host, /var/log/libvirt/qemu/shack.log", "host"),
        ("En el anfitrión (Fedora 36):", "host"),
        ("guest dmesg:", "guest"),
        ("in the VM (Debian 12)", "guest"),
        ("host sees it, guest doesn't. permissions are not it", None),
        ("host, not the guest, has the driver for it loaded", None),
        ("The host log shows nothing. I looked twice.", None),
        ("guest kernel has the driver. What else?", None),
    ],
)
def test_headings_that_go_on(text: str, who: str | None) -> None:
    """A heading may say what is shown, where it stands and when; a sentence about a machine is none."""
    assert speakers(lines(text.encode())) == [who]


def test_a_device_that_only_qemu_makes() -> None:
    """The machine whose list has it is the VM; what stands at the prompt of another name is not."""
    text = "[m@scale ~]$ lsusb\nBus 001 Device 002: ID 0627:0001 QEMU Tablet\n[m@gable ~]$ lsusb\nx"
    assert machines(lines(text.encode())) == ["guest", "guest", "@gable", "@gable"]
