"""USB ports as read from sysfs, under umockdev testbeds."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.usb import PhysicalPlace, UsbPort
from radiocheck.sources import ports
from radiocheck.sources.machine import Machine

from .umock import Eventful, laid_out, needs_umockdev, refusing, seen_under

GABLE = "gable.umockdev"


def by_name(machine: Machine) -> dict[str, UsbPort]:
    return {port.name: port for port in ports.collect(machine).facts["ports"]}


def port_folder(root: str, interface: str, port: str) -> Path:
    return Path(os.path.realpath(f"{root}/sys/bus/usb/devices/{interface}")) / port


@needs_umockdev
def test_every_port_of_every_hub() -> None:
    """Every hub shows one object for each port, named <hub>-port<N> (usb_hub_create_port_device() in port.c)."""
    seen = seen_under("ports", GABLE)
    hubs = ("1-2", "2-3", "usb1", "usb2")
    assert [port.name for port in seen.ports] == [f"{hub}-port{n}" for hub in hubs for n in (1, 2, 3, 4)]
    assert {(port.hub, port.number) for port in seen.ports} == {(hub, n) for hub in hubs for n in (1, 2, 3, 4)}


@needs_umockdev
def test_every_field_of_a_port() -> None:
    """Each field holds what its file says (Documentation/ABI sysfs-bus-usb and sysfs-devices-physical_location)."""
    with laid_out(GABLE) as root:
        seen = by_name(Machine(root=root))
    assert seen["usb1-port2"] == UsbPort(
        name="usb1-port2",
        hub="usb1",
        number=2,
        connect_type="hotplug",
        location=0x80000102,
        place=PhysicalPlace(panel="back", vertical="lower", horizontal="left", dock=False, lid=False),
        over_current=0,
        state="configured",
        disabled=False,
        early_stop=False,
        peer="usb2-port3",
        device="1-2",
    )
    assert (seen["usb1-port4"].over_current, seen["usb1-port4"].connect_type) == (2, "hardwired")
    assert (seen["usb1-port1"].state, seen["usb1-port1"].device) == ("not attached", None)  # usb_state_string()


@needs_umockdev
def test_a_capture_of_a_real_kernel() -> None:
    """A Debian 6.1 kernel shows all ports of its six root hubs and one hub, and who sits in which."""
    with laid_out("captured-linux-6.1.umockdev") as root:
        seen = by_name(Machine(root=root))
    assert {hub: len([p for p in seen.values() if p.hub == hub]) for hub in sorted({p.hub for p in seen.values()})} == {
        "3-2": 8,
        "usb1": 4,
        "usb10": 1,
        "usb2": 4,
        "usb3": 4,
        "usb4": 4,
        "usb9": 1,
    }
    assert {p.name: p.device for p in seen.values() if p.device} == {
        "usb1-port1": "1-1",
        "usb2-port2": "2-2",
        "usb3-port2": "3-2",
        "3-2-port1": "3-2.1",
        "usb9-port1": "9-1",
    }
    assert {p.peer for p in seen.values() if p.hub == "usb1"} == {f"usb2-port{n}" for n in (1, 2, 3, 4)}
    assert {p.peer for p in seen.values() if p.hub == "3-2"} == {None}  # a full-speed hub has no SuperSpeed side


@needs_umockdev
def test_peers_are_one_socket() -> None:
    """The `peer` link names the other speed's port of the receptacle, in both directions (port.c link_peers())."""
    with laid_out(GABLE) as root:
        seen = by_name(Machine(root=root))
    assert len(seen) == 16
    for port in seen.values():
        assert isinstance(port.peer, str)
        assert seen[port.peer].peer == port.name
        assert seen[port.peer].location == port.location


@needs_umockdev
def test_what_firmware_does_not_tell_is_null() -> None:
    """location 0 is "no data" (usb-acpi.c), and a port of a plug-in hub has no peer here: looked, there is none."""
    with laid_out("refused.umockdev") as root:
        seen = by_name(Machine(root=root))
    assert [(port.location, port.peer) for port in seen.values()] == [(None, None)] * 3


@needs_umockdev
def test_a_port_in_trouble() -> None:
    """Plugged but stuck: state without a device, the over-current count, and that the kernel gave up on it."""
    with laid_out("refused.umockdev") as root:
        port = by_name(Machine(root=root))["usb3-port3"]
    assert (port.state, port.device, port.over_current, port.early_stop) == ("addressed", None, 7, True)


