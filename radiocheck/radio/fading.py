"""Log-normal shadowing: what the spread of walls and furniture makes of a computed margin.

A computed loss is the median of what is met in such places; the real one differs by a
normal deviation in dB, with a standard deviation (sigma) that is an assumption.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

# Standard deviations in dB.  ITU-R P.1238: 8 residential, 10 office and commercial at 1.8–2 GHz (from memory);
# 5.01 office at edition 13 (quoted second-hand).
SIGMA_DB = {"residential": 8.0, "office": 10.0, "commercial": 10.0}
WIDEST_CELL_DB = 0.5  # packet errors fall from 1 to 0 within about 3 dB
FARTHEST_SIGMAS = 6.0  # one in 1e9 lies beyond
FARTHEST_MARGIN = 40.0  # in sigmas: a float cannot tell the chance there from 0 or 1
HALVINGS = 64  # to less than 1e-17 sigmas; `statistics` has the inverse, and brings fractions and decimals along


def chance(margin_db: float, sigma_db: float) -> float:
    """Probability, 0 to 1, that the real margin is above 0 dB when the computed one is its median."""
    if not sigma_db >= 0:
        raise ValueError(f"a spread of {sigma_db} dB is below 0")
    if sigma_db == 0:
        return 1.0 if margin_db >= 0 else 0.0
    return 0.5 * math.erfc(-margin_db / (sigma_db * math.sqrt(2.0)))


def margin_for(probability: float, sigma_db: float) -> float:
    """The margin in dB that the median must have so that the real one is above 0 with this probability."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability of {probability} is outside 0 to 1, both excluded")
    low, high = -FARTHEST_MARGIN * sigma_db, FARTHEST_MARGIN * sigma_db
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle, sigma_db) < probability else (low, middle)
    return high


def cells(median_db: float, sigma_db: float, low_db: float, high_db: float) -> Iterator[tuple[float, float]]:
    """Points of a grid in dB and the chance of each, 0 to 1, for a value spread about a median; they sum up to 1.

    The grid is the same for every median, so that a costly function of the value is computed once
    for many links.  Outside `low_db` to `high_db` the function must not change: all chances beyond
    fall to the outermost points.  Points are at most 0.5 dB apart, and half a sigma; the mean of
    a curve that falls as packet errors do is right to 1e-4.
    """
    if not sigma_db >= 0:
        raise ValueError(f"a spread of {sigma_db} dB is below 0")
    if sigma_db == 0:
        yield min(max(median_db, low_db), high_db), 1.0
        return
    step = min(WIDEST_CELL_DB, sigma_db / 2)
    # A cell stands for its middle, which widens the spread by the variance of a step, step² / 12.
    scale = 1.0 / math.sqrt(2.0 * (sigma_db**2 - step**2 / 12.0))
    reach = FARTHEST_SIGMAS * sigma_db
    first = math.floor(max(min(median_db - reach, high_db), low_db) / step)
    last = max(math.ceil(min(max(median_db + reach, low_db), high_db) / step), first)
    erf = math.erf
    below = -1.0
    for number in range(first, last):
        edge = erf(((number + 0.5) * step - median_db) * scale)
        yield number * step, 0.5 * (edge - below)
        below = edge
    yield last * step, 0.5 * (1.0 - below)


def averaged(
    curve: Callable[[float], float], median_db: float, sigma_db: float, low_db: float, high_db: float
) -> float:
    """The mean of `curve` over the spread of its argument in dB; see `cells`."""
    return math.fsum(curve(value) * share for value, share in cells(median_db, sigma_db, low_db, high_db))
