"""Wi-Fi networks that were heard already: no scan is started, and nothing is run without an interface.

`iw dev IF scan dump` is written here by iw's scan.c and util.c, whose strings were read in
the program of Debian 12 (iw 5.19) and whose order is from memory: no Wi-Fi was at hand.
`nmcli -t` by nmcli(1) and NetworkManager 1.42's field names.
"""

# ruff: noqa: E101 (iw's own lines begin with tabs)

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.air import WifiNetwork
from radiocheck.evidence.record import FORMAT, Evidence, Taken
from radiocheck.evidence.store import load, save
from radiocheck.sources.machine import Machine, Ran, Seen, ToolHung, ToolMissing
from radiocheck.sources.wifi import MOST, collect, scan_dump, terse

DUMP = r"""BSS 02:00:5e:10:00:01(on wlan0) -- associated
	last seen: 8821.331s [boottime]
	TSF: 913224301 usec (0d, 00:15:13)
	freq: 2437
	beacon interval: 100 TUs
	capability: ESS Privacy ShortSlotTime (0x0411)
	signal: -47.00 dBm
	last seen: 128 ms ago
	Information elements from Probe Response frame:
	SSID: gable
	Supported rates: 1.0* 2.0* 5.5* 11.0* 18.0 24.0 36.0 54.0 
	DS Parameter set: channel 6
	ERP: <no flags>
	Extended supported rates: 6.0 9.0 12.0 48.0 
	HT capabilities:
		Capabilities: 0x19ef
			HT20/HT40
	HT operation:
		 * primary channel: 6
		 * secondary channel offset: above
		 * STA channel width: any
	BSS Load:
		 * station count: 4
		 * channel utilisation: 102/255
		 * available admission capacity: 0 [*32us]
	HE capabilities:
		HE MAC Capabilities (0x000801185018):
BSS 02:00:5e:10:00:02(on wlan0)
	freq: 2412
	signal: -81.00 dBm
	last seen: 4000 ms ago
	SSID: \x1b[31mfree \x5c\xc3\xa4
	Supported rates: 1.0* 2.0* 5.5* 11.0* 
	DS Parameter set: channel 1
BSS 02:00:5e:10:00:03(on wlan0)
	freq: 2462.0
	signal: -66.50 dBm
	last seen: 20 ms ago
	SSID: \x00\x00\x00
	Supported rates: 1.0* 2.0* 6.0 9.0 12.0 
BSS 02:00:5e:10:00:04(on wlan0)
	freq: 5180
	signal: -40.00 dBm
	SSID: gable
	HT capabilities:
"""  # noqa: W291 (iw ends rates with a blank)

TERSE = r"""6761626C65:02\:00\:5E\:10\:00\:01:2437 MHz:88
:02\:00\:5E\:10\:00\:03:2462 MHz:40
6761626C65:02\:00\:5E\:10\:00\:04:5180 MHz:100
"""


def machine(root: Path, run: Callable[..., Ran], *, wireless: bool = True) -> Machine:
    """A machine with a wired and, if asked, a Wi-Fi interface."""
    (root / "sys/class/net/eth0").mkdir(parents=True)
    if wireless:
        (root / "sys/class/net/wlan0/phy80211").mkdir(parents=True)
    return Machine(root=str(root), run=run)


def programs(**answers: Ran | Exception) -> Callable[..., Ran]:
    """A runner that knows some programs, and refuses whatever would scan."""

    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        assert argv[0] != "iw" or list(argv[-2:]) == ["scan", "dump"]
        assert argv[0] != "nmcli" or list(argv[-2:]) == ["--rescan", "no"]
        answer = answers.get(argv[0], ToolMissing(argv[0]))
        if isinstance(answer, Exception):
            raise answer
        return answer

    return run


def gap(seen: Seen) -> tuple[str, str]:
    """Reason and words of the one gap of a source that saw nothing."""
    assert "wifi" not in seen.facts
    (one,) = seen.gaps
    assert "radiocheck air --site" in one.provide
    return one.why, one.detail


def test_what_iw_prints() -> None:
    """Frequency, level, age, width, load and the newest standard of each network; other bands are left out."""
    gable, old, hidden = scan_dump(DUMP)
    assert gable == WifiNetwork(
        ssid="gable", bssid="02:00:5e:10:00:01", freq_mhz=2437.0, centre_mhz=2447.0, channel=6, width_mhz=40,
        level_dbm=-47.0, standard="ax", busy=0.4, age_s=0.128,
    )  # fmt: skip
    assert (old.standard, old.channel, old.width_mhz, old.busy) == ("b", 1, 20, UNSET)
    assert (hidden.ssid, hidden.standard, hidden.freq_mhz, hidden.level_dbm) == (None, "g", 2462.0, -66.5)


