"""From evidence to the step that is named: one fault, one headline, and none on healthy machines."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.judge import NoSuchAdapter, Only, judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Chain, Report
from radiocheck.evidence.disk import Disk
from radiocheck.evidence.record import Event, Evidence, Gap, KernelLog
from radiocheck.evidence.serial import Handles, Link, User
from radiocheck.evidence.usb import Controller, GroupMember, Module
from radiocheck.evidence.vm import HostdevUsb, PciArg, TtyArg, UsbHostArg

from . import controllers as c
from . import machines as m

RULES = load([shipped()])
WHOLE_HOST = m.native()


def report(evidence: Evidence, **only: str) -> Report:
    """The judgement of some evidence."""
    return judge(evidence, RULES, Only(**only))


def own(chain: Chain) -> list[tuple[str, str]]:
    """Step and rule of everything that is found and follows from nothing else."""
    return [
        (step.step, one.rule)
        for step in chain.steps
        for one in step.findings
        if one.result == "found" and one.explained_by is None
    ]


def log(*events: Event) -> KernelLog:
    """A log from the boot on."""
    return KernelLog(source="journal", events=list(events), from_boot=True)


def two(serials: tuple[str | None, str | None] = ("A1B2C3", "D4E5F6"), **change: Any) -> dict[str, Any]:
    """A second stick beside the first."""
    first, second = serials
    return {
        "usb": [
            m.root_hub(),
            m.stick(serial=first),
            m.stick("1-3", 5, second, interfaces=[m.interface("1-3:1.0", ttys=("ttyACM1",))]),
        ],
        "ttys": [m.tty(), m.tty("ttyACM1", 1, "1-3:1.0")],
        "links": [
            Link(path=m.BY_ID, target="ttyACM0", claimants=["ttyACM0"]),
            Link(path=m.BY_ID.replace("A1B2C3", "D4E5F6"), target="ttyACM1", claimants=["ttyACM1"]),
        ],
        **change,
    }


HEALTHY: dict[str, Evidence] = {
    "native": m.native(),
    "passed through by libvirt": m.passed(),
    "passed through, the guest has not configured it yet": m.passed(
        usb=m.given_away(m.stick(interfaces=[m.interface(driver=None, ttys=())])),
        qemu=[m.process(started=m.NOW - 20)],
    ),
    "two adapters, both native": m.native(**two()),
    "held by the service that uses it": m.native(
        handles=Handles(open=[m.open_tty("mesh-server", uid=998, unit="mesh.service")], unread=0)
    ),
    "a VM that is off and asks for nothing": m.native(domains=[m.domain(next=m.definition())]),
    "modem prober whose policy leaves it alone": m.native(
        services=[m.service("modem-prober", "ModemManager.service", policy="strict")]
    ),
    "in a container under a name of its own": m.contained(),
    "in a container, by an account that its image does not know": m.contained(
        users=[User(name="1000", uid=1000, exists=False, asked=True)]
    ),
    "a whole controller with its VM": c.given(),
    "plain QEMU by bus and port": m.passed(
        domains=[],
        qemu=[m.process(uid=0, usb=[UsbHostArg(bus=1, port="2")])],
    ),
}


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_machines(name: str) -> None:
    """A healthy machine has no break and no strain, and its chain is sound."""
    result = report(HEALTHY[name])
    assert [own(chain) for chain in result.chains] == [[] for _ in result.chains]
    assert result.verdict.state == "sound", result.verdict
    assert result.verdict.step is None


FAULTS: dict[str, tuple[Evidence, str, str, str]] = {
    "unplugged while assigned": (
        m.passed(
            usb=[m.root_hub()],
            ports=[m.port(1, None), m.port(2, None)],
            modules=[],
            usb_nodes=[],
            handles=Handles(open=[m.hold(deleted=True)], unread=0),
            kernel_log=log(*m.arrival(), m.departure()),
        ),
        "broken",
        "bus",
        "adapter-not-on-bus",
    ),
    "does not enumerate": (
        m.passed(
            usb=[m.root_hub()],
            ports=[m.port(1, None), m.port(2, None)],
            modules=[],
            usb_nodes=[],
            handles=Handles(open=[], unread=0),
            kernel_log=log(
                *m.arrival(),
                m.departure(),
                Event(
                    kind="descriptor-error",
                    at=m.NOW - 50,
                    device="1-2",
                    data={"err": "-71"},
                    text="usb 1-2: device descriptor read/64, error -71",
                ),
                Event(
                    kind="gave-up",
                    at=m.NOW - 40,
                    port="usb1-port2",
                    text="usb usb1-port2: unable to enumerate USB device",
                ),
            ),
        ),
        "broken",
        "bus",
        "enumeration-fails",
    ),
    "not authorised": (
        m.native(
            usb=[m.root_hub(), m.stick(authorized=False, configuration=None, max_power_ma=None, interfaces=[])],
            ttys=[],
            links=[],
            modules=[],
        ),
        "broken",
        "bus",
        "not-authorised",
    ),
    "module on a block list": (
        m.native(
            usb=[m.root_hub(), m.stick(interfaces=[m.interface(driver=None, ttys=())])],
            ttys=[],
            links=[],
            modules=[
                Module(
                    name="cdc_acm",
                    interfaces=["1-2:1.0"],
                    loaded=False,
                    available=True,
                    blocked_by="/etc/modprobe.d/local.conf: blacklist cdc_acm",
                )
            ],
        ),
        "broken",
        "driver",
        "driver-module-blocked",
    ),
    "driver unbound": (
        m.native(usb=[m.root_hub(), m.stick(interfaces=[m.interface(driver=None, ttys=())])], ttys=[], links=[]),
        "broken",
        "driver",
        "driver-unbound",
    ),
    "orphaned when the hypervisor died": (
        m.passed(
            usb=m.given_away(m.stick(interfaces=[m.interface(driver=None, ttys=())])),
            handles=Handles(open=[], unread=0),
            qemu=[],
            domains=[m.domain(next=m.definition(m.IDS))],
        ),
        "broken",
        "driver",
        "orphaned-by-dead-hypervisor",
    ),
    "two sticks without serial numbers": (
        m.native(**two((None, None), links=[Link(path=m.BY_ID, target="ttyACM1", claimants=["ttyACM0", "ttyACM1"])])),
        "weak",
        "name",
        "name-points-elsewhere",
    ),
    "user outside the group": (
        m.native(users=[User(name="mira", uid=1000, exists=True, groups=[1000], session_groups=[1000], asked=True)]),
        "broken",
        "access",
        "user-lacks-rights",
    ),
    "a terminal program has it": (
        m.native(handles=Handles(open=[m.open_tty("picocom")], unread=0)),
        "broken",
        "access",
        "held-by-terminal-program",
    ),
    "re-plugged under libvirt": (
        m.passed(
            usb=[m.root_hub(), m.stick(devnum=5)],
            ttys=[m.tty()],
            links=WHOLE_HOST.links,
            handles=Handles(open=[m.hold(deleted=True)], unread=0),
            kernel_log=log(*m.arrival(), m.departure(), *m.arrival(number=5, at=m.NOW - 50)),
        ),
        "broken",
        "handover",
        "lost-by-replug",
    ),
    "pinned address under plain QEMU after a replug": (
        m.passed(
            usb=[m.root_hub(), m.stick(devnum=5)],
            ttys=[m.tty()],
            links=WHOLE_HOST.links,
            domains=[],
            qemu=[m.process(uid=0, usb=[UsbHostArg(bus=1, address=4)])],
            handles=Handles(open=[m.hold(deleted=True)], unread=0),
            kernel_log=log(*m.arrival(), m.departure(), *m.arrival(number=5, at=m.NOW - 50)),
        ),
        "broken",
        "assignment",
        "address-stale",
    ),
    "VM is off": (
        m.native(domains=[m.domain(next=m.definition(m.IDS))]),
        "broken",
        "handover",
        "vm-off",
    ),
    "two alike and libvirt": (
        m.native(**two(), domains=[m.domain(next=m.definition(m.IDS))]),
        "broken",
        "assignment",
        "ids-match-several-refused",
    ),
    "only attached live": (
        m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition())]),
        "weak",
        "assignment",
        "live-only",
    ),
    "configuration newer than the VM": (
        m.native(
            qemu=[m.process(own_nodes=[])],
            domains=[m.domain(live=m.definition(), next=m.definition(m.IDS))],
        ),
        "broken",
        "assignment",
        "not-in-running-vm",
    ),
    "an IDs line that fits nothing": (
        m.native(domains=[m.domain(next=m.definition(HostdevUsb(vid="1209", pid="7a99")))]),
        "broken",
        "assignment",
        "ids-match-nothing",
    ),
    "optional and missing at start": (
        m.native(
            qemu=[m.process(own_nodes=[])],
            domains=[
                m.domain(
                    live=m.definition(HostdevUsb(vid="1209", pid="7a01", startup="optional", missing=True)),
                    next=m.definition(HostdevUsb(vid="1209", pid="7a01", startup="optional")),
                )
            ],
        ),
        "broken",
        "handover",
        "missing-at-start",
    ),
    "container without the node": (
        m.contained(m.given(node=None, refused=UNSET)),
        "broken",
        "access",
        "node-not-in-container",
    ),
    "container that keeps the number of an older plug-in": (
        m.contained(m.given(minor=1)),
        "broken",
        "access",
        "container-node-has-old-number",
    ),
    "container whose node was taken back": (
        m.contained(m.given("/dev/ttyACM0", gid=0, mount="bind", removed=True, refused="EACCES")),
        "broken",
        "access",
        "container-node-has-old-number",
    ),
    "container with the device list of another number": (
        m.contained(m.given(refused="EPERM", listed=False)),
        "broken",
        "access",
        "container-device-list-refuses",
    ),
    "container with another number for the group": (
        m.contained(m.given(refused="EACCES", asked_groups=[27, 1000])),
        "broken",
        "access",
        "container-group-number-differs",
    ),
    "container that was given the adapter as a volume": (
        m.contained(m.given(nodev=True)),
        "broken",
        "access",
        "node-on-nodev-mount",
    ),
    "autosuspend": (
        m.native(usb=[m.root_hub(), m.stick(power_control="auto")]),
        "weak",
        "power",
        "autosuspend-forced",
    ),
    "forwarded by a moving name": (
        m.native(
            domains=[],
            qemu=[m.process(uid=0, ttys=[TtyArg(path="/dev/ttyACM0")])],
            handles=Handles(open=[structs.replace(m.open_tty("qemu-system-x86", 700, 0), hypervisor=True)], unread=0),
        ),
        "weak",
        "assignment",
        "forwarded-by-moving-name",
    ),
    "controller that nobody takes from the host": (
        c.off(c.asks(c.HOME, managed=False)),
        "broken",
        "assignment",
        "controller-left-to-host",
    ),
    "controller with a disk of the host": (
        structs.replace(
            c.off(c.asks(c.HOME), disks=[Disk(name="sdb1", usb="1-1", pci=c.HOME, mounts=["/srv"])]), kernel_log=log()
        ),
        "broken",
        "handover",
        "vm-off",
    ),
    "controller with another's address": (
        c.off(c.asks(c.FAR), controllers=[c.controller(), c.controller(c.FAR)]),
        "weak",
        "assignment",
        "controller-is-another",
    ),
    "controller with VFIO and no VM": (
        m.native(
            usb=[],
            ports=[],
            ttys=[],
            links=[],
            modules=[],
            usb_nodes=[],
            controllers=[
                Controller(
                    address="0000:00:14.0",
                    class_="0c0330",
                    driver="vfio-pci",
                    driver_override="vfio-pci",
                    vfio=True,
                    iommu_group=4,
                    group=[],
                    buses=[],
                )
            ],
            domains=[m.domain(next=structs.replace(m.definition(), pci=[PciArg(address="0000:00:14.0")]))],
        ),
        "broken",
        "handover",
        "controller-without-vm",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_one_fault_one_headline(name: str) -> None:
    """The worst chain blames the step where the fault is, by the rule that is named for it, and by no other break."""
    evidence, state, step, rule = FAULTS[name]
    result = report(evidence)
    worst = result.chains[0]
    found = own(worst)
    assert (result.verdict.state, result.verdict.step) == (state, step), (result.verdict, found)
    blamed = next(one for one in worst.steps if one.step == step)
    assert blamed.findings[0].rule == rule, found
    breaks = [
        one for one in blamed.findings if one.result == "found" and one.gravity == "break" and not one.explained_by
    ]
    assert len(breaks) == (1 if state == "broken" else 0), found


def test_behind_a_break_nothing_is_judged() -> None:
    """Steps behind the first break are unreached, and have no finding."""
    worst = report(FAULTS["not authorised"][0]).chains[0]
    states = {step.step: step.state for step in worst.steps}
    assert states["driver"] == states["name"] == states["access"] == "unreached"
    assert all(not step.findings for step in worst.steps if step.state == "unreached")


def test_controller_with_shared_group() -> None:
    """A controller whose IOMMU group has a member that the host drives cannot be given away (vfio.rst)."""
    shared = Controller(
        address="0000:00:14.0",
        class_="0c0330",
        driver="xhci_hcd",
        driver_override=None,
        vfio=False,
        iommu_group=4,
        group=[GroupMember(address="0000:00:14.2", class_="050000", driver="intel_thing")],
        buses=[1],
    )
    evidence = m.native(
        controllers=[shared],
        domains=[m.domain(next=structs.replace(m.definition(), pci=[PciArg(address="0000:00:14.0")]))],
    )
    result = report(evidence)
    assert result.verdict.step == "assignment"
    assert ("assignment", "controller-group-shared") in own(result.chains[0])


def test_a_pci_address_where_nothing_is() -> None:
    """A VM that asks for a PCI function that is gone breaks at the assignment; a graphics card has no chain."""
    asks = [m.domain(next=structs.replace(m.definition(), pci=[PciArg(address="0000:00:16.0")]))]
    gone = report(m.native(domains=asks, pci_functions=["0000:00:14.0"]))
    assert (gone.verdict.state, gone.verdict.step) == ("broken", "assignment")
    assert ("assignment", "controller-address-wrong") in own(gone.chains[0])
    card = report(m.native(domains=asks, pci_functions=["0000:00:14.0", "0000:00:16.0"]))
    assert card.verdict.state == "sound"


def test_a_line_without_a_selector_belongs_to_what_it_took() -> None:
    """QEMU without a selector takes what it meets; its line is told of the adapter that it holds."""
    evidence = m.passed(domains=[], qemu=[m.process(uid=0, usb=[UsbHostArg()])])
    result = report(evidence)
    assert [(chain.state, chain.step) for chain in result.chains] == [("weak", "assignment")]
    assert own(result.chains[0]) == [("assignment", "selector-missing")]


def test_a_borrowed_adapter() -> None:
    """A VM that only has it attached by hand is named when another VM's configuration asks for it."""
    evidence = m.passed(
        qemu=[m.process("attic")],
        domains=[
            m.domain("attic", live=m.definition(m.bound()), next=m.definition()),
            m.domain("hearth", next=m.definition(m.IDS)),
        ],
    )
    result = report(evidence)
    assert (result.verdict.state, result.verdict.step) == ("broken", "handover")
    assert ("handover", "held-by-other-vm") in own(result.chains[0])


