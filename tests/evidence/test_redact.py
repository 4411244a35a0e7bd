"""No secret is left in redacted evidence, and every verdict stays what it was."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any, get_type_hints

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import Struct
from msgspec.structs import replace

from radiocheck.chain.judge import Only, judge
from radiocheck.evidence import private
from radiocheck.evidence.ordinary import SYSTEM_NAMES, is_ordinary
from radiocheck.evidence.record import Event, Evidence, Gap, Host, KernelLog
from radiocheck.evidence.redact import redact
from radiocheck.evidence.serial import AclEntry, AppMessage, Handle, Handles, Link, Node, Tty, User
from radiocheck.evidence.store import load, save
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import Domain, GivenVm, Monitor, QemuProcess, VmMessage
from tests.evidence.household import BASE, FIXTURES, HOST, RULES, household, leaks, outputs, planted, signature
from tests.strategies import records


@pytest.mark.parametrize("file", FIXTURES, ids=lambda file: file.parent.name)
def test_the_verdict_is_the_same(file: Path) -> None:
    """State, step, route, every step, every rule and every forecast of every fixture."""
    evidence = load(file.read_bytes(), file.name)
    redacted = redact(evidence, hosts=("gable",)).records[0]
    before = judge(evidence, RULES)
    assert signature(judge(redacted, RULES)) == signature(before)
    shown = outputs(redacted)
    for name in ("mira", "hearth", "attic", "A1B2C3"):
        assert name not in shown


# Names that are also words of the machine: a port, a bus, a folder, a driver, a vendor ID.
AWKWARD = [
    *"1 0001 usb dev tty ttyACM0 1-2 1209 serial vm-1 serial-1 root mesh cdc_acm Lindenhof".split(),
    "a b",
]


@pytest.mark.parametrize("awkward", AWKWARD)
@pytest.mark.parametrize("name", ["A1B2C3D4", "hearth", "mira"])
@pytest.mark.parametrize("fixture", ["demo", "held-by-other-vm", "ids-match-several-later", "held-by-terminal-program"])
def test_awkward_names(fixture: str, name: str, awkward: str) -> None:
    """A serial number `1`, a VM called `usb`, an account called `dev`: no path, bus or driver changes with them."""
    file = next(file for file in FIXTURES if file.parent.name == fixture)
    raw = file.read_text()
    evidence = load(raw.replace(name, awkward if name != "A1B2C3D4" else awkward.replace(" ", "_")).encode(), "x")
    redacted = redact(evidence).records[0]
    assert signature(judge(redacted, RULES)) == signature(judge(evidence, RULES))
    for before, after in zip(evidence.usb or [], redacted.usb or [], strict=True):
        for field in ("name", "path", "port", "vid", "pid", "controller", "driver"):
            assert getattr(before, field) == getattr(after, field)
    for one, other in zip(evidence.usb_nodes or [], redacted.usb_nodes or [], strict=True):
        assert one.path == other.path
    for one, other in zip(evidence.ttys or [], redacted.ttys or [], strict=True):
        assert (one.name, one.node.path) == (other.name, other.node.path)


@given(records(Evidence, planted()))
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_secret_in_any_field(some: Evidence) -> None:
    """Whatever text field of whatever record a secret stands in, it is gone."""
    both = redact(some, household(), hosts=(HOST,)).records
    for one in both:
        assert leaks(save(one).decode()) == []


def _sown(value: Any, words: list[str], chance: random.Random) -> Any:
    """A copy with secrets after some texts that are longer than the kernel's short names."""
    if isinstance(value, Struct):
        return type(value)(**{field: _sown(getattr(value, field), words, chance) for field in value.__struct_fields__})
    if isinstance(value, list):
        return [_sown(item, words, chance) for item in value]
    if isinstance(value, dict):
        return {key: _sown(item, words, chance) for key, item in value.items()}
    if isinstance(value, str) and len(value) > 9 and chance.random() < 0.3:
        return f"{value} {chance.choice(words)}"
    return value


