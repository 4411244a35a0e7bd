"""Wi-Fi networks of the 2.4 GHz band that this machine has heard already.

Only what a scan of somebody else has left is read; none is started, since a scan takes
the radio off its channel.  What is left is never the whole: the kernel forgets a network
after 30 s (Linux net/wireless/scan.c, IEEE80211_SCAN_RESULT_EXPIRE; from memory), and an
interface that is connected may not have looked at other channels.  So the list is what
was heard at least, and an empty one is not told from one that nobody made.

Formats: iw's scan.c and util.c by the strings in the program (5.19) and from memory,
nmcli(1) of NetworkManager 1.42.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from radiocheck.evidence.air import WifiNetwork
from radiocheck.evidence.record import Gap

from .machine import Machine, Ran, Seen, ToolHung, ToolMissing, decoded

NET = "/sys/class/net"
NETWORK_MANAGER = "/run/NetworkManager"  # its folder of run-time state
LIMIT_S = 3.0  # for one program: both answer from memory
MOST = 1000  # networks
MOST_INTERFACES = 8
BAND_MHZ = (2400.0, 2500.0)
PROVIDE = "give a survey with `radiocheck air --site FILE`"

_INTERFACE = re.compile(r"[^\s/]{1,15}")  # IFNAMSIZ, include/uapi/linux/if.h
_BSS = re.compile(r"BSS ([0-9a-f]{2}(?::[0-9a-f]{2}){5})\b")
_ESCAPE = re.compile(rb"\\x([0-9a-f]{2})")
_OFDM_RATES = re.compile(r"\b(?:6|9|12|18|24|36|48|54)\.0\b")
_ORDER = ("b", "g", "n", "ax")


def collect(machine: Machine) -> Seen:
    """`wifi`: the networks that were heard; absent when there are none, which proves nothing."""
    try:
        interfaces = wireless(machine)
    except OSError as error:
        return _absent("failed", error.strerror or type(error).__name__)
    if not interfaces:  # a wired machine runs no program for this
        return _absent("not-here", "this machine has no Wi-Fi interface")
    reasons: list[tuple[str, str]] = []
    heard = _by_iw(machine, interfaces, reasons)
    if not heard and machine.exists(NETWORK_MANAGER):  # else asking could start it
        heard = _by_nmcli(machine, reasons)
    if heard:
        return Seen({"wifi": heard})
    told = next((one for one in reasons if one[0] != "not-here"), None)
    why, detail = told or ("not-here", "no scan has left a network of the 2.4 GHz band")
    return _absent(why, detail)


def wireless(machine: Machine) -> list[str]:
    """Names of the Wi-Fi interfaces (Documentation/ABI/testing/sysfs-class-net: `phy80211`, older: `wireless`)."""
    names = [name for name in machine.names(NET) if _INTERFACE.fullmatch(name) and not name.startswith("-")]
    return [
        name for name in names if machine.exists(f"{NET}/{name}/phy80211") or machine.exists(f"{NET}/{name}/wireless")
    ][:MOST_INTERFACES]


def _absent(why: str, detail: str) -> Seen:
    return Seen({}, (Gap(what="wifi.heard", why=why, detail=detail[:200], provide=PROVIDE),))


def _by_iw(machine: Machine, interfaces: list[str], reasons: list[tuple[str, str]]) -> list[WifiNetwork]:
    heard: list[WifiNetwork] = []
    for interface in interfaces:
        ran = _run(machine, ["iw", "dev", interface, "scan", "dump"], reasons)
        if ran is None:
            break
        heard += scan_dump(ran.out)
    return _each_once(heard)


def _by_nmcli(machine: Machine, reasons: list[tuple[str, str]]) -> list[WifiNetwork]:
    argv = ["nmcli", "-t", "-f", "SSID-HEX,BSSID,FREQ,SIGNAL", "device", "wifi", "list", "--rescan", "no"]
    ran = _run(machine, argv, reasons)
    return _each_once(list(terse(ran.out))) if ran is not None else []


def _run(machine: Machine, argv: list[str], reasons: list[tuple[str, str]]) -> Ran | None:
    """The program's answer; None when the next interface would fare no better."""
    try:
        ran = machine.run(argv, limit=LIMIT_S)
    except ToolMissing:
        reasons.append(("no-tool", f"{argv[0]} is not installed"))
        return None
    except ToolHung:
        reasons.append(("timed-out", f"{argv[0]} did not answer within {LIMIT_S:g} s"))
        return None
    if ran.code:
        said = next((line.strip() for line in ran.err.splitlines() if line.strip()), f"status {ran.code}")
        denied = "not permitted" in said or "denied" in said
        reasons.append(("denied" if denied else "failed", f"{argv[0]}: {said}"))
    return ran


def _each_once(heard: list[WifiNetwork]) -> list[WifiNetwork]:
    """One entry per access point, the loudest; loudest first, and no more than `MOST`."""
    heard = sorted(heard, key=lambda one: -_level(one))
    found: dict[Any, WifiNetwork] = {}
    for place, one in enumerate(heard):
        found.setdefault(one.bssid if isinstance(one.bssid, str) else place, one)
    return list(found.values())[:MOST]


def _level(one: WifiNetwork) -> float:
    return one.level_dbm if isinstance(one.level_dbm, float) else -200.0


# --- iw


