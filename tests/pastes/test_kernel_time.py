"""Stamps of logs: util-linux 2.38 dmesg, systemd 252 journalctl, rsyslog, busybox; months as glibc 2.36 writes them."""

from __future__ import annotations

import gettext
import subprocess
from pathlib import Path

import pytest

from radiocheck.pastes.kernel_time import short, since, stamp
from tests.pastes.languages import LOCALES

DAY = 86_400.0
NOON = 329 * DAY + 12 * 3600  # 25 November of a leap year


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("[   12.345678] ", ("uptime", 12.345678)),
        ("[ 2287.511440 <  761.375253>] ", ("uptime", 2287.51144)),
        ("<6>[   12.345678] ", ("uptime", 12.345678)),
        ("[   12.345678][    T1] ", ("uptime", 12.345678)),
        ("kern  :info  : [   12.345678] ", ("uptime", 12.345678)),
        ("Nov 25 12:00:00 gable kernel: [   12.345678] ", ("uptime", 12.345678)),
        ("[   12.345678] gable kernel: ", ("uptime", 12.345678)),
        ("2026-11-25T12:00:00,500000+00:00 ", ("date", 1795608000.5)),
        ("kern  :info  : 2026-11-25T12:00:00,500000+00:00 ", ("date", 1795608000.5)),
        ("2026-11-25T12:00:00+0000 gable kernel: ", ("date", 1795608000.0)),
        ("2026-11-25T13:00:00+0100 gable kernel: ", ("date", 1795608000.0)),
        ("2026-11-25T12:00:00.123456+00:00 gable kernel: ", ("date", 1795608000.123456)),
        ("Wed 2026-11-25 12:00:00 UTC gable kernel: ", ("date", 1795608000.0)),
        ("1795608000.123456 gable kernel: ", ("date", 1795608000.123456)),
        ("Wed 2026-11-25 12:00:00 CET gable kernel: ", ("day", NOON)),
        ("2026-11-25 12:00:00 ", ("day", NOON)),
        ("[Wed Nov 25 12:00:00 2026] ", ("day", NOON)),
        ("kern  :info  : [Wed Nov 25 12:00:00 2026] ", ("day", NOON)),
        ("Nov 25 12:00:00 gable kernel: ", ("day", NOON)),
        ("Nov 25 12:00:00.123456 gable kernel: ", ("day", NOON)),
        ("Wed Nov 25 12:00:00 2026 kern.info kernel: ", ("day", NOON)),
        ("Nov 25 12:00:00 gable kern.info kernel: ", ("day", NOON)),
        ("mar. nov. 25 12:00:00 gable kernel: ", ("day", NOON)),  # French: mardi
        ("mar nov 25 12:00:00 ", ("day", NOON)),  # Spanish and Italian: martes, martedì
        ("/var/log/kern.log:Nov 25 12:00:00 gable kernel: ", ("day", NOON)),
    ],
)
def test_stamps(head: str, expected: tuple[str, float]) -> None:
    """Uptime before all, a date where its zone is told, else the day and the time of it."""
    found = stamp(head)
    assert found is not None
    assert found[0] == expected[0]
    assert found[1] == pytest.approx(expected[1], abs=1e-3)


@pytest.mark.parametrize(
    "head", ["", "usb 1-2: ", "12:00:00 ", "Nov 25 ", "foo 25 12:00:00", "2026-13-45T99:00:00Z ", "Feb 31 12:00:00 "]
)
def test_no_stamp(head: str) -> None:
    """No clock, no day, or none that exists."""
    assert stamp(head) is None


def test_minutes_of_dmesg_for_people() -> None:
    """dmesg -H: `[Nov25 12:00]` at a new minute, `[  +0.000004]` since the line before (util-linux 2.38, seen)."""
    assert short("[Nov25 12:00] usb") == ("day", NOON)
    assert since("[  +0.000004] usb") == 0.000004
    assert short("[foo25 12:00]") is None
    assert since("[ 1.0]") is None


@pytest.mark.parametrize("name", LOCALES)
def test_months_of_all_languages(locales: Path, name: str) -> None:
    """`date +%b` of every month, where journalctl and syslog put it: the same day of the year as in English."""
    env = {"LC_ALL": f"{name}.UTF-8", "LOCPATH": str(locales)}
    for month in range(1, 13):
        argv = ["date", "-d", f"2024-{month:02}-05", "+%b %d %H:%M:%S"]
        local = subprocess.run(argv, env=env, capture_output=True, text=True, check=True).stdout.strip()
        english = subprocess.run(argv, env={"LC_ALL": "C"}, capture_output=True, text=True, check=True).stdout.strip()
        assert stamp(f"{local} gable kernel: ") == stamp(f"{english} gable kernel: "), local


def test_the_languages_are_installed() -> None:
    """The test above compares with something: a translated name differs from the English one."""
    if not Path("/usr/share/locale/de/LC_MESSAGES/libc.mo").exists():
        pytest.skip("translations are absent (Debian package libc-l10n)")
    assert gettext.translation("libc", "/usr/share/locale", ["de"]).gettext("Permission denied") == "Keine Berechtigung"
