"""Access to the channel, collisions and retries: IEEE Std 802.15.4-2006 Tables 85 and 86, §7.5.1.4 and §7.5.6."""

from __future__ import annotations

import math

from msgspec import Struct

MAX_RETRIES = 3  # macMaxFrameRetries, default; 0 to 7
MAX_BACKOFFS = 4  # macMaxCSMABackoffs, default; 0 to 5
ACK_OCTETS = 5  # PSDU of an acknowledgement
ACK_WAIT_US = 864.0  # macAckWaitDuration, 54 symbols
TURNAROUND_US = 192.0  # aTurnaroundTime, 12 symbols: Table 22


class Delivery(Struct, frozen=True):
    """What becomes of a frame that wants an acknowledgement; probabilities 0 to 1."""

    delivered: float  # the sender has its acknowledgement after at most all attempts
    attempts: float  # transmissions per frame, on average
    refused: float  # an attempt that found the channel busy at every look


def access_failure(busy: float, backoffs: int = MAX_BACKOFFS) -> float:
    """Probability that unslotted CSMA-CA gives up, when each look finds the channel busy with probability `busy`.

    Looks are taken as independent, which is an assumption: a long transmission covers several.
    Raises `ValueError` for a share outside 0 to 1 or backoffs outside 0 to 5.
    """
    _probability("busy share", busy)
    if not 0 <= backoffs <= 5:
        raise ValueError(f"{backoffs} backoffs are outside 0 to 5")
    return float(busy ** (backoffs + 1))


def hit_chance(busy: float, frame_us: float, burst_us: float, free_at_start: bool = False) -> float:
    """Probability that a frame of `frame_us` meets a transmitter that is on for the share `busy` of the time.

    Its pauses are exponential, with a mean that fits bursts of `burst_us` to the share; so none
    may be on when the frame starts, and none begin while it lasts.  `free_at_start`: the sender
    looked first and hears that transmitter, so only one that begins counts.
    Raises `ValueError` for a share outside 0 to 1, or times that are not above 0.
    """
    _probability("busy share", busy)
    if not (frame_us > 0 and burst_us > 0):
        raise ValueError(f"a frame of {frame_us} µs and bursts of {burst_us} µs must be above 0")
    if busy == 1.0:
        return 1.0
    begins = -math.expm1(-busy / (1.0 - busy) * frame_us / burst_us)
    return begins if free_at_start else busy + (1.0 - busy) * begins


def delivered(good: float, refused: float = 0.0, retries: int = MAX_RETRIES) -> float:
    """Share of frames that are acknowledged, of which an attempt on the air succeeds with probability `good`.

    An attempt finds no free channel with probability `refused`, and that ends the frame.
    """
    again = (1.0 - refused) * (1.0 - good)
    tries = 1.0
    for _ in range(retries):
        tries = 1.0 + again * tries
    return min((1.0 - refused) * good * tries, 1.0)


def delivery(
    frame_errors: float,
    ack_errors: float = 0.0,
    busy: float = 0.0,
    retries: int = MAX_RETRIES,
    backoffs: int = MAX_BACKOFFS,
) -> Delivery:
    """A frame with acknowledgement, `1 + retries` attempts at most (0 to 7 retries); attempts are independent.

    A channel access failure ends the frame at once (§7.5.1.4), a missing acknowledgement leads to the next attempt.
    Raises `ValueError` for probabilities outside 0 to 1 and counts outside the standard's.
    """
    _probability("frame error rate", frame_errors)
    _probability("acknowledgement error rate", ack_errors)
    if not 0 <= retries <= 7:
        raise ValueError(f"{retries} retries are outside 0 to 7")
    refused = access_failure(busy, backoffs)
    good = (1.0 - frame_errors) * (1.0 - ack_errors)
    again = (1.0 - refused) * (1.0 - good)
    attempts = (1.0 - refused) * math.fsum(again**number for number in range(retries + 1))
    return Delivery(delivered(good, refused, retries), attempts, refused)


def _probability(what: str, value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise ValueError(f"a {what} of {value} is outside 0 to 1")
