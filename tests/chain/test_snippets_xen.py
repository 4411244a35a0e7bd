"""Lines of an xl.cfg, by its man page of Xen 4.17: no Xen is needed, and none is there to ask."""

from __future__ import annotations

import ast

import pytest

from radiocheck.chain.snippets import SNIPPETS, make

from .pasted import adapters

ADAPTERS = adapters()
MADE = {
    made.text: name
    for name in SNIPPETS
    for who in ADAPTERS
    if name.startswith("xen-") and (made := make(name, ADAPTERS[who]))
}


@pytest.mark.parametrize("line", MADE)
def test_form(line: str) -> None:
    """`NAME = [ 'TEXT' ]`, which xl.cfg(5) shares with Python; the texts have the documented keys and no other."""
    tree = ast.parse(line).body[0]
    assert isinstance(tree, ast.Assign)
    assert isinstance(tree.targets[0], ast.Name)
    (text,) = ast.literal_eval(tree.value)
    if tree.targets[0].id == "usbdev":  # type=hostdev, hostbus=busnum, hostaddr=devnum
        pairs = dict(part.split("=") for part in text.split(","))
        assert pairs == {"type": "hostdev", "hostbus": "1", "hostaddr": "4"}
    else:  # xl-pci-configuration(5): DDDD:BB:SS.F
        assert (tree.targets[0].id, text) == ("pci", "0000:00:14.0")