def scan_dump(text: str) -> list[WifiNetwork]:
    """The networks of the band in what `iw dev IF scan dump` prints: blocks that begin with `BSS `."""
    found: list[WifiNetwork] = []
    block: list[str] = []
    bssid = ""
    for line in [*text.split("\n"), "BSS 00:00:00:00:00:00"]:
        start = _BSS.match(line)
        if start is None:
            block.append(line)
            continue
        network = _network(bssid, block) if bssid else None
        if network is not None:
            found.append(network)
        bssid, block = start[1], []
    return found


def _network(bssid: str, block: list[str]) -> WifiNetwork | None:
    facts: dict[str, Any] = {"bssid": bssid}
    width: int | None = None
    side = 0.0
    for name, value, deep in _lines(block):
        number = _number(value)
        if deep:  # below an element: `* channel utilisation: 45/255`
            if name == "channel utilisation" and number is not None and value.endswith("/255") and 0 <= number <= 255:
                facts["busy"] = round(number / 255.0, 4)
            elif name == "secondary channel offset":
                side = {"above": 10.0, "below": -10.0}.get(value, 0.0)
                width = width or 20
            elif name == "STA channel width":
                width = 40 if value == "any" else 20
        elif name == "freq" and number is not None:
            facts["freq_mhz"] = number
        elif name == "signal" and number is not None and value.endswith("dBm") and -150 <= number <= 50:
            facts["level_dbm"] = number
        elif name == "last seen" and number is not None and value.endswith("ms ago"):
            facts["age_s"] = round(number / 1e3, 3)
        elif name == "SSID":
            facts.setdefault("ssid", _ssid(_unescaped(value)))
        else:
            _offers(facts, name, value)
    if not _in_band(facts.get("freq_mhz")):
        return None
    if width is not None and side == 0.0:
        width = 20
    network = WifiNetwork(**facts, channel=_channel(facts["freq_mhz"]))
    if width is None:
        return network if "standard" not in facts else replace(network, width_mhz=20, centre_mhz=network.freq_mhz)
    return replace(network, width_mhz=width, centre_mhz=network.freq_mhz + (side if width == 40 else 0.0))


def _lines(block: list[str]) -> Iterator[tuple[str, str, bool]]:
    """Name, value, and whether it lies below an element, of each line that is told by its form."""
    for line in block:
        name, colon, value = line.partition(":")
        if not colon or not name.startswith("\t"):
            continue
        deep = name.startswith("\t\t * ")
        if deep or not name.startswith("\t\t"):
            # An SSID keeps its blanks: iw writes those at its ends as \x20.
            yield name.strip("\t *"), value.removeprefix(" ").rstrip("\r") if not deep else value.strip(), deep


def _offers(facts: dict[str, Any], name: str, value: str) -> None:
    """The newest standard that the elements of a beacon show."""
    told = None
    if name == "HE capabilities":
        told = "ax"
    elif name in ("HT capabilities", "HT operation"):
        told = "n"
    elif name in ("ERP", "Extended supported rates") or (name == "Supported rates" and _OFDM_RATES.search(value)):
        told = "g"
    elif name == "Supported rates":
        told = "b"
    if told is not None:
        facts["standard"] = max(told, facts.get("standard", "b"), key=_ORDER.index)


def _unescaped(text: str) -> bytes:
    """iw writes octets that are not printable as `\\xNN`, a backslash too (util.c, print_ssid_escaped)."""
    return _ESCAPE.sub(lambda match: bytes([int(match[1], 16)]), text.encode("utf-8", "replace"))


def _number(text: str) -> float | None:
    match = re.match(r"-?\d{1,9}(?:\.\d{1,6})?(?![\d.])", text)
    return float(match[0]) if match else None


# --- nmcli


def terse(text: str) -> Iterator[WifiNetwork]:
    """The networks of the band in `nmcli -t`: fields split by colons, those inside a field behind a backslash."""
    for line in text.split("\n"):
        fields = [re.sub(r"\\(.)", r"\1", field) for field in re.split(r"(?<!\\):", line)]
        if len(fields) != 4:
            continue
        octets, bssid, freq, quality = fields
        mhz, share = _number(freq), _number(quality)
        if not _in_band(mhz) or not re.fullmatch(r"(?:[0-9A-F]{2}){0,32}", octets):
            continue
        assert mhz is not None
        facts: dict[str, Any] = {}
        if re.fullmatch(r"[0-9A-F]{2}(?::[0-9A-F]{2}){5}", bssid):
            facts["bssid"] = bssid.lower()
        if share is not None and 0 <= share <= 100:
            # NetworkManager's nm_wifi_utils_level_to_quality(), from memory: -100 dBm is 0, -40 dBm 100
            facts |= {"level_dbm": round(-100.0 + 0.6 * share, 1), "level_reckoned": True}
        yield WifiNetwork(ssid=_ssid(bytes.fromhex(octets)), freq_mhz=mhz, channel=_channel(mhz), **facts)


# --- both


def _ssid(octets: bytes) -> str | None:
    """Hidden networks send none, or zeros of its length."""
    plain = octets[:32].replace(b"\0", b"")
    return decoded(plain.decode("utf-8", "replace")) if plain else None


def _in_band(mhz: float | None) -> bool:
    return mhz is not None and BAND_MHZ[0] <= mhz <= BAND_MHZ[1]


def _channel(mhz: float) -> int | None:
    """IEEE 802.11 numbers channels 1 to 13 from 2412 MHz in steps of 5, 14 is at 2484 MHz."""
    if mhz == 2484.0:
        return 14
    number = (mhz - 2407.0) / 5.0
    return int(number) if number == int(number) and 1 <= number <= 13 else None
