"""libvirt's domains are read, by virsh or by libvirt's files, and never guessed."""

from __future__ import annotations

import shutil
import stat
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from radiocheck.evidence.absent import UNSET, known
from radiocheck.evidence.vm import Definition, Domain, HostdevUsb, PciArg, TtyArg
from radiocheck.sources.domain_xml import read
from radiocheck.sources.libvirt import collect
from radiocheck.sources.machine import Machine, Ran, ToolHung, ToolMissing, run

VIRSH = shutil.which("virsh")
VALIDATE = shutil.which("virt-xml-validate")
HEARTH, ATTIC = "2103eb41-b50f-451d-9baa-75eeff3bd33a", "3103eb41-b50f-451d-9baa-75eeff3bd33a"

# By the schema of libvirt 9.0; test_the_example_is_real_domain_xml holds it to that.
FULL = f"""<domain type='qemu' xmlns:qemu='http://libvirt.org/schemas/domain/qemu/1.0'>
  <name>hearth</name><uuid>{HEARTH}</uuid><memory unit='MiB'>64</memory><vcpu>1</vcpu>
  <os><type arch='x86_64' machine='pc'>hvm</type></os>
  <devices>
    <emulator>/usr/bin/qemu-system-x86_64</emulator>
    <controller type='usb' model='qemu-xhci'/>
    <hostdev mode='subsystem' type='usb' managed='yes'>
      <source startupPolicy='optional'><vendor id='0x1209'/><product id='0x7a01'/></source>
      <address type='usb' bus='0' port='1'/>
    </hostdev>
    <hostdev mode='subsystem' type='usb'><source><address bus='9' device='2'/></source></hostdev>
    <hostdev mode='subsystem' type='pci' managed='yes'>
      <source><address domain='0x0000' bus='0x06' slot='0x00' function='0x1'/></source>
    </hostdev>
    <serial type='dev'><source path='/dev/ttyUSB0'/><target port='0'/></serial>
    <console type='dev'><source path='/dev/ttyUSB0'/><target type='serial' port='0'/></console>
    <serial type='pty'><target port='1'/></serial>
    <memballoon model='none'/>
  </devices>
  <qemu:commandline>
    <qemu:arg value='-device'/><qemu:arg value='usb-host,hostdevice=/dev/bus/usb/001/005'/>
    <qemu:arg value='-chardev'/><qemu:arg value='serial,id=c,path=/dev/ttyACM0'/>
  </qemu:commandline>
</domain>
"""
FULL_READ = Definition(
    usb=[
        HostdevUsb(vid="1209", pid="7a01", startup="optional"),
        HostdevUsb(bus=9, address=2),
        HostdevUsb(bus=1, address=5),
    ],
    pci=[PciArg(address="0000:06:00.1", managed=True)],
    ttys=[TtyArg(path="/dev/ttyUSB0"), TtyArg(path="/dev/ttyACM0")],
    usb_bus=True,
)
# What libvirt 9.0 wrote to /run/libvirt/qemu on a bench, shortened.
LIVE = f"""<!--
WARNING: THIS IS AN AUTO-GENERATED FILE.
-->

<domstatus state='running' reason='booted' pid='PID'>
  <monitor path='/var/lib/libvirt/qemu/domain-2-hearth/monitor.sock' type='unix'/>
  <domain type='qemu' id='2'>
    <name>hearth</name>
    <uuid>{HEARTH}</uuid>
    <devices>
      <controller type='usb' index='0' model='qemu-xhci'/>
      <hostdev mode='subsystem' type='usb' managed='yes'>
        <source><vendor id='0x1209'/><product id='0x7a01'/><address bus='9' device='2'/></source>
        <alias name='hostdev0'/>
      </hostdev>
    </devices>
  </domain>
</domstatus>
"""


def domain(devices: str, name: str = "hearth") -> str:
    """A domain XML with these devices."""
    return f"<domain type='qemu'><name>{name}</name><devices>{devices}</devices></domain>"


def usb(source: str) -> HostdevUsb:
    """What is read of one USB hostdev."""
    (found,) = read(domain(f"<hostdev type='usb'>{source}</hostdev>")).definition.usb
    return found


# --- the XML


