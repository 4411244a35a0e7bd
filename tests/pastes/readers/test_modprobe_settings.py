"""Lines of modprobe.d(5) in a paste."""

from __future__ import annotations

import pytest

from .said import typed, values

FILE = "/etc/modprobe.d/99-local.conf"


def blocked(text: str) -> list[tuple[str, str]]:
    """Modules that are kept out, and why."""
    return [(one["name"], one["blocked_by"]) for one in values("modprobe_settings", text, "module")]


SHOWN = {
    "found": typed("grep -rn usb /etc/modprobe.d/", f"{FILE}:1:# blacklist usblp\n{FILE}:2:blacklist snd-usb-audio\n"),
    "found without numbers": typed("grep -r usb /etc/modprobe.d/", f"{FILE}:blacklist  snd-usb-audio\n"),
    "indented": f"    {FILE}:2:blacklist snd-usb-audio\n",
    "shown": typed(f"cat {FILE}", "# card 0\nblacklist snd-usb-audio # mic\n"),
    "below its name": f"{FILE}:\nblacklist snd-usb-audio\n",
}


@pytest.mark.parametrize("text", SHOWN.values(), ids=SHOWN)
def test_a_module_that_is_kept_out(text: str) -> None:
    """With the file and the line; hyphens are underscores."""
    assert blocked(text) == [("snd_usb_audio", f"{FILE}: blacklist snd-usb-audio")]


def test_other_ways_to_keep_it_out() -> None:
    """A command in its place that does nothing, and the kernel's command line."""
    assert blocked(typed(f"cat {FILE}", "install cp210x /bin/false\n")) == [
        ("cp210x", f"{FILE}: install cp210x /bin/false")
    ]
    line = "BOOT_IMAGE=/vmlinuz root=/dev/sda1 modprobe.blacklist=cp210x,ftdi_sio quiet\n"
    reason = "/proc/cmdline: modprobe.blacklist=cp210x,ftdi_sio"
    assert blocked(typed("cat /proc/cmdline", line)) == [("cp210x", reason), ("ftdi_sio", reason)]


@pytest.mark.parametrize(
    "text",
    [
        "blacklist cp210x\n",
        f"write this into {FILE}, then: blacklist cp210x\n",
        typed(f"cat {FILE}", "options snd-usb-audio index=-2\n#blacklist cp210x\n"),
        typed(f"cat {FILE}", "install cp210x /sbin/modprobe --ignore-install cp210x\n"),
        typed(f"cat {FILE}", "") + typed("cat notes", "blacklist cp210x\n"),
    ],
)
def test_what_keeps_nothing_out(text: str) -> None:
    """No file, advice, options, remarks, a command that loads it, another file."""
    assert blocked(text) == []