def test_without_root_holders_are_unseen() -> None:
    """What other users' processes hold is not guessed: access is unseen, and says that root would show it."""
    evidence = m.native(
        handles=Handles(open=[], unread=40), gaps=[Gap(what="handles", why="denied", provide="run as root")]
    )
    chain = report(evidence).chains[0]
    access = next(step for step in chain.steps if step.step == "access")
    assert access.state == "unseen"
    assert [one.provide for one in access.missing] == ["run as root"]
    assert report(evidence).verdict.state == "unseen"


def test_an_unreadable_configuration_is_not_taken_for_none() -> None:
    """When libvirt could not be read, the route is unknown, and no VM rule is clear."""
    from msgspec import UNSET

    evidence = m.native(domains=UNSET, gaps=[Gap(what="domains", why="denied", provide="run as root")])
    chain = report(evidence).chains[0]
    assert chain.route == "unknown"
    assert chain.state == "unseen"


def test_nothing_to_judge() -> None:
    """A host without adapters and assignments is not called sound: there is nothing that could be."""
    evidence = m.native(usb=[m.root_hub()], ttys=[], links=[], modules=[], kernel_log=log())
    result = report(evidence)
    assert (result.verdict.state, result.verdict.step, result.chains) == ("unseen", None, [])


def test_an_adapter_that_left_is_remembered() -> None:
    """With nothing else to show, the log's last adapter gets a chain that breaks at the bus."""
    evidence = m.native(usb=[m.root_hub()], ttys=[], links=[], modules=[], kernel_log=log(*m.arrival(), m.departure()))
    result = report(evidence)
    assert (result.verdict.state, result.verdict.step) == ("broken", "bus")
    assert result.chains[0].adapter.serial == "A1B2C3"


@pytest.mark.parametrize("word", ["A1B2C3", "1209:7a01", "1-2", "ttyACM0", m.BY_ID, m.BY_ID.rpartition("/")[2]])
def test_an_adapter_by_its_names(word: str) -> None:
    """--adapter takes serial number, VID:PID, port path, tty and by-id name."""
    assert len(report(m.native(**two()), adapter=word).chains) == (2 if word == "1209:7a01" else 1)


def test_no_such_adapter() -> None:
    """A filter that fits nothing says what there is."""
    with pytest.raises(NoSuchAdapter, match="Lindenhof Mesh stick A1B2C3"):
        report(m.native(), adapter="nothing")


def test_worst_chain_first() -> None:
    """With a broken and a sound adapter the broken one leads, and the verdict is its own."""
    evidence = m.native(
        **two(), domains=[m.domain(next=m.definition(HostdevUsb(vid="1209", pid="7a01", bus=1, address=5)))]
    )
    result = report(evidence)
    states = [chain.state for chain in result.chains]
    assert states == sorted(states, key=["broken", "weak", "unseen", "sound"].index)
    assert result.verdict.state == states[0]