@pytest.mark.skipif(VALIDATE is None, reason="Debian's libvirt-clients is not installed")
def test_the_example_is_real_domain_xml(tmp_path: Path) -> None:
    """libvirt's own schema takes the example."""
    file = tmp_path / "hearth.xml"
    file.write_text(FULL)
    ran = subprocess.run([str(VALIDATE), str(file), "domain"], capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr


@pytest.mark.parametrize("xml", [FULL, FULL.encode(), FULL.encode("utf-16")])
def test_all_that_is_handed_over_is_read(xml: str | bytes) -> None:
    """Hostdevs, character devices on a tty, QEMU's own arguments; where the guest sees it is no selector."""
    found = read(xml)
    assert (found.name, found.uuid, found.state) == ("hearth", HEARTH, None)
    assert found.definition == FULL_READ


@pytest.mark.parametrize(("word", "managed"), [(" managed='yes'", True), (" managed='no'", False), ("", False)])
def test_who_takes_a_pci_function_from_the_host(word: str, managed: bool) -> None:
    """`managed` omitted is the same as "no" (libvirt 9.0, docs/formatdomain, "Host device assignment")."""
    source = "<source><address domain='0' bus='6' slot='0' function='1'/></source>"
    definition = read(domain(f"<hostdev mode='subsystem' type='pci'{word}>{source}</hostdev>")).definition
    assert definition.pci == [PciArg(address="0000:06:00.1", managed=managed)]


def test_a_live_state_file_is_read() -> None:
    """libvirt wraps the live domain in <domstatus>, with the state and the process."""
    found = read(LIVE.replace("PID", "1278"))
    assert (found.name, found.state, found.process) == ("hearth", "running", 1278)
    assert found.definition.usb == [HostdevUsb(vid="1209", pid="7a01", bus=9, address=2)]


@pytest.mark.parametrize(
    ("word", "state"), [("shutoff", "shut off"), ("blocked", "idle"), ("paused", "paused"), ("crashed", "crashed")]
)
def test_states_are_in_virshs_words(word: str, state: str) -> None:
    """The file says virDomainState's words, `virsh domstate` its own."""
    assert read(LIVE.replace("state='running'", f"state='{word}'")).state == state


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("<source><address bus='1' port='1.2'/></source>", HostdevUsb(bus=1, port="1.2")),  # libvirt 12.8's schema
        ("<source missing='yes'><vendor id='0x1209'/></source>", HostdevUsb(vid="1209", missing=True)),
        ("<source><vendor id='0x483'/><product id='22352'/></source>", HostdevUsb(vid="0483", pid="5750")),
        ("<source><address bus='0x0a' device='010'/></source>", HostdevUsb(bus=10, address=8)),
        ("<source><vendor id='x'/><product/><address bus='-1'/></source>", HostdevUsb()),
        ("<source/>", HostdevUsb()),
    ],
)
def test_selectors_of_a_usb_hostdev(source: str, expected: HostdevUsb) -> None:
    """Numbers as virStrToLong with base 0 takes them; what is no number is not given."""
    assert usb(source) == expected


def test_other_devices_are_none_of_ours() -> None:
    """Other hostdevs, redirected devices and capabilities are passed over."""
    devices = "<hostdev type='scsi'><source/></hostdev><hostdev mode='capabilities' type='usb'><source/></hostdev>"
    devices += "<hostdev type='usb'/><redirdev bus='usb' type='spicevmc'/><hostdev type='pci'><source/></hostdev>"
    devices += "<serial type='dev'/><serial type='dev'><source/></serial>"
    found = read(domain(devices)).definition
    assert (found.usb, found.pci, found.ttys) == ([], [], [])


@pytest.mark.parametrize(
    ("devices", "expected"),
    [
        ("<controller type='usb' model='none'/>", False),
        ("<controller type='usb'/>", True),
        ("<controller type='pci' model='none'/>", UNSET),
        ("", UNSET),
    ],
)
def test_a_usb_controller_may_be_ruled_out(devices: str, expected: Any) -> None:
    """model='none' means no USB; an XML that names no controller leaves it open."""
    assert read(domain(devices)).definition.usb_bus is expected


LAUGHS = "<!DOCTYPE d [<!ENTITY a 'ha'><!ENTITY b '&a;&a;&a;'>]><domain><name>&b;</name></domain>"
OUTSIDE = "<!DOCTYPE d [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><domain><name>&a;</name></domain>"


