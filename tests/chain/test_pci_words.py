"""PCI class codes in words; the codes are those of pci.ids."""

from __future__ import annotations

import pytest
from msgspec import UNSET

from radiocheck.chain.pci_words import function_word, is_bridge, is_vital


@pytest.mark.parametrize(
    ("code", "word"),
    [
        ("0c0330", "USB controller"),
        ("010601", "SATA disks"),
        ("010802", "NVMe disk"),
        ("01ff00", "disks"),
        ("020000", "network"),
        ("028000", "wireless network"),
        ("040300", "sound"),
        ("060100", "ISA bridge"),
        ("ff0000", "class ff00"),
    ],
)
def test_words(code: str, word: str) -> None:
    """The longest code that fits names it; an unknown one stays a number."""
    assert function_word(code) == word


def test_a_class_that_was_not_read() -> None:
    """It is said to be so."""
    assert function_word(UNSET) == "unknown kind"


def test_what_a_host_cannot_be_without() -> None:
    """Disks and network; a PCI-to-PCI bridge is neither, and is the only kind of bridge that VFIO passes over."""
    assert [is_vital(code) for code in ("010601", "020000", "028000", "040300", "060400")] == [
        True,
        True,
        True,
        False,
        False,
    ]
    assert (is_bridge("060400"), is_bridge("060100")) == (True, False)
