"""The VM `hearth` of the invented house as radiocheck sees it from inside, and the host that knows its UUID."""

from __future__ import annotations

from typing import Any

from msgspec import structs

from radiocheck.evidence.record import Event, Evidence, Host, KernelLog, Taken
from radiocheck.evidence.serial import Handles, Link
from radiocheck.evidence.usb import Controller, Module, UsbDevice

from . import machines as m

HEARTH = "8c3c1d2e-1111-2222-3333-444455556666"
ATTIC = "7b2b0c1d-aaaa-bbbb-cccc-ddddeeeeffff"


def controller(address: str = "0000:00:03.0", vid: str = "1b36", pid: str = "000d") -> Controller:
    """The VM's USB controller; QEMU's own unless told otherwise."""
    return Controller(
        address=address,
        class_="0c0330",
        vid=vid,
        pid=pid,
        driver="xhci_hcd",
        driver_override=None,
        vfio=False,
        iommu_group=None,
        group=[],
        buses=[1, 2],
    )


def stick(name: str = "1-1", devnum: int = 2, **change: Any) -> UsbDevice:
    """The same stick on the VM's bus: another place and number, the same words."""
    return m.stick(name, devnum, **{"controller": "0000:00:03.0", "connected_ms": 7_000_000, **change})


def host_of(uuid: str | None = HEARTH, booted: float = m.NOW - 7900, **change: Any) -> Host:
    """The VM as a machine."""
    base = Host(
        kernel="6.1.0-42-cloud-amd64",
        machine="x86_64",
        distribution="Debian GNU/Linux 12 (bookworm)",
        booted=booted,
        virtualisation="kvm",
        container=None,
        hypervisor=False,
        uuid=uuid,
        udev_running=True,
    )
    return structs.replace(base, **change)


def hearth(**change: Any) -> Evidence:
    """The VM with the stick, captured ten seconds after the host: its own program may use it."""
    log = m.arrival("1-1", 2, at=m.NOW - 7000)
    evidence = m.native(
        taken=Taken(at=m.NOW + 10, tool="test", root=True),
        host=host_of(),
        usb=[m.root_hub(), stick()],
        ports=[m.port(1, "1-1"), m.port(2, None)],
        controllers=[controller()],
        modules=[Module(name="cdc_acm", interfaces=["1-1:1.0"], loaded=True, available=True, blocked_by=None)],
        ttys=[m.tty(where="1-1:1.0")],
        links=[Link(path=m.BY_ID, target="ttyACM0", claimants=["ttyACM0"])],
        usb_nodes=[],
        kernel_log=KernelLog(source="journal", events=log, since=m.NOW - 7900, from_boot=True),
    )
    return structs.replace(evidence, **change)


def undriven(**module: Any) -> Evidence:
    """The VM whose kernel came without the module."""
    bare = stick(interfaces=[m.interface("1-1:1.0", driver=None, ttys=())])
    found = Module(name="cdc_acm", interfaces=["1-1:1.0"], loaded=False, available=False, blocked_by=None)
    return hearth(usb=[m.root_hub(), bare], ttys=[], links=[], modules=[structs.replace(found, **module)])


def refused() -> Evidence:
    """The VM whose kernel could not configure it: error -32."""
    text = "usb 1-1: can't set config #1, error -32"
    said = Event(kind="set-config-failed", at=m.NOW - 6999, device="1-1", data={"c": "1", "err": "-32"}, text=text)
    log = [*m.arrival("1-1", 2, at=m.NOW - 7000)[:5], said]
    return hearth(
        usb=[m.root_hub(), stick(configuration=None, max_power_ma=None, interfaces=[])],
        ttys=[],
        links=[],
        modules=[],
        kernel_log=KernelLog(source="journal", events=log, since=m.NOW - 7900, from_boot=True),
    )


def host(**change: Any) -> Evidence:
    """The host `gable`, which gives the stick to `hearth` and knows the UUIDs of its VMs."""
    known = m.passed(
        qemu=[m.process(uuid=HEARTH)],
        domains=[
            m.domain(uuid=HEARTH, live=m.definition(m.bound()), next=m.definition(m.IDS)),
            m.domain("attic", uuid=ATTIC, next=m.definition()),
        ],
    )
    known = structs.replace(known, host=structs.replace(known.host, hypervisor=True, uuid=None))
    return structs.replace(known, **change)


def replugged(**change: Any) -> Evidence:
    """That host after a replug: the stick has a new number, and `hearth` still holds the old node."""
    arrivals = [*m.arrival(), m.departure(), *m.arrival(number=5, at=m.NOW - 50)]
    return host(
        usb=[m.root_hub(), m.stick(devnum=5)],
        ttys=[m.tty()],
        links=m.native().links,
        handles=Handles(open=[m.hold(deleted=True)], unread=0),
        kernel_log=KernelLog(source="journal", events=arrivals, from_boot=True),
        **change,
    )