@pytest.mark.parametrize(
    "xml",
    [
        "",
        " ",
        "no xml",
        "<domain>",
        "<domain/>",
        "<domain><name> </name></domain>",
        "<domstatus/>",
        "<network><name>x</name></network>",
        "<domain><name>a\0b</name></domain>",
        b"\xff\xfe\x00",
        b"<?xml version='1.0' encoding='no-such'?><domain><name>a</name></domain>",
        b"<domain><name>\xff</name></domain>",
        LAUGHS,
        OUTSIDE,
        "<domain><name>a</name>" + "<a>" * 1000,
        " " * (5 << 20),
    ],
)
def test_bad_xml_is_one_sentence(xml: str | bytes) -> None:
    """Malformed or hostile XML raises ValueError with one line, and nothing else."""
    with pytest.raises(ValueError, match=r"^[^\n]+\.$"):
        read(xml)


def test_deep_nesting_is_harmless() -> None:
    """Elements within elements within elements cost no stack."""
    deep = "<a>" * 200_000 + "</a>" * 200_000
    assert read(domain(deep)).definition.usb == []


# --- the source


Runner = Callable[..., Ran]


def no_tool(argv: Sequence[str], limit: float = 0) -> Ran:
    """A machine without programs."""
    raise ToolMissing(argv[0])


def must_not_run(argv: Sequence[str], limit: float = 0) -> Ran:
    """A machine on which no program may be started."""
    raise AssertionError(f"{argv[0]} was started")


def machine(root: Path, runner: Runner = no_tool, daemon: str | None = None) -> Machine:
    """A machine with libvirt's folders, and with its daemon running when named."""
    for folder in ("etc/libvirt/qemu/autostart", "etc/libvirt/qemu/networks", "run/libvirt/qemu"):
        (root / folder).mkdir(parents=True, exist_ok=True)
    if daemon:
        (root / "proc/77").mkdir(parents=True)
        (root / "proc/77/comm").write_text(daemon + "\n")
        (root / f"run/{daemon}.pid").write_text("77")
    return Machine(root=str(root), run=runner)


def process(root: Path, pid: int, state: str = "S") -> None:
    """A process, of which only /proc/PID/stat matters."""
    (root / f"proc/{pid}").mkdir(parents=True)
    (root / f"proc/{pid}/stat").write_text(f"{pid} (qemu) x) {state} 1 2 3 4 5 6\n")


def test_without_libvirt_there_are_no_domains(tmp_path: Path) -> None:
    """No folder of libvirt's: looked, none there; no program is started."""
    seen = collect(Machine(root=str(tmp_path), run=must_not_run))
    assert (dict(seen.facts), seen.gaps) == ({"domains": []}, ())


def test_the_files_tell_all_when_no_daemon_runs(tmp_path: Path) -> None:
    """Persistent and live XML, autostart link and state; virsh is not started, for that would start the daemon."""
    here = machine(tmp_path, must_not_run)
    (tmp_path / "etc/libvirt/qemu/hearth.xml").write_text(FULL)
    (tmp_path / "etc/libvirt/qemu/attic.xml").write_text(domain("", "attic"))
    (tmp_path / "etc/libvirt/qemu/networks/default.xml").write_text("<network/>")
    (tmp_path / "etc/libvirt/qemu/autostart/hearth.xml").symlink_to("/etc/libvirt/qemu/hearth.xml")
    (tmp_path / "run/libvirt/qemu/hearth.xml").write_text(LIVE.replace("PID", "1278"))
    (tmp_path / "run/libvirt/qemu/autostarted").write_text("")
    process(tmp_path, 1278)
    seen = collect(here)
    attic, hearth = seen.facts["domains"]
    assert seen.gaps == ()
    assert (hearth.name, hearth.uuid, hearth.state) == ("hearth", HEARTH, "running")
    assert (hearth.autostart, hearth.persistent) == (True, True)
    assert hearth.next == FULL_READ
    assert hearth.live.usb == [HostdevUsb(vid="1209", pid="7a01", bus=9, address=2)]
    assert (attic.name, attic.state, attic.autostart, attic.live) == ("attic", "shut off", False, None)


@pytest.mark.parametrize("state", [None, "Z"])
def test_a_leftover_state_file_is_no_running_vm(tmp_path: Path, state: str | None) -> None:
    """Without its daemon, libvirt does not notice that a VM ended."""
    here = machine(tmp_path, must_not_run)
    (tmp_path / "etc/libvirt/qemu/hearth.xml").write_text(FULL)
    (tmp_path / "run/libvirt/qemu/hearth.xml").write_text(LIVE.replace("PID", "1278"))
    (tmp_path / "run/libvirt/qemu/mist.xml").write_text(LIVE.replace("PID", "1278").replace("hearth", "mist"))
    if state:
        process(tmp_path, 1278, state)
    (hearth,) = collect(here).facts["domains"]
    assert (hearth.state, hearth.live) == ("shut off", None)


