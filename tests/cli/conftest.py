"""Captures of an invented house, one per verdict."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec import UNSET

from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.store import save
from tests.chain import machines as m

HIDDEN = [Gap(what="handles", why="denied", detail="Permission denied", provide="run as root")]
HOUSES: dict[str, Evidence] = {
    "sound": m.native(),
    "weak": m.native(usb=[m.root_hub(), m.stick(power_control="auto")]),
    "broken": m.native(
        usb=[m.root_hub(), m.stick(authorized=False, configuration=None, interfaces=[])], ttys=[], links=[]
    ),
    "unseen": m.native(usb=UNSET, handles=UNSET, gaps=HIDDEN),
}


@pytest.fixture(scope="session")
def captures(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Files by the state of their verdict."""
    folder = tmp_path_factory.mktemp("captures")
    files = {}
    for state, evidence in HOUSES.items():
        files[state] = folder / f"{state}.json"
        files[state].write_bytes(save(evidence))
    return files
