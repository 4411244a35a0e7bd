"""Why a channel stands where it does in the order, as codes and values; the words are the report's."""

from __future__ import annotations

from msgspec import Struct

from .channels import BAND, BLE_ADVERTISING, mesh_mhz

CODES: dict[str, str] = {
    "no-network": "no Wi-Fi network is in the survey",
    "between": "its centre lies outside the widths of all networks; value: to the nearest centre, MHz",
    "inside": "its centre lies within the width of this network; value: to its centre, MHz",
    "below-noise": "the loudest network in its filter is weaker than the noise; value: by how much, dB",
    "above-noise": "the loudest network in its filter is stronger than the noise; value: by how much, dB",
    "taken": "a sender finds it taken for a share of the time; value: share",
    "lossy": "frames are lost, before any retry; value: share",
    "too-weak": "the wanted signal is too weak for the noise alone; value: what it lacks, dB",
    "beacons": "Bluetooth LE devices advertise in its filter; value: to their centre, MHz",
    "band-edge": "so near the band's edge that transmitters may have to lower their power there; value: MHz to it",
}
ADVERTISING_MHZ = 2.0  # half of both filters: a Bluetooth LE channel is 2 MHz wide, and so is the receiver
NEAR_EDGE_MHZ = 5.0  # channel 26 alone: IEEE Std 802.15.4-2006 §F.2.3 and Table F.3
WORTH_SAYING = 0.01  # a share below it is not told


class Reason(Struct, frozen=True):
    """One reason: a code of `CODES`, its value in `unit`, and the network it is about, if any."""

    code: str
    value: float | None = None
    unit: str = ""
    name: str = ""


def of_place(channel: int) -> list[Reason]:
    """What holds of a channel whatever the survey says."""
    centre = mesh_mhz(channel)
    found = [
        Reason("beacons", abs(centre - one), "MHz") for one in BLE_ADVERTISING if abs(centre - one) < ADVERTISING_MHZ
    ]
    if BAND[1] - centre < NEAR_EDGE_MHZ:
        found.append(Reason("band-edge", BAND[1] - centre, "MHz"))
    return found


def of_networks(
    offsets: list[tuple[float, float, str]], loudest_dbm: float | None, loudest: str, noise_dbm: float
) -> list[Reason]:
    """Where the networks lie.  `offsets`: MHz from centre to centre, half the flat width in MHz, and name of each."""
    if not offsets or loudest_dbm is None:
        return [Reason("no-network")]
    offset, half, name = min(offsets, key=lambda one: abs(one[0]) - one[1])
    code = "between" if abs(offset) > half else "inside"
    above = loudest_dbm - noise_dbm
    return [
        Reason(code, abs(offset), "MHz", name),
        Reason("above-noise" if above > 0 else "below-noise", abs(above), "dB", loudest),
    ]


def of_figures(busy: float, frame_errors: float, lacking_db: float) -> list[Reason]:
    """What it comes to: shares from 0 to 1, and the dB that the wanted signal lacks in quiet air."""
    found = []
    if lacking_db > 0:
        found.append(Reason("too-weak", lacking_db, "dB"))
    if busy >= WORTH_SAYING:
        found.append(Reason("taken", busy, "share"))
    if frame_errors >= WORTH_SAYING:
        found.append(Reason("lossy", frame_errors, "share"))
    return found