def test_a_transient_vm_has_no_next_start(tmp_path: Path) -> None:
    """A running domain without a persistent XML is gone when it stops."""
    here = machine(tmp_path, must_not_run)
    (tmp_path / "run/libvirt/qemu/hearth.xml").write_text(LIVE.replace("PID", "1278"))
    process(tmp_path, 1278)
    (hearth,) = collect(here).facts["domains"]
    assert (hearth.persistent, hearth.next, hearth.state) == (False, None, "running")


def test_a_broken_file_costs_only_its_own_domain(tmp_path: Path) -> None:
    """What a malformed XML would say is absent, with a gap; the others stay."""
    here = machine(tmp_path, must_not_run)
    (tmp_path / "etc/libvirt/qemu/hearth.xml").write_text("<domain")
    (tmp_path / "etc/libvirt/qemu/attic.xml").write_text(domain("", "attic"))
    seen = collect(here)
    attic, hearth = seen.facts["domains"]
    assert known(attic.next)
    assert (hearth.name, hearth.next, hearth.live) == ("hearth", UNSET, None)
    (gap,) = seen.gaps
    assert (gap.what, gap.why) == ("domains[hearth]", "malformed")


def test_files_that_are_not_readable_leave_names_and_one_gap(tmp_path: Path) -> None:
    """Without root the names can often be seen, the XML cannot."""

    class Denied(Machine):
        def read_bytes(self, path: str) -> bytes:
            if path.endswith(".xml"):
                raise PermissionError(13, "Permission denied")
            return super().read_bytes(path)

    machine(tmp_path)
    for folder in ("etc/libvirt/qemu", "run/libvirt/qemu"):
        (tmp_path / folder / "hearth.xml").write_text("")
    (tmp_path / "etc/libvirt/qemu/attic.xml").write_text("")
    seen = collect(Denied(root=str(tmp_path), run=must_not_run))
    attic, hearth = seen.facts["domains"]
    assert (hearth.name, hearth.next, hearth.live, hearth.state) == ("hearth", UNSET, UNSET, UNSET)
    assert (attic.next, attic.live, attic.state) == (UNSET, None, "shut off")
    (gap,) = seen.gaps
    assert (gap.what, gap.why, gap.provide) == ("domains", "denied", "run as root")


NODE = f"""<node xmlns:test='http://libvirt.org/schemas/domain/test/1.0'>
  <domain type='test'>
    <name>hearth "'; list</name><uuid>{HEARTH}</uuid><memory>65536</memory><os><type>hvm</type></os>
    <description>end-0011223344556677</description>
    <devices>
      <controller type='usb' model='qemu-xhci'/>
      <hostdev mode='subsystem' type='usb'>
        <source startupPolicy='optional'><vendor id='0x1209'/><product id='0x7a01'/></source>
      </hostdev>
    </devices>
  </domain>
  <domain type='test'>
    <test:runstate>5</test:runstate>
    <name>attic</name><uuid>{ATTIC}</uuid><memory>65536</memory><os><type>hvm</type></os>
  </domain>
</node>
"""


@pytest.mark.skipif(VIRSH is None, reason="Debian's libvirt-clients is not installed")
@pytest.mark.parametrize("daemon", ["libvirtd", "virtqemud"])
def test_virsh_is_asked_when_the_daemon_runs(tmp_path: Path, daemon: str) -> None:
    """Real virsh on libvirt's test driver: two calls tell of all domains, whatever their names hold."""
    node = tmp_path / "node.xml"
    node.write_text(NODE)
    asked: list[Sequence[str]] = []

    def on_the_test_driver(argv: Sequence[str], limit: float = 5) -> Ran:
        asked.append(argv)
        assert "-r" in argv  # read-only
        return run([word.replace("qemu:///system", f"test://{node}") for word in argv], limit)

    seen = collect(machine(tmp_path, on_the_test_driver, daemon))
    assert seen.gaps == ()
    assert len(asked) == 2
    by_name = {domain.name: domain for domain in seen.facts["domains"]}
    definition = Definition(usb=[HostdevUsb(vid="1209", pid="7a01", startup="optional")], pci=[], ttys=[], usb_bus=True)
    assert by_name["hearth \"'; list"] == Domain(
        name="hearth \"'; list",
        uuid=HEARTH,
        state="running",
        autostart=False,
        persistent=True,
        live=definition,
        next=definition,
    )
    attic = by_name["attic"]
    assert (attic.uuid, attic.state, attic.live) == (ATTIC, "shut off", None)
    assert known(attic.next)


