"""libvirt's own schemas and a real libvirt take what is made for it, by the commands that are printed with it."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.snippets import SNIPPETS, make
from radiocheck.chain.verdict import Remedy
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Handles
from radiocheck.evidence.vm import Definition, HostdevUsb, TtyArg
from tests.bench.guest.domain import domain

from . import machines as m
from .libvirt_session import Session, needs_libvirt, session
from .pasted import CONTROLLERS, PINNED, adapters
from .test_judge import two

SCHEMA = Path("/usr/share/libvirt/schemas/domain.rng")  # Debian package libvirt0
RULES = load([shipped()])
ADAPTERS = adapters()
MADE = {
    f"{name} {who}": made.text
    for name in SNIPPETS
    for who in ADAPTERS
    if name.startswith("libvirt-") and (made := make(name, ADAPTERS[who]))
}


def around(element: str) -> str:
    """A whole domain with that element."""
    return domain("hearth", []).replace("</devices>", f"{element}\n</devices>")


def names_ports() -> bool:
    """Whether the schema of the libvirt here has `port` in the source address of a USB hostdev."""
    text = SCHEMA.with_name("domaincommon.rng").read_text()
    return 'name="port"' in text.partition('<define name="usbaddress">')[2].partition("</define>")[0]


@pytest.mark.skipif(
    shutil.which("xmllint") is None or not SCHEMA.exists(),
    reason="xmllint or libvirt's schemas are absent (Debian packages libxml2-utils, libvirt0)",
)
@pytest.mark.parametrize("name", MADE)
def test_schema(tmp_path: Path, name: str) -> None:
    """A domain with it is valid by libvirt's RNG schemas; a socket only where they know `port` (12.8 does, 9.0 not)."""
    file = tmp_path / "domain.xml"
    file.write_text(around(MADE[name]))
    command = ["xmllint", "--noout", "--relaxng", str(SCHEMA), str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode == 0) is ("port=" not in MADE[name] or names_ports()), done.stderr


@pytest.fixture(scope="module")
def libvirt() -> Iterator[Session]:
    """A real libvirt without any VM."""
    with session() as one:
        yield one


@pytest.fixture
def empty(libvirt: Session) -> Iterator[Session]:
    """The same, left as it was."""
    yield libvirt
    libvirt.shell("virsh -q undefine hearth; rm -f *")


@needs_libvirt
def test_definitions(empty: Session) -> None:
    """A real libvirt defines a domain with each of them, and keeps what was said."""
    for text in dict.fromkeys(MADE.values()):
        if "port=" in text and not names_ports():
            continue
        empty.define(around(text))
        root = ElementTree.fromstring(empty.kept("hearth"))
        asked = ElementTree.fromstring(text)
        kept = [one.find("source") for one in root.iter(asked.tag)]
        source = asked.find("source")
        assert source is not None
        assert [_plain(one) for one in kept if one is not None] == [_plain(source)], text
        empty.shell("virsh -q undefine hearth")


def _plain(element: ElementTree.Element) -> tuple[object, ...]:
    return element.tag, sorted(element.attrib.items()), [_plain(child) for child in element]


def remedies(evidence: Evidence, rule: str) -> list[Remedy]:
    """All remedies of the first finding of that rule."""
    report = judge(evidence, RULES)
    found = [
        one
        for chain in report.chains
        for step in chain.steps
        for one in step.findings
        if one.rule == rule and one.result == "found"
    ]
    assert found, f"{rule} is not found"
    return found[0].remedies


def saved(evidence: Evidence, rule: str, part: str) -> Remedy:
    """The remedy of that rule whose configuration has that part."""
    return next(one for one in remedies(evidence, rule) if one.file and part in (one.configuration or ""))


def follow(libvirt: Session, remedy: Remedy) -> None:
    """Do what is printed: save the configuration under its name, and run the command."""
    assert remedy.file is not None
    assert remedy.configuration is not None
    assert remedy.command is not None
    (libvirt.work / remedy.file).write_text(remedy.configuration)
    done = libvirt.shell(remedy.command)
    assert done.returncode == 0, done.stderr


def sources(libvirt: Session) -> list[list[tuple[str, dict[str, str]]]]:
    """What the VM's hostdevs select, at its next start."""
    root = ElementTree.fromstring(libvirt.kept("hearth"))
    return [[(child.tag, child.attrib) for child in source] for source in root.findall("devices/hostdev/source")]


IDS = [("vendor", {"id": "0x1209"}), ("product", {"id": "0x7a01"})]
NUMBER = ("address", {"bus": "1", "device": "4"})


def numbered(line: HostdevUsb) -> Evidence:
    """`hearth` runs and has the stick, by that line."""
    return m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition(line))])


