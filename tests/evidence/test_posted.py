"""What is in the block of a pasted report."""

from __future__ import annotations

import hashlib
import json
import time
import tracemalloc
import zlib
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings

from radiocheck.evidence import block, posted
from radiocheck.evidence.posted import Posted
from radiocheck.evidence.record import Evidence, Taken
from radiocheck.evidence.store import Unreadable, load
from tests.strategies import records

FIXTURES = sorted((Path(__file__).parents[2] / "fixtures").glob("*/evidence.json"))
SMALL = Evidence(radiocheck_evidence=1, taken=Taken(at=1.5, tool="0", root=False))


def evidence(file: Path) -> Evidence:
    return posted.rounded(load(file.read_bytes(), file.name))


def packed(value: Any) -> str:
    """A block that holds any JSON."""
    return squeezed(msgspec.json.encode(value))


def squeezed(data: bytes) -> str:
    stream = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_DEFAULT_STRATEGY, posted._dictionary())
    return block.write(stream.compress(data) + stream.flush())


def refused(text: str) -> str:
    with pytest.raises(Unreadable) as caught:
        posted.read(text, "post.txt")
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("file", FIXTURES, ids=lambda file: file.parent.name)
def test_every_fixture_comes_back(file: Path) -> None:
    """Equal to what was put in."""
    was = Posted(evidence=evidence(file))
    assert posted.read(posted.write(was), "x") == was


def test_all_that_a_report_is_made_of() -> None:
    """The capture inside the VM, and what was asked for."""
    was = Posted(evidence=evidence(FIXTURES[0]), guest=SMALL, adapter="1-2", vm="hearth", revealed=True)
    assert posted.read(posted.write(was), "x") == was


@given(records(Evidence))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_any_evidence(some: Evidence) -> None:
    """Every field of every record, with any text in it."""
    some = msgspec.structs.replace(posted.rounded(some), radiocheck_evidence=1)
    assert posted.read(posted.write(Posted(evidence=some)), "x").evidence == some


def test_times_are_rounded() -> None:
    """To milliseconds, and nothing else is touched."""
    some = msgspec.structs.replace(SMALL, taken=Taken(at=1795605851.573112, tool="0.1234567", root=True))
    assert posted.rounded(some).taken == Taken(at=1795605851.573, tool="0.1234567", root=True)


def test_small() -> None:
    """The demo's block, letters and repair included, has less than a tenth of its JSON."""
    file = next(file for file in FIXTURES if file.parent.name == "demo")
    assert len(posted.write(Posted(evidence=evidence(file)))) < len(file.read_bytes()) / 10


def test_the_words_belong_to_the_format() -> None:
    """A block can be read only with the dictionary it was written with: another one needs another VERSION."""
    assert block.VERSION == 1
    assert hashlib.sha256(posted._dictionary()).hexdigest() == (
        "9b9126302061de9f808a1e704e7ed5045975b6d254f431e026b332413599973f"
    )
    assert posted._dictionary().isascii()


def test_sizes() -> None:
    """The largest part first."""
    parts = posted.sizes(evidence(FIXTURES[0]))
    assert [size for _, size in parts] == sorted((size for _, size in parts), reverse=True)
    assert {"usb", "kernel_log"} <= {name for name, _ in parts[:5]}


def test_bomb() -> None:
    """A block that unpacks to gigabytes is refused within a second and little memory."""
    text = squeezed(b" " * (200 << 20))
    assert len(text) < 400_000
    tracemalloc.start()
    started = time.monotonic()
    said = refused(text)
    assert time.monotonic() - started < 20
    assert tracemalloc.get_traced_memory()[1] < 40 << 20
    tracemalloc.stop()
    assert "unpacks to more than 4 MiB" in said


@pytest.mark.parametrize(
    "value",
    [
        1,
        [],
        {},
        {"evidence": 1},
        {"evidence": {"#": {"a": [1], "b": []}}},
        {"evidence": {"radiocheck_evidence": 1}},
        {"evidence": {"radiocheck_evidence": 1, "taken": {"at": 1, "tool": "0"}}, "vm": 7},
        {"evidence": {"radiocheck_evidence": 1, "taken": {"at": 1, "tool": "0"}}, "guest": None},
    ],
)
def test_a_block_of_something_else(value: Any) -> None:
    """A block whose check sum fits and whose content is none of ours."""
    assert refused(packed(value))


def test_not_packed_at_all() -> None:
    """Bytes that no unpacking understands, and such as end too early."""
    assert "cannot be unpacked" in refused(block.write(b"\xff" * 100))
    assert "cannot be unpacked" in refused(block.write(b""))
    assert "does not hold a report's evidence" in refused(squeezed(b"not JSON"))


def test_newer_content() -> None:
    """Evidence of a newer radiocheck, and a report that was made of more than this one knows."""
    tree = json.loads(msgspec.json.encode(SMALL))
    assert "newer radiocheck" in refused(packed({"evidence": {**tree, "radiocheck_evidence": 2}}))
    assert "does not know" in refused(packed({"evidence": tree, "floor_plan": 1}))


def test_too_much_evidence() -> None:
    """More than a block may unpack to is not written at all."""
    much = msgspec.structs.replace(SMALL, pci_functions=["x" * 1000] * 5000)
    with pytest.raises(ValueError, match="too much"):
        posted.write(Posted(evidence=much))
