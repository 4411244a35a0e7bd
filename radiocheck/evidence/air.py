"""What the machine's own Wi-Fi has heard of the 2.4 GHz band, and what a person has measured there."""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType


class WifiNetwork(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One access point of the 2.4 GHz band, as a scan that somebody else made has left it."""

    ssid: str | UnsetType | None = UNSET  # as it was sent, octets decoded as UTF-8; null: hidden
    bssid: str | UnsetType = UNSET  # its MAC address
    freq_mhz: float  # centre of its primary channel of 20 MHz
    centre_mhz: float | UnsetType = UNSET  # centre of its whole width
    channel: int | UnsetType | None = UNSET  # number of the primary channel; null: freq_mhz is on none
    width_mhz: int | UnsetType = UNSET  # 20, 40
    level_dbm: float | UnsetType = UNSET  # received
    level_reckoned: bool = False  # from a quality in per cent, which ends at -100 and -40 dBm
    standard: str | UnsetType = UNSET  # b, g, n, ax: the newest that it offers
    busy: float | UnsetType = UNSET  # share of air time that it finds taken, 0 to 1: its BSS load element
    age_s: float | UnsetType = UNSET  # since it was last heard


class AirReading(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A measurement of the adapter's own radio that somebody pasted; in a list the oldest first."""

    kind: str  # energy: of channels; loss: of frames to a device
    transfer: str | None = None  # what a USB disk did meanwhile: busy, idle; null: not told
    setup: str = "same"  # nearer: the other device was moved near; changed: cables or sockets were
    unit: str | None = None  # of levels: dBm; percent; steps, of 255
    channels: list[int] = []  # of IEEE 802.15.4 in the 2.4 GHz band, 11 to 26
    levels: list[float] = []  # one for each of these
    sent: int = 0
    received: int = 0
    text: str
