"""Who holds a port, and what for."""

from __future__ import annotations

import pytest

from radiocheck.chain.holders import is_receiver

from . import machines as m


@pytest.mark.parametrize(
    ("product", "receiver"),
    [
        ("u-blox 7 - GPS/GNSS Receiver", True),
        ("GNSS receiver", True),
        ("Navigation stick", True),
        ("Mesh stick", False),
        ("GPStar radio", False),
        (None, False),
    ],
)
def test_a_receiver_calls_itself_so(product: str | None, receiver: bool) -> None:
    """The GPS daemon is where it should be when it holds one."""
    assert is_receiver(m.stick(product=product)) is receiver
    assert is_receiver(None) is False
