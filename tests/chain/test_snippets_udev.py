"""The real udev reads the rules that are made for it without a complaint, and does what they say."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from radiocheck.chain.snippets import SNIPPETS, make
from radiocheck.chain.snippets_udev import OWN_GROUP
from tests.sources.umock import needs_umockdev, under

from .pasted import adapters

ADAPTERS = adapters()
MADE = {
    (name, who): made.text
    for name in SNIPPETS
    for who in ADAPTERS
    if name.startswith("udev-") and (made := make(name, ADAPTERS[who]))
}
USUAL = {name: text for (name, who), text in MADE.items() if who == "usual"}
STICK = "/sys/bus/usb/devices/1-2.3"  # of the testbed `gable`: 1209:7a01, serial number A1B2C3
TTY = "/sys/class/tty/ttyUSB0"
HUB = "/sys/bus/usb/devices/1-2"  # another device of the same vendor

# A udev of its own view: only our rules after the system's, and an account file with the group that the remedy makes.
SCRIPT = """
set -e
# All of /run, since udev writes its database there.
mount -t tmpfs none /run
mkdir -p /run/udev/rules.d
cp "$RULE" /run/udev/rules.d/70-ours.rules
mount --bind "$GROUPS_FILE" /etc/group
exec udevadm test --action=add "$DEVICE"
"""


def can_unshare() -> bool:
    """Whether a mount namespace can be had here."""
    command = ["unshare", "-rm", "true"]
    return (
        shutil.which("unshare") is not None
        and subprocess.run(command, capture_output=True, check=False).returncode == 0
    )


needs_udev = pytest.mark.skipif(
    shutil.which("udevadm") is None or not can_unshare(),
    reason="udevadm is absent (Debian package udev), or no mount namespace can be had here",
)


def applied(tmp_path: Path, rule: str, device: str) -> tuple[list[str], list[str]]:
    """What udev says of our rule file when the device is added, and the properties that it then has."""
    file, groups = tmp_path / "ours.rules", tmp_path / "group"
    file.write_text(rule + "\n")
    groups.write_text(Path("/etc/group").read_text() + f"{OWN_GROUP}:x:987:\nqemu:x:986:\n")
    environment = {"RULE": str(file), "GROUPS_FILE": str(groups), "DEVICE": device, "SYSTEMD_LOG_LEVEL": "debug"}
    done = under("gable.umockdev", argv=["unshare", "-rm", "sh", "-c", SCRIPT], env=environment)
    assert done.returncode == 0, done.stderr
    said = [line for line in (done.stdout + done.stderr).splitlines() if "70-ours.rules" in line]
    assert any("Reading rules file" in line for line in said), done.stderr
    return [line for line in said if "Reading rules file" not in line], done.stdout.splitlines()


@needs_umockdev
@needs_udev
@pytest.mark.parametrize(
    ("name", "device", "does"),
    [
        ("udev-tty-group", TTY, [r"GROUP 20$", r"MODE 0660$"]),
        ("udev-tty-own-group", TTY, [r"GROUP 987$", r"MODE 0660$"]),
        ("udev-usb-rights", STICK, [r"GROUP 20$", r"MODE 0664$"]),
    ],
)
def test_rights(tmp_path: Path, name: str, device: str, does: list[str]) -> None:
    """The node of that adapter gets the group and the mode; a neighbour of the same vendor does not."""
    said, _ = applied(tmp_path, USUAL[name], device)
    assert len(said) == len(does), said
    assert all(any(re.search(one, line) for line in said) for one in does), said
    assert applied(tmp_path, USUAL[name], HUB)[0] == []


@needs_umockdev
@needs_udev
def test_rights_are_final(tmp_path: Path) -> None:
    """A rule that is read later does not take the group back (udev(7), `:=`)."""
    later = USUAL["udev-tty-group"] + '\nSUBSYSTEM=="tty", GROUP="root", MODE="0600"'
    said, _ = applied(tmp_path, later, TTY)
    assert [re.search(r"(GROUP|MODE) \d+$", line) is not None for line in said].count(True) == 2, said


@needs_umockdev
@needs_udev
@pytest.mark.parametrize("device", [STICK, TTY])
def test_modem_prober(tmp_path: Path, device: str) -> None:
    """The device and its port have the modem service's own tag afterwards, and a neighbour has it not."""
    assert "ID_MM_DEVICE_IGNORE=1" in applied(tmp_path, USUAL["udev-no-modem"], device)[1]
    assert "ID_MM_DEVICE_IGNORE=1" not in applied(tmp_path, USUAL["udev-no-modem"], HUB)[1]


@needs_umockdev
@needs_udev
def test_braille(tmp_path: Path) -> None:
    """What a braille rule had set is taken back."""
    before = 'SUBSYSTEM=="usb", ENV{BRLTTY_BRAILLE_DRIVER}="x", ENV{SYSTEMD_WANTS}="brltty.service"'
    assert "BRLTTY_BRAILLE_DRIVER=x" in applied(tmp_path, before, STICK)[1]
    properties = applied(tmp_path, before + "\n" + USUAL["udev-no-braille"], STICK)[1]
    assert not [line for line in properties if line.startswith(("BRLTTY_BRAILLE_DRIVER=", "SYSTEMD_WANTS="))]


@needs_umockdev
@needs_udev
def test_all_are_read(tmp_path: Path) -> None:
    """All rules for all kinds of adapters in one file: udev has no complaint about any line."""
    texts = [text.replace('"qemu"', '"root"') for text in dict.fromkeys(MADE.values())]  # no account of that name here
    said, _ = applied(tmp_path, "\n".join(texts), HUB)
    assert said == []
    assert applied(tmp_path, 'NONSENSE=="1"', HUB)[0], "a complaint would be seen"


def verify() -> bool:
    """Whether this udevadm can verify rules (systemd 254 and later)."""
    return (
        shutil.which("udevadm") is not None
        and "verify" in subprocess.run(["udevadm", "--help"], capture_output=True, text=True, check=False).stdout
    )


@pytest.mark.skipif(not verify(), reason="udevadm has no `verify` (systemd before 254)")
@pytest.mark.parametrize("text", [text for text in dict.fromkeys(MADE.values()) if OWN_GROUP not in text])
def test_verify(tmp_path: Path, text: str) -> None:
    """`udevadm verify` finds nothing wrong; names of accounts are not looked up."""
    file = tmp_path / "70-ours.rules"
    file.write_text(text + "\n")
    done = subprocess.run(
        ["udevadm", "verify", "--resolve-names=never", "--no-summary", str(file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