@pytest.mark.skipif(VIRSH is None, reason="Debian's libvirt-clients is not installed")
def test_a_domain_that_goes_away_meanwhile_costs_nothing(tmp_path: Path) -> None:
    """virsh goes on with the next command when one fails, so only the domain that left is missing."""
    node = tmp_path / "node.xml"
    node.write_text(NODE)

    def later(argv: Sequence[str], limit: float = 5) -> Ran:
        if argv[-1].startswith("list"):
            return Ran(0, f"{HEARTH}\n{ATTIC.replace('3', '4')}\n{ATTIC}\n\nnonsense; list\n", "")
        return run([word.replace("qemu:///system", f"test://{node}") for word in argv], limit)

    seen = collect(machine(tmp_path, later, "libvirtd"))
    assert [domain.uuid for domain in seen.facts["domains"]] == [HEARTH, ATTIC]
    assert seen.gaps == ()


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (ToolHung("virsh"), "timed-out"),
        (ToolMissing("virsh"), "no-tool"),
        (Ran(1, "", "error: failed to connect to the hypervisor\n"), "failed"),
        (Ran(1, "", "error: authentication unavailable: no polkit agent available\n"), "denied"),
    ],
)
def test_when_virsh_fails_the_files_are_read(tmp_path: Path, answer: Exception | Ran, why: str) -> None:
    """A virsh that hangs is asked once; the files still tell, and a gap says what did not."""
    asked: list[Sequence[str]] = []

    def runner(argv: Sequence[str], limit: float = 0) -> Ran:
        asked.append(argv)
        assert 0 < limit <= 15
        if isinstance(answer, Exception):
            raise answer
        return answer

    here = machine(tmp_path, runner, "libvirtd")
    (tmp_path / "etc/libvirt/qemu/attic.xml").write_text(domain("", "attic"))
    seen = collect(here)
    assert [domain.name for domain in seen.facts["domains"]] == ["attic"]
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("domains", why)]
    assert len(asked) == 1


def test_a_file_that_libvirt_would_not_load_still_tells(tmp_path: Path) -> None:
    """A domain that has a file and that virsh does not list is off, with what its file says."""

    def runner(argv: Sequence[str], limit: float = 0) -> Ran:
        return Ran(0, "\n", "")

    here = machine(tmp_path, runner, "libvirtd")
    (tmp_path / "etc/libvirt/qemu/attic.xml").write_text(domain("<controller type='usb' model='none'/>", "attic"))
    (found,) = collect(here).facts["domains"]
    assert (found.name, found.state, found.live) == ("attic", "shut off", None)
    assert found.next.usb_bus is False


def test_a_virsh_that_never_answers_is_given_up(tmp_path: Path) -> None:
    """The real time limit kills a real process that hangs."""
    hanging = tmp_path / "virsh"
    hanging.write_text("#!/bin/sh\nexec sleep 60\n")
    hanging.chmod(hanging.stat().st_mode | stat.S_IXUSR)

    def runner(argv: Sequence[str], limit: float = 0) -> Ran:
        return run([str(hanging), *argv[1:]], limit / 50)

    seen = collect(machine(tmp_path, runner, "libvirtd"))
    assert seen.facts["domains"] == []
    assert [gap.why for gap in seen.gaps] == ["timed-out"]


@pytest.mark.parametrize("content", ["", "x", "-5", "78", "99999999999999999999"])
def test_a_stale_pid_file_is_no_daemon(tmp_path: Path, content: str) -> None:
    """Only a process that is there and has the daemon's name counts."""
    here = machine(tmp_path, must_not_run, "libvirtd")
    (tmp_path / "proc/78").mkdir()
    (tmp_path / "proc/78/comm").write_text("bash\n")
    (tmp_path / "run/libvirtd.pid").write_text(content)
    assert collect(here).facts["domains"] == []


def test_this_machine_is_read_without_harm() -> None:
    """On any machine the result is a list or a gap."""
    seen = collect(Machine())
    assert ("domains" in seen.facts) or seen.gaps