@given(st.sampled_from(FIXTURES), st.lists(planted(), min_size=1, max_size=20), st.integers(0, 999))
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_secret_in_any_output(file: Path, words: list[str], seed: int) -> None:
    """Real evidence with secrets sown into log lines, names, paths and reasons: none is in text or JSON."""
    evidence = _sown(load(file.read_bytes(), file.name), words, random.Random(seed))
    redacted = redact(evidence, household(), hosts=(HOST,)).records[0]
    assert leaks(outputs(redacted)) == []


LOG = [
    ("usb 1-2: SerialNumber: K7Q2-93XZ1 b", "usb 1-2: SerialNumber: serial-1"),
    ("cdc_ether 1-2:2.0 eth1: register 'cdc_ether' at usb-0000:00:14.0-2, 00:12:4b:0a:9c:3d",
     "cdc_ether 1-2:2.0 eth1: register 'cdc_ether' at usb-0000:00:14.0-2, mac-1"),
    ("usb 1-1.2.3.4: device descriptor read/64, error -71", "usb 1-1.2.3.4: device descriptor read/64, error -71"),
    ("usb 1-2: usbfs: process 7 (ottilie-bridge) did not claim interface 0 before use",
     "usb 1-2: usbfs: process 7 (user-1-bridge) did not claim interface 0 before use"),
    ("Nov 25 11:24:11 felsenkeller kernel: usb 1-2: USB disconnect, device number 4",
     "Nov 25 11:24:11 host-1 kernel: usb 1-2: USB disconnect, device number 4"),
    ("12:34:56 xhci_hcd 0000:00:14.0: WARN", "12:34:56 xhci_hcd 0000:00:14.0: WARN"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "becomes"), LOG, ids=range(len(LOG)))
def test_log_lines(line: str, becomes: str) -> None:
    """What is private in the kernel's words is replaced, and what only looks so is not."""
    log = KernelLog(source="journal", events=[Event(kind="found", text=line)])
    some = replace(household(), kernel_log=log)
    redacted = redact(some, hosts=("felsenkeller",)).records[0]
    assert redacted.kernel_log.events[0].text == becomes


WORDS_OF_PROGRAMS = [
    ("error: Failed to start domain 'garten.haus'", "error: Failed to start domain 'vm-1'"),
    ("qemu-system-x86_64 -name guest=garten.haus,debug-threads=on -uuid 3f2504e0-4f89-41d3-9a0c-0305e82c3301",
     "qemu-system-x86_64 -name guest=vm-1,debug-threads=on -uuid uuid-1"),
    ("-netdev tap,id=n0 -device e1000,netdev=n0,mac=52:54:00:9a:bc:de",
     "-netdev tap,id=n0 -device e1000,netdev=n0,mac=mac-1"),
    ("mqtt://10.1.2.3:1883 refused, ask o@post.example", "mqtt://address-1:1883 refused, ask mail-1"),
    ("[Errno 13] port /home/ottilie/adapter/port: denied", "[Errno 13] port /home/user-1/path-1: denied"),
    ("ottilie@felsenkeller:~$ cat /dev/ttyUSB0", "user-1@host-1:~$ cat /dev/ttyUSB0"),
    ("serial-getty@ttyUSB0.service of user@1000.service", "serial-getty@ttyUSB0.service of user@1000.service"),
    ("uid=1000(ottilie) gid=1000(ottilie) groups=20(dialout)", "uid=1000(user-1) gid=1000(user-1) groups=20(dialout)"),
    ("/dev/serial/by-id/usb-Hollmark_Meter_K7Q2-93XZ1_b-if00", "/dev/serial/by-id/usb-Hollmark_Meter_serial-1-if00"),
    ("/dev/serial/by-id/usb-Hollmark_Meter_00B7719A-if00", "/dev/serial/by-id/usb-Hollmark_Meter_serial-1-if00"),
    ("/dev/serial/by-id/usb-1a86_USB2.0-Serial-if00-port0", "/dev/serial/by-id/usb-1a86_USB2.0-Serial-if00-port0"),
    ("machine-qemu\\x2d1\\x2dgarten.haus.scope", "machine-qemu\\x2d1\\x2dvm-1.scope"),
    ("docker-c0ffee254729296a45a3885639ac7e1081f9d54c0ffee254729296a45a388563.scope", "docker-id-1.scope"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "becomes"), WORDS_OF_PROGRAMS, ids=range(len(WORDS_OF_PROGRAMS)))
