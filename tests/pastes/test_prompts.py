"""Commands behind the prompts of shells, and sentences that are none."""

from __future__ import annotations

import pytest

from radiocheck.pastes.line import command


@pytest.mark.parametrize(
    "text",
    [
        "$ lsusb -t",
        "mira@gable:~$ lsusb -t",
        "[mira@gable ~]$ lsusb -t",
        "root@gable:/home/mira# lsusb -t",
        "gable ~ # lsusb -t",
        "guest $ lsusb -t",
        "host# lsusb -t",
        "vm1 # lsusb -t",
        "~ >>> sudo lsusb -t",
        "~/src >>> lsusb -t",
        "\u279c  ~ lsusb -t",
        "\u279c  src git:(main) \u2717 lsusb -t",
        "\u276f lsusb -t",
        "/ # lsusb -t",
    ],
)
def test_a_prompt(text: str) -> None:
    """The command is what stands behind it, without what makes it root's."""
    assert command(text) == "lsusb -t"


@pytest.mark.parametrize(
    "text",
    [
        "it cost about 20 $ for the cable",
        "see /etc/udev/rules.d # that is where it is",
        ">>> import serial",
        "the guest has 4 % of it",
        "the client and the server",
    ],
)
def test_a_sentence(text: str) -> None:
    """Prose, and another interpreter's prompt, are no commands."""
    assert command(text) is None
