"""libvirt XML that a person gives, whole or in parts."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path

import pytest
from msgspec import UNSET

from radiocheck.evidence.vm import GivenVm, HostdevUsb
from radiocheck.sources.given import vm_xml

from .test_libvirt import VALIDATE


def xml(text: str | bytes) -> GivenVm:
    """The only VM of some XML."""
    (vm,) = vm_xml(text.encode() if isinstance(text, str) else text, "hearth.xml")
    return vm


def refusal(text: str | bytes) -> str:
    """Why a text is not taken."""
    with pytest.raises(ValueError, match=r".") as refused:
        vm_xml(text.encode() if isinstance(text, str) else text, "hearth.xml")
    sentence = str(refused.value)
    assert sentence.isprintable()
    return sentence


HOSTDEV = (
    "<hostdev mode='subsystem' type='usb' managed='yes'>"
    "<source><vendor id='0x1209'/><product id='0x7a01'/></source></hostdev>"
)
PORT = "<hostdev type='usb'><source><address bus='1' port='2'/></source></hostdev>"
DOMAIN = f"<domain type='kvm'><name>hearth</name><devices><controller type='usb'/>{HOSTDEV}</devices></domain>"


@pytest.mark.parametrize(
    ("text", "usb"),
    [
        (HOSTDEV, [HostdevUsb(vid="1209", pid="7a01")]),
        (f"<devices>{HOSTDEV}{PORT}</devices>", [HostdevUsb(vid="1209", pid="7a01"), HostdevUsb(bus=1, port="2")]),
        (f"\n{HOSTDEV}\n<!-- and -->\n{PORT}\n", [HostdevUsb(vid="1209", pid="7a01"), HostdevUsb(bus=1, port="2")]),
        (f"<?xml version='1.0' encoding='UTF-8'?>\n{PORT}{PORT}", [HostdevUsb(bus=1, port="2")] * 2),
        (f"\ufeff<domain><devices>{PORT}</devices></domain>", [HostdevUsb(bus=1, port="2")]),
        (f"<disk type='file'/>{PORT}", [HostdevUsb(bus=1, port="2")]),
    ],
)
def test_parts_of_a_domain(text: str, usb: list[HostdevUsb]) -> None:
    """One <hostdev>, several, a <devices>, a domain without a name: what is there is read, and the VM has no name."""
    vm = xml(text)
    assert (vm.name, vm.manager, vm.origin, vm.hostdevs) == (None, "libvirt", "hearth.xml", usb)
    assert vm.usb_bus is UNSET


def test_whole_domains() -> None:
    """A domain, the state file around it, and several domains one after another."""
    vm = xml(DOMAIN)
    assert (vm.name, vm.manager, vm.usb_bus, vm.autostart) == ("hearth", "libvirt", True, UNSET)
    assert xml(f"<domstatus state='running' pid='700'>{DOMAIN}</domstatus>") == vm
    two = vm_xml((DOMAIN + DOMAIN.replace("hearth", "attic") + DOMAIN).encode(), "x")
    assert [one.name for one in two] == ["hearth", "attic"]


def test_numbers_of_a_running_domain_are_no_choice() -> None:
    """`virsh dumpxml` of a running domain has id= and numbers that libvirt found; IDs beside them are the choice."""
    bound = HOSTDEV.replace("</source>", "<address bus='1' device='4'/></source>")
    live = f"<domain type='kvm' id='3'><name>hearth</name><devices>{bound}</devices></domain>"
    assert xml(live).hostdevs == [HostdevUsb(vid="1209", pid="7a01")]
    assert xml(live.replace(" id='3'", "", 1)).hostdevs == [HostdevUsb(vid="1209", pid="7a01", bus=1, address=4)]


def test_xen_domains_of_libvirt() -> None:
    """`type='xen'` is Xen's."""
    assert xml(DOMAIN.replace("'kvm'", "'xen'")).manager == "xen"