def test_a_name_is_kept_as_it_was_sent() -> None:
    """iw escapes octets and backslashes; here they are what they were, and a capture of them can be saved."""
    old = scan_dump(DUMP)[1]
    assert old.ssid == "\x1b[31mfree \\ä"
    evidence = Evidence(radiocheck_evidence=FORMAT, taken=Taken(at=0.0, tool="0"), wifi=[old])
    saved = save(evidence)
    assert b"\x1b" not in saved
    assert load(saved, "again") == evidence


def test_a_name_cannot_play_a_field() -> None:
    """An SSID with colons, marks of elements or a word of iw's changes no other field."""
    evil = DUMP.replace("SSID: gable", "SSID: signal: -1.00 dBm freq: 2484 * channel utilisation: 255/255", 1)
    assert (scan_dump(evil)[0].level_dbm, scan_dump(evil)[0].freq_mhz, scan_dump(evil)[0].busy) == (-47.0, 2437.0, 0.4)


def test_what_nmcli_prints() -> None:
    """Terse fields: colons behind backslashes, names as octets, quality between -100 and -40 dBm."""
    gable, hidden = terse(TERSE)
    assert (gable.ssid, gable.bssid, gable.channel) == ("gable", "02:00:5e:10:00:01", 6)
    assert (gable.level_dbm, gable.level_reckoned, gable.width_mhz) == (-47.2, True, UNSET)
    assert (hidden.ssid, hidden.channel) == (None, 11)


def test_a_wired_machine_runs_nothing(tmp_path: Path) -> None:
    """Without a Wi-Fi interface no program is started: `check` is not slowed."""

    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        raise AssertionError(argv)

    assert gap(collect(machine(tmp_path, run, wireless=False))) == (
        "not-here",
        "this machine has no Wi-Fi interface",
    )


def test_iw_first_then_nmcli(tmp_path: Path) -> None:
    """nmcli is asked only when iw tells nothing, and only where NetworkManager is at work."""
    both = machine(tmp_path, programs(iw=Ran(0, DUMP, ""), nmcli=Ran(0, TERSE, "")))
    assert [one.level_dbm for one in collect(both).facts["wifi"]] == [-47.0, -66.5, -81.0]
    other = Machine(root=str(tmp_path), run=programs(nmcli=Ran(0, TERSE, "")))
    assert gap(collect(other)) == ("no-tool", "iw is not installed")
    (tmp_path / "run/NetworkManager").mkdir(parents=True)
    assert len(collect(other).facts["wifi"]) == 2


def test_an_empty_answer_proves_nothing(tmp_path: Path) -> None:
    """Nobody may have scanned: the list stays absent instead of empty."""
    assert gap(collect(machine(tmp_path, programs(iw=Ran(0, "", ""))))) == (
        "not-here",
        "no scan has left a network of the 2.4 GHz band",
    )


NO_RIGHT, GONE = "command failed: Operation not permitted (-1)", "command failed: No such device (-19)"


@pytest.mark.parametrize(
    ("answer", "expect"),
    [
        (Ran(255, "", f"{NO_RIGHT}\n"), ("denied", f"iw: {NO_RIGHT}")),
        (Ran(237, "", f"{GONE}\n"), ("failed", f"iw: {GONE}")),
        (ToolHung("iw"), ("timed-out", "iw did not answer within 3 s")),
    ],
)
def test_refusals(tmp_path: Path, answer: Ran | Exception, expect: tuple[str, str]) -> None:
    """What the program says is told."""
    assert gap(collect(machine(tmp_path, programs(iw=answer)))) == expect


def test_one_entry_per_access_point_and_no_more_than_a_bound(tmp_path: Path) -> None:
    """Two interfaces hear the same network; a thousand and more are cut, the loudest kept."""
    (tmp_path / "sys/class/net/wlan1/wireless").mkdir(parents=True)
    assert len(collect(machine(tmp_path, programs(iw=Ran(0, DUMP, "")))).facts["wifi"]) == 3
    many = "".join(
        f"BSS 02:00:5e:11:{n >> 8:02x}:{n & 255:02x}(on wlan0)\n\tfreq: 2437\n\tsignal: -{n % 90}.00 dBm\n"
        for n in range(MOST + 500)
    )
    heard = collect(Machine(root=str(tmp_path), run=programs(iw=Ran(0, many, "")))).facts["wifi"]
    assert len(heard) == MOST
    assert heard[0].level_dbm == 0.0


@given(st.text(max_size=300))
def test_any_text_is_read_without_a_traceback(text: str) -> None:
    """Garbage gives no network, or one whose numbers can be."""
    for heard in (*scan_dump("BSS 02:00:5e:10:00:01(on wlan0)\n\tfreq: 2437\n\t" + text), *terse(text)):
        assert 2400.0 <= heard.freq_mhz <= 2500.0


def test_iw_knows_the_command() -> None:
    """`iw help` of the installed program has `scan dump`; without nl80211 it ends with an error."""
    if shutil.which("iw") is None:
        pytest.skip("iw is not installed")
    told = subprocess.run(["iw", "help"], capture_output=True, text=True, check=False)
    assert "scan dump" in told.stdout + told.stderr
