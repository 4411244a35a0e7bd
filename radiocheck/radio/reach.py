"""How far a device can be, when nothing is known but that both are in a dwelling."""

from __future__ import annotations

from .fading import margin_for
from .path import FARTHEST_M, indoor_db


def reach_m(
    budget_db: float, spread_db: float, freq_mhz: float, chance: float = 0.9, site: str = "residential"
) -> float:
    """The distance in m, 1 to 1000, at which a link still has its margin with this chance.

    `budget_db`: the path loss that may lie between transmitter and receiver at a margin of 0,
    antennas counted.  Path loss by ITU-R P.1238 (`path.indoor_db`): a median with walls in it,
    on one floor.  Log-normal spread about it.  1 m also stands for less.
    """
    if not 0.0 < chance < 1.0:
        raise ValueError(f"a chance of {chance:g} is never reached; write one between 0 and 1")
    allowed = budget_db - margin_for(chance, spread_db)
    low, high = 1.0, FARTHEST_M
    if indoor_db(low, freq_mhz, site) > allowed:
        return low
    for _ in range(50):
        middle = (low * high) ** 0.5
        if indoor_db(middle, freq_mhz, site) <= allowed:
            low = middle
        else:
            high = middle
    return low
