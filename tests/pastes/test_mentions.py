"""Whether virtual machines come up."""

from __future__ import annotations

import pytest

from radiocheck.pastes.line import lines
from radiocheck.pastes.mentions import vms


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("my VM does not see it", True),
        ("qemu-system-x86_64: x", True),
        ("$ virsh list", True),
        ("usb0: host=1209:7a01", True),
        ("a virtual machine", True),
        ("usb 1-2: Product: x", False),
        ("lsusb", False),
        ("vmlinuz", False),
        ("", False),
    ],
)
def test_words_of_virtual_machines(text: str, told: bool) -> None:
    """In any line."""
    assert vms(lines(f"hello\n{text}\n".encode())) is told
