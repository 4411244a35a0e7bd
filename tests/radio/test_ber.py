"""Bit and packet error rates against the standard's figures and arbitrary precision.  ns-3's own: test_ber_ns3.py."""

from __future__ import annotations

import math

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.radio import ber

# SINR dB → BER, 12 digits, by IEEE Std 802.15.4-2006 §E.4.1.8 item 7; recomputed below with mpmath.
BER = {
    -30.0: "0.498407916294",
    -20.0: "0.483668998556",
    -10.0: "0.322050677845",
    -5.0: "7.51715640896e-2",
    -4.0: "3.91634599256e-2",
    -3.0: "1.64186377818e-2",
    -2.0: "5.19699956741e-3",
    -1.5: "2.56971000083e-3",
    -1.0: "1.14894371604e-3",
    -0.5: "4.58864735171e-4",
    0.0: "1.61526687923e-4",
    0.5: "4.93914232364e-5",
    1.0: "1.29118662648e-5",
    2.0: "5.13139208877e-7",
    3.0: "8.59719127469e-9",
    4.0: "4.92750505752e-11",
    5.0: "7.38600941320e-14",
    6.0: "2.05343883711e-17",
    10.0: "1.48803039041e-43",
}
# SINR dB → packet error rate of 20, 22 and 133 octets, every bit independent.
PER = {
    -5.0: ("9.99996286461e-1", "9.99998936428e-1", "1.00000000000"),
    -3.0: ("9.29263019259e-1", "9.45723582953e-1", "9.99999977605e-1"),
    -2.0: ("5.65555967073e-1", "6.00306376106e-1", "9.96089250367e-1"),
    -1.0: ("1.68011517378e-1", "1.83174954285e-1", "7.05706859062e-1"),
    0.0: ("2.55151996721e-2", "2.80306357875e-2", "1.57918333027e-1"),
    0.5: ("7.87167767950e-3", "8.65542938724e-3", "5.11966995444e-2"),
    1.0: ("2.06377941251e-3", "2.26992295338e-3", "1.36443744426e-2"),
    2.0: ("8.20989241841e-5", "9.03084458806e-5", "5.45831238228e-4"),
    3.0: ("1.37554966379e-6", "1.51310452611e-6", "9.14736971815e-6"),
}
# Markers of the 802.15.4 curve in IEEE Std 802.15.4-2006 Figure E.2, taken from the drawing's vectors.
FIGURE_E2 = {
    -5: 0.0764,
    -4: 0.03938,
    -3: 0.01671,
    -2: 0.005103,
    -1: 0.001116,
    0: 1.646e-4,
    1: 1.258e-5,
    2: 5.284e-7,
    3: 8.829e-9,
}
SINR = st.floats(-60, 30)
OCTETS = st.integers(1, 133)


def exact(sinr_db: float) -> mpmath.mpf:
    """The printed sum in 50 digits."""
    with mpmath.workdps(50):
        snr = mpmath.mpf(10) ** (mpmath.mpf(sinr_db) / 10)
        terms = (
            (-1) ** k * mpmath.binomial(16, k) * mpmath.exp(20 * snr * (mpmath.mpf(1) / k - 1)) for k in range(2, 17)
        )
        return mpmath.mpf(8) / 15 / 16 * sum(terms)


def exact_per(sinr_db: float, bits: int) -> mpmath.mpf:
    """1 − (1 − BER)^bits in 50 digits."""
    with mpmath.workdps(50):
        return 1 - (1 - exact(sinr_db)) ** bits


@pytest.mark.parametrize(("sinr", "expected"), BER.items())
def test_ber_to_12_digits(sinr: float, expected: str) -> None:
    """The table's value is the formula's in arbitrary precision, and ours in double precision."""
    assert mpmath.almosteq(exact(sinr), mpmath.mpf(expected), rel_eps=1e-11)
    assert ber.bit_error_rate(sinr) == pytest.approx(float(expected), rel=1e-11)


@pytest.mark.parametrize(("sinr", "expected"), PER.items())
def test_per_to_12_digits(sinr: float, expected: tuple[str, str, str]) -> None:
    """Packets of 20, 22 and 133 octets: the exact chain to 1e-11, the interpolated one to 1e-7."""
    for octets, value in zip((20, 22, 133), expected, strict=True):
        assert mpmath.almosteq(exact_per(sinr, 8 * octets), mpmath.mpf(value), rel_eps=1e-11)
        assert ber.packet_error_rate(8 * octets, ber.bit_error_rate(sinr)) == pytest.approx(float(value), rel=1e-11)
        assert ber.frame_error_rate(sinr, octets) == pytest.approx(float(value), rel=1e-7)


@pytest.mark.parametrize(("sinr", "marker"), FIGURE_E2.items())
def test_published_curve(sinr: int, marker: float) -> None:
    """IEEE Std 802.15.4-2006 Figure E.2, to 3 %, which is how finely it can be read."""
    assert ber.bit_error_rate(sinr) == pytest.approx(marker, rel=0.03)


@pytest.mark.parametrize("octets", [1, 5, 20, 60, 133])
def test_interpolation(octets: int) -> None:
    """The table is right to 1e-7 relative between its points, across its ends, and where rates are tiny."""
    for number in range(-2600, 1860, 37):
        sinr = number / 100 + 0.00371
        assert ber.frame_error_rate(sinr, octets) == pytest.approx(float(exact_per(sinr, 8 * octets)), rel=1e-7)


def test_success_of_a_long_frame_in_noise() -> None:
    """At −4 dB a frame of 133 octets gets through with 3.46002604655e-19 (mpmath); nothing is lost to 1 − 1."""
    assert math.exp(1064 * math.log1p(-ber.bit_error_rate(-4.0))) == pytest.approx(3.46002604655e-19, rel=1e-10)


