"""systemctl(1) of systemd 252 as the bench's machine printed it, and lists of processes."""

from __future__ import annotations

import pytest

from radiocheck.evidence.serial import Service

from .said import said, typed, values

STATUS = """● ModemManager.service - Modem Manager
     Loaded: loaded (/lib/systemd/system/ModemManager.service; enabled; preset: enabled)
     Active: active (running) since Wed 2026-11-25 12:00:00 UTC; 1h ago
   Main PID: 700 (ModemManager)
      Tasks: 4 (limit: 2287)
     CGroup: /system.slice/ModemManager.service
             └─700 /usr/sbin/ModemManager --filter-policy=PARANOID

Nov 25 12:00:00 gable ModemManager[700]: <info>  [base-manager] couldn't check support for device
"""


def services(text: str) -> list[Service]:
    """Services."""
    return values("services", text, "service")


def test_a_status() -> None:
    """State, whether it starts at boot, and the policy on its command line."""
    assert services(STATUS) == [
        Service(
            kind="modem-prober", unit="ModemManager.service", active=True, enabled=True, policy="paranoid", tty=None
        )
    ]
    (found,) = services(STATUS.replace("active (running)", "inactive (dead)").replace("; enabled;", "; disabled;"))
    assert (found.active, found.enabled) == (False, False)


def test_several_in_one_answer() -> None:
    """systemctl puts a blank line and a log between them."""
    text = (
        STATUS
        + "\n○ brltty.service - Braille Device Support\n     Loaded: loaded (/lib/x; disabled; preset: enabled)\n"
    )
    text += "     Active: inactive (dead)\n\nUnit gpsd.service could not be found.\n"
    found = [(one.kind, one.active) for one in services(text)]
    assert found == [("modem-prober", True), ("braille", False), ("gps", False)]


@pytest.mark.parametrize(
    ("line", "active"),
    [
        ("ModemManager.service loaded active running Modem Manager", True),
        ("● ModemManager.service  not-found inactive dead ModemManager.service", False),
        ("  ModemManager.service                loaded    inactive dead      Modem Manager", False),
    ],
)
def test_rows_of_a_list(line: str, active: bool) -> None:
    """`systemctl list-units`."""
    assert [(one.unit, one.active) for one in services(line)] == [("ModemManager.service", active)]


@pytest.mark.parametrize(
    ("answer", "active"), [("active", True), ("inactive", False), ("failed", False), ("unknown", False)]
)
def test_a_short_answer(answer: str, active: bool) -> None:
    """`systemctl is-active ModemManager`."""
    assert [(one.unit, one.active) for one in services(typed("systemctl is-active ModemManager", answer))] == [
        ("ModemManager.service", active)
    ]
    assert services(answer) == []


def test_the_tty_of_an_instance() -> None:
    """A console on the adapter's tty, a GPS daemon's helper."""
    (found,) = services("serial-getty@ttyUSB0.service loaded active running Serial Getty on ttyUSB0")
    assert (found.kind, found.tty) == ("serial-console", "ttyUSB0")


@pytest.mark.parametrize(
    ("row", "kind", "tty"),
    [
        ("root   700  0.0  0.1 240000 9000 ?     Ssl  12:00   0:00 /usr/sbin/ModemManager", "modem-prober", None),
        ("  800 ?        Ssl    0:01 /usr/sbin/gpsd -n /dev/ttyUSB0", "gps", "ttyUSB0"),
        ("root   900     1  0 12:00 ?        00:00:00 /bin/brltty --no-daemon", "braille", None),
        ("root  950  1  0 12:00 ttyUSB0  00:00:00 /sbin/agetty 115200 - ttyUSB0", "serial-console", "ttyUSB0"),
    ],
)  # fmt: skip
def test_rows_of_processes(row: str, kind: str, tty: str | None) -> None:
    """procps: `ps aux`, `ps x`, `ps -ef`."""
    (found,) = services(row)
    assert (found.kind, found.active) == (kind, True)
    assert (found.tty or None) == tty


@pytest.mark.parametrize(
    "text",
    ["", "● ssh.service - OpenBSD Secure Shell server\n     Active: active (running)",
     "mira 99 0.0 0.0 1 1 pts/0 S+ 12:00 0:00 grep ModemManager",
     "root 951 1 0 12:00 tty1 00:00:00 /sbin/agetty - tty1", "stop ModemManager and try again", "active"],
)  # fmt: skip
def test_other_lines_are_no_services(text: str) -> None:
    """Other units, a search for it, a console elsewhere, advice."""
    assert said("services", text) == []


def test_drivers_of_a_ups_daemon() -> None:
    """nut-driver@.service of Network UPS Tools 2.8 (from memory): such a driver keeps the device open through usbfs."""
    (found,) = services(STATUS.replace("ModemManager.service - Modem Manager", "nut-driver@ups.service - driver"))
    assert (found.kind, found.unit, found.active, found.tty) == ("ups-driver", "nut-driver@ups.service", True, None)
    (found,) = services("nut  1288 0.0 0.1 6000 2000 ?  Ss  12:00  0:00 /lib/nut/usbhid-ups -a ups")
    assert (found.kind, found.active) == ("ups-driver", True)
