"""Facts pass into configuration only in their one harmless form."""

from __future__ import annotations

from typing import Any

import pytest

from radiocheck.chain import snippet


@pytest.mark.parametrize(
    ("form", "good", "bad"),
    [
        ("ID", ["1209", "7a01"], ["7A01", "0x1209", "120", "12099", "1209\n", "१२०९"]),
        ("PORT", ["1", "1.2", "10.2.3.4"], ["", "0", "1.", ".1", "1.2.3.4.5", "1-2", "1,id=x"]),
        ("LONG_PORT", ["1.2.3.4.5.6.7"], ["1.2.3.4.5.6.7.8", "1.2 "]),
        ("PCI", ["0000:00:14.0", "0001:af:1f.7"], ["00:14.0", "0000:00:14.8", "0000:00:14.0,x", "vhci_hcd.0"]),
        ("SERIAL", ["A1B2C3", "00:11-22_33.4"], ["", "A B", 'A"', "A\\x", "A*", "A?", "[A]", "A|B", "$env", "%k", "É"]),
        (
            "LINK",
            ["/dev/serial/by-id/usb-L_M_A1-if00"],
            ["/dev/ttyUSB0", "/dev/serial/by-id/../x", "/dev/serial/by-id/a b"],
        ),
        (
            "LINK",
            ["/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0"],
            ["/dev/serial/by-id/a,b", "/dev/serial/by-id/a'"],
        ),
        ("ACCOUNT", ["dialout", "libvirt-qemu", "_x", "107"], ["root\n", "0", "a b", 'a"', "-x", "A"]),
    ],
)
def test_forms(form: str, good: list[str], bad: list[str]) -> None:
    """Each form takes what the kernel, udev and account tools give, and nothing that a file would read otherwise."""
    pattern = getattr(snippet, form)
    for value in good:
        assert snippet.word({"a": {"b": value}}, "a.b", pattern) == value
    for value in [*bad, None, 7, ["1209"], True]:
        assert snippet.word({"a": {"b": value}}, "a.b", pattern) is None, value
    assert snippet.word({}, "a.b", pattern) is None


@pytest.mark.parametrize(("value", "taken"), [(1, 1), (127, 127), (0, None), (128, None), (True, None), ("5", None)])
def test_numbers(value: Any, taken: int | None) -> None:
    """A number counts within its range; words and truth values are none."""
    assert snippet.number({"a": {"b": value}}, "a.b", 1, 127) == taken


@pytest.mark.parametrize(("adapter", "answer"), [({"twins": 0}, True), ({"twins": 2}, False), ({}, None)])
def test_unique(adapter: dict[str, int], answer: bool | None) -> None:
    """Without a look at the bus nothing is said to be unique."""
    assert snippet.unique({"adapter": adapter}) is answer