@needs_libvirt
@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["address=1.4"], HostdevUsb(bus=1, address=4)),
        (["both=1209:7a01@1.4"], HostdevUsb(vid="1209", pid="7a01", bus=1, address=4)),
        (["address=1.4", "optional"], HostdevUsb(bus=1, address=4, startup="optional")),
    ],
    ids=lambda value: "-".join(value) if isinstance(value, list) else "",
)
def test_a_pinned_line_is_replaced(empty: Session, words: list[str], line: HostdevUsb) -> None:
    """The printed order replaces the number by the IDs, keeps the policy, and old.xml is the way back."""
    empty.define(domain("hearth", words))
    follow(empty, saved(numbered(line), "address-pinned", "vendor"))
    assert sources(empty) == [IDS]
    assert ("startupPolicy='optional'" in empty.kept("hearth")) is ("optional" in words)
    back = "virsh -q detach-device hearth adapter.xml --config && virsh -q attach-device hearth old.xml --config"
    assert empty.shell(back).returncode == 0
    assert sources(empty) == [[NUMBER]]


@needs_libvirt
def test_twins_on_an_old_libvirt(empty: Session) -> None:
    """Two alike, and no socket can be named: the number beside the IDs, or the whole controller."""
    evidence = m.native(
        **two(),
        controllers=CONTROLLERS,
        disks=[],
        libvirt_version="9.0.0",
        domains=[m.domain(next=m.definition(m.IDS))],
    )
    for part, wanted in (
        ("device=", [[*IDS, NUMBER]]),
        ("pci", [[("address", {"domain": "0x0000", "bus": "0x00", "slot": "0x14", "function": "0x0"})]]),
    ):
        empty.define(domain("hearth", ["ids=1209:7a01"]))
        follow(empty, saved(evidence, "ids-match-several-refused", part))
        assert sources(empty) == wanted
        empty.shell("virsh -q undefine hearth")


def test_twins_on_a_libvirt_that_names_sockets() -> None:
    """From 12.8 on the socket is printed, and neither the number nor the controller."""
    evidence = m.native(
        **two(),
        controllers=CONTROLLERS,
        disks=[],
        libvirt_version="12.8.0",
        domains=[m.domain(next=m.definition(m.IDS))],
    )
    texts = [one.configuration for one in remedies(evidence, "ids-match-several-refused") if one.configuration]
    assert len(texts) == 1
    assert "<address bus='1' port='2'/>" in texts[0]


@needs_libvirt
def test_a_line_of_the_running_vm_is_kept(empty: Session) -> None:
    """What was attached to the running VM only is written into its configuration."""
    evidence = m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition())])
    empty.define(domain("hearth", []))
    follow(empty, saved(evidence, "live-only", "vendor"))
    assert sources(empty) == [IDS]


@needs_libvirt
def test_a_tty_by_its_stable_name(empty: Session) -> None:
    """In the place of the old <serial>, with the <console> that repeats it taken out, libvirt takes the new name."""
    path = TtyArg(path="/dev/ttyACM0")
    lines = Definition(usb=[], pci=[], ttys=[path], usb_bus=True)
    evidence = m.native(
        handles=Handles(open=[m.open_tty("qemu-system-x86", pid=700)], unread=0),
        qemu=[m.process(ttys=[path])],
        domains=[m.domain(live=lines, next=lines)],
    )
    text = next(one.configuration for one in remedies(evidence, "forwarded-by-moving-name") if one.configuration)
    empty.define(domain("hearth", ["tty=/dev/ttyACM0"]))
    root = ElementTree.fromstring(empty.kept("hearth"))
    devices = root.find("devices")
    assert devices is not None
    for tag in ("serial", "console"):
        element = devices.find(tag)
        assert element is not None
        devices.remove(element)
    devices.append(ElementTree.fromstring(text))
    empty.define(ElementTree.tostring(root, encoding="unicode"))
    again = ElementTree.fromstring(empty.kept("hearth"))
    paths = {tag: [one.get("path") for one in again.findall(f"devices/{tag}/source")] for tag in ("serial", "console")}
    assert paths == {"serial": [m.BY_ID], "console": [m.BY_ID]}


def test_a_vm_with_a_strange_name_gets_no_command() -> None:
    """A name that a shell would read in quotes otherwise gives the configuration alone, under no file name."""
    strange = m.domain("a b'; reboot", live=m.definition(m.bound()), next=m.definition(PINNED))
    first = remedies(m.passed(domains=[strange]), "address-pinned")[0]
    assert first.configuration is not None
    assert (first.file, first.command) == (None, None)