def test_other_lines(line: str, becomes: str) -> None:
    """Command lines, refusals, prompts, units and links."""
    known = household()
    if "00B7719A" in line:
        known = BASE  # a serial number that only the link tells
    some = replace(known, app_messages=[AppMessage(kind="denied", text=line)])
    assert redact(some).records[0].app_messages[0].text == becomes


def test_equal_stay_equal() -> None:
    """Two adapters with one serial number still share one, a third has its own, and each link is its adapter's."""
    devices = [
        UsbDevice(name=name, serial=number) for name, number in (("1-1", "77AB"), ("1-2", "77AB"), ("1-3", "77ab"))
    ]
    links = [
        Link(path=f"/dev/serial/by-id/usb-Lindenhof_Mesh_stick_{number}-if00", target=tty)
        for number, tty in (("77AB", "ttyUSB0"), ("77ab", "ttyUSB2"))
    ]
    redacted = redact(replace(BASE, usb=devices, links=links)).records[0]
    first, second, third = redacted.usb
    assert first.serial == second.serial != third.serial
    assert [link.path for link in redacted.links] == [
        f"/dev/serial/by-id/usb-Lindenhof_Mesh_stick_{device.serial}-if00" for device in (first, third)
    ]


def test_order_stays() -> None:
    """Stand-ins sort as the names do, also more than nine of them."""
    names = [f"vm {letter}" for letter in "mcxbfaqzkwle"]
    redacted = redact(replace(BASE, domains=[Domain(name=name) for name in names])).records[0]
    stand_ins = {name: domain.name for name, domain in zip(names, redacted.domains, strict=True)}
    assert [stand_ins[name] for name in sorted(names)] == sorted(stand_ins.values())
    assert len(set(stand_ins.values())) == len(names)


def test_the_same_word_in_host_and_guest() -> None:
    """Two captures that belong together stay comparable."""
    host = replace(BASE, domains=[Domain(name="hearth", uuid="5c1a7c6e-0000-4000-8000-00000000000a")])
    guest = replace(BASE, host=Host(uuid="5c1a7c6e-0000-4000-8000-00000000000a"))
    one, other = redact(host, guest).records
    assert one.domains[0].uuid == other.host.uuid == "uuid-1"


def test_system_accounts_stay() -> None:
    """They are the same on every machine, and rules and readers know them."""
    node = Node(
        path="/dev/ttyUSB0", owner="root", group="dialout", acl=[AclEntry(tag="user", name="libvirt-qemu", perms=6)]
    )
    some = replace(
        BASE,
        ttys=[Tty(name="ttyUSB0", node=node)],
        qemu=[QemuProcess(pid=7, user="libvirt-qemu")],
        handles=Handles(open=[Handle(pid=8, command="brltty", user="brltty", path="/dev/ttyUSB0")]),
    )
    assert redact(some).records[0] == some


def test_root_hubs_keep_their_serial_number() -> None:
    """It is the address of the controller (drivers/usb/core/hcd.c), which says where an adapter sits."""
    for number in ("0000:00:14.0", "xhci-hcd.0.auto", "fe980000.usb", "dummy_hcd.1", "vhci_hcd.0", "ci_hdrc.0"):
        some = replace(BASE, usb=[UsbDevice(name="usb1", serial=number)])
        assert redact(some).records[0] == some


def test_counts() -> None:
    """How many of each kind were replaced; names that do not occur are not counted."""
    assert redact(household(), hosts=("gable",)).counts == {"serial": 1, "user": 1, "vm": 1, "group": 1, "uuid": 1}
    assert redact(BASE, hosts=("gable", "localhost")).counts == {}


def test_again_changes_nothing() -> None:
    """What was redacted is redacted to itself."""
    once = redact(household(), hosts=(HOST,)).records[0]
    assert redact(once).records[0] == once