@pytest.mark.parametrize("kind", ["lxc", "openvz", "bhyve", "vbox", "vmware", "hyperv", "test", "vz"])
def test_other_hypervisors_are_refused(kind: str) -> None:
    """For the other types of domain.rng a USB <hostdev> is none, or a device node for a container."""
    said = refusal(DOMAIN.replace("'kvm'", f"'{kind}'"))
    assert kind in said


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "is empty"),
        (b"hearth", "not well-formed"),
        (DOMAIN[:-9].encode(), "not well-formed"),
        (b"<network><name>default</name></network>", "<network>"),
        (b"<domstatus/>", "<domstatus>"),
        (DOMAIN.encode() + b"<network/>", "<network>"),
        (b"<devices/>", "<devices>"),
        (b"<hostdev type='usb'><source/></hostdev>", "names no device"),
        (b"<hostdev type='usb'><source><vendor id='stick'/></source></hostdev>", "names no device"),
        (b"<hostdev type='usb'/>", "names no device"),
        (b"<hostdev type='pci'><source/></hostdev>", "names no device"),
        (b"<x xmlns='a&#10;b'/>", "<{a"),
        (b"<!DOCTYPE d [<!ENTITY a 'b'>]>" + DOMAIN.encode(), "entities or a document type"),
        (b"<!DOCTYPE d SYSTEM 'file:///etc/passwd'>" + DOMAIN.encode(), "entities or a document type"),
        (HOSTDEV.encode() + b"<!DOCTYPE d [<!ENTITY a 'b'>]>" + HOSTDEV.encode(), "not well-formed"),
        (b"<?xml version='1.0' encoding='rot13'?>" + DOMAIN.encode(), "not well-formed"),
        (b"<a>" * 400_000 + b"</a>" * 100, "not well-formed"),
        (b"<domain>" + b"<a>" * 200_000 + b"</a>" * 200_000 + b"</domain><a/>", "<a>"),
        (b"<domain>" + b"x" * (5 << 20) + b"</domain>", "larger than 4 MB"),
    ],
    ids=range(19),
)
def test_what_is_no_domain(data: bytes, word: str) -> None:
    """Malformed, hostile, huge, deep, or of something else: one sentence with what to give instead."""
    said = refusal(data)
    assert word in said
    assert len(said) < 300


def test_entity_bombs_cost_nothing() -> None:
    """Ten entities of ten each, ten times over, are refused before they are expanded."""
    entities = "".join(f"<!ENTITY e{n} '{f'&e{n - 1};' * 10}'>" for n in range(1, 10))
    bomb = f"<!DOCTYPE d [<!ENTITY e0 'x'>{entities}]><domain>&e9;</domain>"
    began = time.monotonic()
    assert "entities" in refusal(bomb)
    assert time.monotonic() - began < 5


MACHINE = (
    "<domain type='kvm'><name>hearth</name><memory unit='MiB'>64</memory>"
    "<os><type arch='x86_64'>hvm</type></os><devices>{}</devices></domain>"
)


@pytest.mark.skipif(VALIDATE is None, reason="virt-xml-validate (Debian package libvirt-clients) is not installed")
@pytest.mark.parametrize(
    ("line", "good"),
    [
        (HOSTDEV, True),
        (HOSTDEV.replace("</source>", "<address bus='1' device='4'/></source>"), True),
        ("<hostdev type='usb'><source/></hostdev>", False),
        ("<hostdev type='usb'><source><vendor id='stick'/></source></hostdev>", False),
        ("<hostdev type='usb'/>", False),
        ("<hostdev type='pci'><source/></hostdev>", False),
    ],
)
def test_what_is_refused_is_no_domain_for_libvirt_either(line: str, good: bool, tmp_path: Path) -> None:
    """A <hostdev> that is taken is valid by libvirt's own schema, and one that is refused is not."""
    file = tmp_path / "hearth.xml"
    file.write_text(MACHINE.format(line))
    assert VALIDATE is not None
    valid = subprocess.run([VALIDATE, str(file), "domain"], capture_output=True, check=False).returncode == 0
    assert valid is good
    if good:
        assert xml(line).hostdevs == xml(MACHINE.format(line)).hostdevs != []
    else:
        assert "names no device" in refusal(line)
