"""Whose output a line is."""

from __future__ import annotations

import pytest

from radiocheck.pastes.line import lines
from radiocheck.pastes.speakers import speakers


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