@pytest.mark.parametrize(
    ("bits", "rate", "sinr"),
    [
        (160, 0.01, 0.4034989081),
        (160, 0.1, -0.688917183),
        (160, 0.5, -1.862592257),
        (176, 0.01, 0.4420381771),
        (176, 0.1, -0.6381351995),
        (176, 0.5, -1.793584741),
        (1064, 0.01, 1.108184525),
        (1064, 0.1, 0.2141550112),
        (1064, 0.5, -0.6831493278),
    ],
)
def test_inverse(bits: int, rate: float, sinr: float) -> None:
    """The SINR that is needed for a packet error rate, recomputed with mpmath at that SINR."""
    assert float(exact_per(sinr, bits)) == pytest.approx(rate, rel=1e-7)
    assert ber.sinr_for(rate, bits) == pytest.approx(sinr, abs=1e-8)


def test_one_percent_point_of_ns3s_documentation() -> None:
    """ns-3's lr-wpan.rst: noise −106.987 dBm, sensitivity −106.58 dBm for 1 % of 20 octets."""
    assert -106.987 + ber.one_percent_db(20) == pytest.approx(-106.58, abs=0.005)


def test_detectors_are_worse_than_the_formula() -> None:
    """IEEE Std 802.15.4-2006 §E.3.2.1: a low-cost detector needs 5 to 6 dB for 1 %; a loss of 5 dB gives that."""
    needed = ber.one_percent_db(20)
    assert ber.frame_error_rate(needed + 5.0, 20, implementation_loss_db=5.0) == pytest.approx(0.01, rel=1e-6)
    assert 5.0 <= needed + 5.0 <= 6.0


def test_limits() -> None:
    """No signal: each bit is a coin (Σ (−1)^k C(16,k) from 2 to 16 is 15); no noise: no errors."""
    assert sum((-1) ** k * math.comb(16, k) for k in range(2, 17)) == 15
    assert ber.bit_error_rate(-math.inf) == 0.5
    assert ber.bit_error_rate(math.inf) == 0.0
    assert ber.frame_error_rate(-math.inf, 20) == 1.0
    assert ber.frame_error_rate(math.inf, 20) == 0.0


@given(SINR, st.floats(0, 5), OCTETS)
def test_more_signal_never_harms(sinr: float, more: float, octets: int) -> None:
    """Rates lie between 0 and 1 and fall with the SINR, over the seams of the table too."""
    worse, better = ber.frame_error_rate(sinr, octets), ber.frame_error_rate(sinr + more, octets)
    assert 0.0 <= better <= worse * (1 + 1e-7) <= 1.0 + 1e-7
    assert 0.0 <= ber.bit_error_rate(sinr + more) <= ber.bit_error_rate(sinr) * (1 + 1e-11) <= 0.5


@given(SINR, st.integers(1, 132))
def test_longer_frames_fail_more(sinr: float, octets: int) -> None:
    """An octet more is never safer."""
    assert ber.frame_error_rate(sinr, octets) <= ber.frame_error_rate(sinr, octets + 1) * (1 + 1e-11)


@given(st.integers(1, 100_000), st.floats(0, 1))
def test_packets_of_any_length(bits: int, rate: float) -> None:
    """A packet fails at least as often as one of its bits, and at most as often as all together."""
    errors = ber.packet_error_rate(bits, rate)
    assert rate * (1 - 1e-12) <= errors <= min(bits * rate, 1.0) * (1 + 1e-12)


def test_cliff() -> None:
    """Outside the cliff nothing is left to average: acknowledgements below, the longest frames above."""
    assert 1.0 - ber.frame_error_rate(ber.CLIFF_LOW_DB, 5) < 1e-8
    assert ber.frame_error_rate(ber.CLIFF_HIGH_DB, 133) < 1e-7


@pytest.mark.parametrize(("octets", "us"), [(127, 266 * 16.0), (20, 832.0), (5, 352.0)])
def test_air_time(octets: int, us: float) -> None:
    """IEEE Std 802.15.4-2006 Table 23: 266 symbols of 16 µs at most; 2 symbols for each octet, 10 before the PHR."""
    assert ber.air_time_us(octets) == us


@pytest.mark.parametrize("octets", [0, -1, 134])
def test_frames_that_do_not_exist(octets: int) -> None:
    """They are refused with the allowed range."""
    with pytest.raises(ValueError, match="write 1 to 127"):
        ber.frame_error_rate(0.0, octets)


@pytest.mark.parametrize("rate", [0.0, 1.0, -0.1, math.nan])
def test_rates_that_are_never_reached(rate: float) -> None:
    """An inverse exists only between 0 and 1 …"""
    with pytest.raises(ValueError, match="between 0 and 1"):
        ber.sinr_for(rate, 160)


def test_rates_that_short_frames_never_have() -> None:
    """… and not above what pure chance gives: a single bit is right half of the time."""
    with pytest.raises(ValueError, match="more than a frame of 1 bits ever has"):
        ber.sinr_for(0.6, 1)


def test_numbers_that_are_none() -> None:
    """Bits, rates and ratios that cannot be are refused."""
    with pytest.raises(ValueError, match="1 or more"):
        ber.packet_error_rate(0, 0.1)
    with pytest.raises(ValueError, match="outside 0 to 1"):
        ber.packet_error_rate(8, 1.1)
    with pytest.raises(ValueError, match="not a number"):
        ber.bit_error_rate(math.nan)
    with pytest.raises(ValueError, match="not a number"):
        ber.frame_error_rate(math.nan, 20)