def test_a_named_adapter_is_found_again() -> None:
    """What a person asked for by its real name is found by its stand-in."""
    file = next(file for file in FIXTURES if file.parent.name == "demo")
    evidence = load(file.read_bytes(), "x")
    redacted = redact(evidence)
    for name in ("A1B2C3D4", "usb-Lindenhof_Mesh_stick_A1B2C3D4-if00", "9-1", "1209:7a01"):
        only = Only(adapter=redacted.stand_in(name), vm=redacted.stand_in("hearth"))
        assert [one.adapter.port for one in judge(redacted.records[0], RULES, only).chains] == ["9-1"]


def test_gaps_belong_to_their_names() -> None:
    """The reason why something of an account is missing still names that account."""

    def gap(name: str) -> Gap:
        return Gap(
            what=f"users[{name}].session_groups",
            why="not-here",
            detail=f"no process of {name} can be seen",
            provide=f"log in as {name}, then check again",
        )

    redacted = redact(replace(BASE, users=[User(name="dev")], gaps=[gap("dev")])).records[0]
    assert redacted.gaps == [gap("user-1")]


def test_paths_with_blanks() -> None:
    """Of a field that is a path, everything below the home is replaced."""
    some = replace(
        BASE,
        monitors=[Monitor(socket="/home/ottilie/my secret files/vm.sock")],
        given_vms=[GivenVm(name=None, manager="qemu", origin="/root/my secret files")],
    )
    redacted = redact(some).records[0]
    assert redacted.monitors[0].socket == "/home/user-1/path-2"
    assert redacted.given_vms[0].origin == "/root/path-1"


def test_versions_are_no_addresses() -> None:
    """A version with four parts stays in the fields for versions."""
    said = VmMessage(vm=None, kind="x", text="from 9.0.0.1")
    some = replace(BASE, host=Host(kernel="4.19.0.4 #1"), libvirt_version="9.0.0.1", vm_messages=[said])
    redacted = redact(some).records[0]
    assert (redacted.host.kernel, redacted.libvirt_version) == ("4.19.0.4 #1", "9.0.0.1")
    assert redacted.vm_messages[0].text == "from address-1"


def test_the_table_names_fields_that_exist() -> None:
    """A renamed field cannot fall out of the table unseen."""
    types = {kind.__name__: kind for kind in _every_record()}
    for name, field, *_ in (*private.FIELDS, *private.KEYS, *private.PATHS, *private.VERSIONS):
        assert field in types[name].__struct_fields__


def test_every_name_field_is_decided() -> None:
    """A new field called like a private one must be put into the table, or here with its reason."""
    kernels = {(kind, "name") for kind in ("UsbInterface", "UsbDevice", "UsbPort", "Module", "Tty", "Disk")}
    public = kernels | {("Controller", "group"), ("AclEntry", "name")}  # PCI functions; by its tag
    kinds = _every_record()
    assert len(kinds) > 25
    for kind in kinds:
        for field in kind.__struct_fields__:
            if field in ("name", "serial", "uuid", "user", "owner", "group", "vm", "ssid", "bssid", "hostname"):
                assert (kind.__name__, field) in public or (kind.__name__, field) in private.FIELDS


def _every_record() -> list[type[Struct]]:
    """The types of all records that evidence is made of."""
    found: list[type[Struct]] = []

    def visit(hint: Any) -> None:
        for inner in getattr(hint, "__args__", ()):
            visit(inner)
        if isinstance(hint, type) and issubclass(hint, Struct) and hint not in found:
            found.append(hint)
            for other in get_type_hints(hint).values():
                visit(other)

    visit(Evidence)
    return found


def test_ordinary_words() -> None:
    """What the machine is made of is no secret; names, numbers and addresses are not ordinary."""
    assert all(
        map(
            is_ordinary,
            [*SYSTEM_NAMES, "usb", "USB", "1", "0001", "10c4", "1-2", "ttyUSB0", "0000:00:14.0", "serial-12"],
        )
    )
    assert not any(map(is_ordinary, ["mira", "hearth", "A1B2C3D4", "1234567", "kim", "my usb", "00:12:4b:00:1c:0a"]))
