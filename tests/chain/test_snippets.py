"""Every piece of configuration, for every kind of adapter: made right or not made at all."""

from __future__ import annotations

import re
from typing import Any

import defusedxml.ElementTree
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radiocheck.chain.snippet import Made
from radiocheck.chain.snippets import SNIPPETS, make

from .pasted import EVIL, adapters, changed, usual

ADAPTERS = adapters()
MADE = [(name, who) for name in SNIPPETS for who in ADAPTERS]

# What each kind may look like, written without looking at the code that makes it.
QEMU = re.compile(
    r"-device usb-host,(vendorid=0x[0-9a-f]{4},productid=0x[0-9a-f]{4}|hostbus=\d+,hostport=[\d.]+)"
    r"(,guest-reset=false)?"
    r"|-device vfio-pci,host=[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]"
    r"|-chardev serial,id=mesh,path=/dev/serial/by-id/[\w.:-]+ -serial chardev:mesh"
)
XEN = re.compile(r"usbdev = \[ 'type=hostdev,hostbus=\d+,hostaddr=\d+' \]|pci = \[ '[0-9a-f:.]{12}' \]")
UDEV = re.compile(r'([A-Z]+(\{\w+\})?(==|!=|=|:=)"[A-Za-z0-9._:+=@|-]*"(, )?)+')


def whole(name: str, text: str) -> bool:
    """Whether the text is of its kind from its first to its last character."""
    kind = name.partition("-")[0]
    if kind == "libvirt":
        root = defusedxml.ElementTree.fromstring(text)
        return root.tag in ("hostdev", "serial") and text.isascii() and EVIL not in text
    return bool({"qemu": QEMU, "xen": XEN, "udev": UDEV}[kind].fullmatch(text))


@pytest.mark.parametrize(("name", "who"), MADE, ids=[f"{name}-{who}" for name, who in MADE])
def test_whole_or_not_at_all(name: str, who: str) -> None:
    """Whatever the facts are, a text is of its kind or is not made, and every choice says what it gives up."""
    made = make(name, ADAPTERS[who])
    assert made is None or (whole(name, made.text) and len(made.gives_up) > 20), made


@pytest.mark.parametrize("name", SNIPPETS)
def test_the_usual_adapter_gets_all(name: str) -> None:
    """With everything known, every kind can be made, and each says what it is."""
    assert isinstance(make(name, ADAPTERS["usual"]), Made)
    assert SNIPPETS[name].what


@pytest.mark.parametrize("name", SNIPPETS)
@pytest.mark.parametrize("who", ["unplugged", "nothing known"])
def test_nothing_is_guessed(name: str, who: str) -> None:
    """An adapter that is not there, or of which nothing is known, gets nothing; names that were seen stay usable."""
    made = make(name, ADAPTERS[who])
    assert made is None or (who == "unplugged" and name.endswith("-serial"))


CHOICES = {
    # (snippet, adapter): a part of the text, None when nothing can be made
    ("libvirt-usb", "usual"): "<vendor id='0x1209'/>",
    ("libvirt-usb", "optional"): "startupPolicy='optional'",
    ("libvirt-usb", "twin"): "<address bus='1' port='2'/>",
    ("libvirt-usb", "twin, a libvirt without ports"): None,
    ("libvirt-usb", "twin, a libvirt that was not seen"): None,
    ("libvirt-usb-number", "twin, a libvirt without ports"): "<address bus='1' device='4'/>",
    ("libvirt-controller", "twin, a libvirt without ports"): "slot='0x14'",
    ("qemu-usb", "usual"): "vendorid=0x1209,productid=0x7a01",
    ("qemu-usb", "twin"): "hostbus=1,hostport=2",
    ("qemu-usb-socket", "behind more hubs than libvirt takes"): "hostport=1.4.3.2.1",
    ("qemu-serial", "twin"): "/dev/serial/by-id/",
    ("udev-no-modem", "usual"): 'ATTRS{serial}=="A1B2C3"',
    ("udev-tty-group", "usual"): 'ATTRS{serial}=="A1B2C3", GROUP:="dialout", MODE:="0660"',
    ("udev-usb-rights", "usual"): 'GROUP:="dialout", MODE:="0664"',
    ("udev-usb-rights", "QEMU with an account of its own"): 'OWNER:="qemu", MODE:="0664"',
    ("udev-usb-rights", "QEMU with one nameless group"): 'GROUP:="107"',
    ("udev-usb-rights", "hostile assignment.as_group"): None,
}


@pytest.mark.parametrize(("name", "who"), CHOICES)
def test_choices(name: str, who: str) -> None:
    """IDs when they are unique, else the socket, else (where nothing else can be named) the number or controller."""
    made, part = make(name, ADAPTERS[who]), CHOICES[name, who]
    assert (made is None) if part is None else (made is not None and part in made.text), made


@pytest.mark.parametrize("name", [name for name in SNIPPETS if name.startswith("udev-")])
def test_a_harmful_serial_number_is_left_out(name: str) -> None:
    """Without a harmless serial number the rule goes by the IDs, and says that it counts for all that have them."""
    for who in ("hostile adapter.serial", "without a serial number"):
        made = make(name, ADAPTERS[who])
        assert made is not None
        assert "serial}" not in made.text
        assert "every device with these IDs" in made.gives_up


def test_a_shared_serial_number_is_said() -> None:
    """With a twin, a rule by serial number tells that the twin may have the same one."""
    made = make("udev-no-modem", ADAPTERS["twin"])
    assert made is not None
    assert "unless the other one has the same serial number" in made.gives_up


def test_what_the_host_loses_is_named() -> None:
    """Giving the controller away names what else sits on it."""
    made = make("libvirt-controller", ADAPTERS["twin"])
    assert made is not None
    assert "serial adapter (Lindenhof Mesh stick D4E5F6)" in made.gives_up
    alone = make("libvirt-controller", ADAPTERS["usual"])
    assert alone is not None
    assert "nothing else at the moment" in alone.gives_up


@pytest.mark.parametrize(
    ("fact", "value"),
    [
        ("adapter.iommu", False),
        ("adapter.group_others", ["0000:00:14.2 (sdhci)"]),
        ("adapter.controller", None),
        ("adapter.beside_mounts", ["sda (/)"]),
    ],
)
@pytest.mark.parametrize("name", ["libvirt-controller", "qemu-controller", "xen-controller"])
def test_controllers_that_cannot_be_given_away(name: str, fact: str, value: Any) -> None:
    """Without an IOMMU group of its own, off PCI, or with the host's own disk on it, no controller is offered."""
    assert make(name, changed(usual(), fact, value)) is None


FACTS = [
    "adapter.vid adapter.pid adapter.serial adapter.path adapter.controller adapter.bus adapter.address adapter.twins",
    "name.by_id name.by_path access.serial_group assignment.as_user assignment.as_group assignment.startup",
]
SHORT = st.text(st.characters(codec="utf-8"), max_size=8) | st.sampled_from(["12'9", "00:14", "a\n", "0x1209", "1.2 "])


@settings(max_examples=150, deadline=None)
@given(fact=st.sampled_from(" ".join(FACTS).split()), value=SHORT | st.integers(-5, 99999) | st.none())
def test_whatever_one_fact_says(fact: str, value: Any) -> None:
    """Any text or number in any one fact leaves every piece of configuration whole or unmade."""
    given_facts = changed(ADAPTERS["usual"], fact, value)
    for name in SNIPPETS:
        made = make(name, given_facts)
        assert made is None or whole(name, made.text), (name, made)