@needs_umockdev
def test_only_awake_root_hubs_are_asked_whether_an_empty_port_is_off() -> None:
    """Reading `disable` wakes the hub and asks it (port.c disable_show()): only a root hub that is awake answers
    from its controller's registers, and an occupied port is on, so nothing else is read; one gap says so."""
    with laid_out(GABLE) as root:
        port_folder(root, "1-0:1.0", "usb1-port1").joinpath("disable").write_text("1\n")
        machine = Eventful(root=root)
        seen = ports.collect(machine)
        asked = {path.split("/")[-2] for path in machine.noted if path.endswith("/disable")}
    assert asked == {"usb1-port1", "usb1-port3", "usb1-port4", "usb2-port1", "usb2-port2", "usb2-port4"}
    off = {port.name: port.disabled for port in seen.facts["ports"]}
    assert (off["usb1-port1"], off["usb1-port2"], off["usb1-port3"]) == (True, False, False)
    assert (off["1-2-port1"], off["1-2-port3"]) == (UNSET, False)
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("ports[].disabled", "not-here")]
    assert "6 empty ports" in seen.gaps[0].detail


@needs_umockdev
def test_a_sleeping_root_hub_is_not_woken() -> None:
    """A root hub that is runtime-suspended is not asked for its ports' power."""
    with laid_out(GABLE) as root:
        for hub in ("usb1", "usb2"):
            Path(f"{root}/sys/bus/usb/devices/{hub}/power/runtime_status").write_text("suspended\n")
        machine = Eventful(root=root)
        seen = by_name(machine)
    assert not [path for path in machine.noted if path.endswith("/disable")]
    assert seen["usb1-port1"].disabled is UNSET


@needs_umockdev
def test_an_old_kernel_tells_less() -> None:
    """Before Linux 6.0 a port has no `disable`, `early_stop` or `state`: absent, with a gap that says from when."""
    with laid_out("platform.umockdev") as root:
        seen = ports.collect(Machine(root=root))
    (port,) = seen.facts["ports"]
    assert (port.state, port.early_stop, port.device) == (UNSET, UNSET, "5-1")
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("ports[].state", "not-here")]
    assert "6.5" in seen.gaps[0].detail


@needs_umockdev
@pytest.mark.parametrize(("release", "place"), [("6.1.0-56-amd64", None), ("5.10.0-28-amd64", UNSET), ("odd", UNSET)])
def test_no_place_means_nothing_on_a_kernel_that_tells_none(release: str, place: object) -> None:
    """Without physical_location firmware is silent, if the kernel is one that would tell (ABI text of March 2022)."""
    with laid_out("refused.umockdev") as root:
        os.makedirs(f"{root}/proc/sys/kernel")
        Path(f"{root}/proc/sys/kernel/osrelease").write_text(release + "\n")
        assert by_name(Machine(root=root))["usb3-port1"].place is place


@needs_umockdev
def test_a_hub_that_is_pulled_while_it_is_read() -> None:
    """Its ports do not show, no gap is left, and the other hubs' ports are whole."""
    with laid_out(GABLE) as root:
        whole = by_name(Machine(root=root))
        hub = os.path.realpath(f"{root}/sys/bus/usb/devices/1-2")
        pull = {"1-2-port1/location": lambda: shutil.rmtree(hub, ignore_errors=True)}
        seen = ports.collect(Eventful(root=root, happens=pull))
    assert [gap.what for gap in seen.gaps] == ["ports[].disabled"]
    assert {p.name: p for p in seen.facts["ports"]} == {n: p for n, p in whole.items() if p.hub != "1-2"}


@needs_umockdev
def test_a_garbled_or_refused_file_costs_one_field() -> None:
    """The field is absent and a gap says which; the rest of the port is there."""
    with laid_out(GABLE) as root:
        port_folder(root, "1-0:1.0", "usb1-port1").joinpath("over_current_count").write_text("-1\n")
        seen = ports.collect(Eventful(root=root, happens={"usb1-port2/connect_type": refusing(errno.EACCES)}))
    found = {port.name: port for port in seen.facts["ports"]}
    assert (found["usb1-port1"].over_current, found["usb1-port1"].connect_type) == (UNSET, "hotplug")
    assert (found["usb1-port2"].connect_type, found["usb1-port2"].device) == (UNSET, "1-2")
    assert {(gap.what, gap.why) for gap in seen.gaps} >= {
        ("ports[usb1-port1].over_current", "malformed"),
        ("ports[usb1-port2].connect_type", "denied"),
    }


@needs_umockdev
def test_a_kernel_without_usb_has_no_ports() -> None:
    """/sys is there but has no USB bus: the list is complete and empty."""
    with laid_out("given.umockdev") as root:
        seen = ports.collect(Machine(root=root))
    assert (dict(seen.facts), seen.gaps) == ({"ports": []}, ())


def test_without_sys_nobody_could_look(tmp_path: Path) -> None:
    """No /sys: the field is absent and a gap says why."""
    seen = ports.collect(Machine(root=str(tmp_path)))
    assert "ports" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("ports", "not-here")]
