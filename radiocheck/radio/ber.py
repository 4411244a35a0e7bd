"""Bit and packet errors of the 2.4 GHz O-QPSK PHY against white noise.

BER: IEEE Std 802.15.4-2006, Annex E, §E.4.1.8 item 7 (which names IEEE 802.15.2-2003 §5.3);
the print has −1^k where (−1)^k is meant.  PER takes bits as independent, which is an
assumption: errors come in symbols of four bits.  The same annex says in §E.3.2.1 that a
low-cost detector needs 5 to 6 dB for 1 % PER where the formula needs 0.4 dB; so an
implementation loss belongs into every budget, and is an argument here.

Arguments are floats: ratios of signal to interference and noise (SINR) in dB, lengths in
octets or bits, rates from 0 to 1.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

_TERMS = tuple((k, (-1) ** k * math.comb(16, k)) for k in range(2, 17))
OVERHEAD_OCTETS = 6  # preamble 4, SFD 1, PHR 1: IEEE Std 802.15.4-2006 Tables 19 and 20
LONGEST_PSDU = 127  # octets, aMaxPHYPacketSize: IEEE Std 802.15.4-2006 Table 22
OCTET_US = 32.0  # air time of one octet at 250 kb/s

# The packet error rate falls from 1 to 0 between these SINR (implementation loss taken off):
# below, a frame of 5 octets (an acknowledgement) has a chance of 1e-8; above, one of 133 octets fails once in 1e7.
CLIFF_LOW_DB, CLIFF_HIGH_DB = -12.0, 4.0

_LOW_DB, _HIGH_DB, _PER_DB = -20.0, 12.0, 16  # the table, and its cells per dB
_LAST_DB = 18.5  # from here on rates are below 1e-300
_SHORT = 5  # octets; a frame from this length on gets through at −20 dB once in 1e11


def bit_error_rate(sinr_db: float, implementation_loss_db: float = 0.0) -> float:
    """Probability of a bit error, 0 to 1/2, at an SINR in dB.

    The sum in double precision, with a relative error below 1e-11 from −40 to +18 dB; minus
    infinity gives 1/2, very high ratios 0.  Raises `ValueError` for what is not a number.
    """
    effective = _number(sinr_db - implementation_loss_db)
    if effective == -math.inf:
        return 0.5
    snr = 10.0 ** (min(effective, 100.0) / 10.0)
    total = math.fsum(weight * math.exp(20.0 * snr * (1.0 / k - 1.0)) for k, weight in _TERMS)
    return min(max(total / 30.0, 0.0), 0.5)  # 8/15 · 1/16 = 1/30


def packet_error_rate(bits: int, bit_errors: float) -> float:
    """Probability that at least one of `bits` (≥ 1) is wrong; exact for tiny rates and long frames.

    Raises `ValueError` for a count below 1 or a rate outside 0 to 1.
    """
    if bits < 1:
        raise ValueError(f"a frame of {bits} bits is none; write 1 or more")
    if not 0.0 <= bit_errors <= 1.0:
        raise ValueError(f"a bit error rate of {bit_errors} is outside 0 to 1")
    if bit_errors == 1.0:
        return 1.0
    return -math.expm1(bits * math.log1p(-bit_errors))


def frame_error_rate(sinr_db: float, psdu_octets: int, implementation_loss_db: float = 0.0) -> float:
    """Packet error rate of a frame of `psdu_octets`, its bits counted as in ns-3: without the preamble.

    From a table of 16 cells per dB between −20 and +12 dB, interpolated with the curve's slope;
    relative error below 1e-7 everywhere.  Lengths are 1 to 133 octets (the longest PSDU with its
    preamble, which Annex E's figures may be asked with).  Raises `ValueError` for other lengths.
    """
    if not 1 <= psdu_octets <= LONGEST_PSDU + OVERHEAD_OCTETS:
        raise ValueError(f"a frame of {psdu_octets} octets does not exist; write 1 to {LONGEST_PSDU}")
    effective = sinr_db - implementation_loss_db
    if _LOW_DB <= effective < _HIGH_DB:
        place = (effective - _LOW_DB) * _PER_DB
        cell = int(place)
        a, b, c, d = _table()[cell]
        at = place - cell
        return -math.expm1(-8 * psdu_octets * math.exp(((d * at + c) * at + b) * at + a))
    if effective >= _LAST_DB:
        return 0.0
    if effective < _LOW_DB and psdu_octets >= _SHORT:
        return 1.0
    return packet_error_rate(8 * psdu_octets, bit_error_rate(effective))


@lru_cache(maxsize=1)
def _table() -> list[tuple[float, float, float, float]]:
    """Cubics (Hermite) through ln(−ln(1 − BER)), which bends little over the whole cliff; variable 0 to 1 in a cell."""
    ends = [_log_loss(_LOW_DB + number / _PER_DB) for number in range(round((_HIGH_DB - _LOW_DB) * _PER_DB) + 1)]
    cells = []
    for (here, slope), (there, next_slope) in pairwise(ends):
        rise = there - here
        cells.append((here, slope, 3 * rise - 2 * slope - next_slope, slope + next_slope - 2 * rise))
    return cells


def _log_loss(sinr_db: float) -> tuple[float, float]:
    """ln(−ln(1 − BER)) and its slope for each cell's width."""
    snr = 10.0 ** (sinr_db / 10.0)
    parts = [(weight * math.exp(20.0 * snr * (1.0 / k - 1.0)), 20.0 * (1.0 / k - 1.0)) for k, weight in _TERMS]
    rate = math.fsum(part for part, _ in parts) / 30.0
    slope = math.fsum(part * factor for part, factor in parts) / 30.0 * snr * math.log(10.0) / 10.0 / _PER_DB
    loss = -math.log1p(-rate)
    return math.log(loss), slope / ((1.0 - rate) * loss)


def sinr_for(error_rate: float, bits: int) -> float:
    """The SINR in dB at which a frame of `bits` has this packet error rate, to 1e-9 dB.

    Raises `ValueError` for a rate that is not between 0 and 1, or that noise alone does not reach at −40 dB.
    """
    if not 0.0 < error_rate < 1.0:
        raise ValueError(f"a packet error rate of {error_rate} is never reached; write one between 0 and 1")
    low, high = -40.0, 20.0
    if packet_error_rate(bits, bit_error_rate(low)) < error_rate:
        raise ValueError(f"a packet error rate of {error_rate} is more than a frame of {bits} bits ever has")
    for _ in range(60):
        middle = (low + high) / 2
        if packet_error_rate(bits, bit_error_rate(middle)) > error_rate:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@lru_cache(maxsize=256)
def one_percent_db(octets: int) -> float:
    """SINR in dB at which a frame of `octets` has 1 % errors by the formula (+0.40 dB for 20 octets)."""
    return sinr_for(0.01, 8 * octets)


def air_time_us(psdu_octets: int) -> float:
    """Time on the air in µs of a frame with its preamble (IEEE Std 802.15.4-2006 Table 23)."""
    return OCTET_US * (psdu_octets + OVERHEAD_OCTETS)


def _number(value: float) -> float:
    if math.isnan(value):
        raise ValueError("a signal to noise ratio that is not a number has no error rate")
    return value
