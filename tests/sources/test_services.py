"""Services, by what systemctl(1) of systemd 252 (Debian 12) really printed, and without systemd."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.serial import Service
from radiocheck.sources.machine import Machine, Ran, Seen, ToolHung, ToolMissing
from radiocheck.sources.services import UNITS, collect

# `systemctl show` in a container of Debian 12 in which these packages are installed: a
# drop-in gives ModemManager a policy, two serial consoles are enabled, a daemon failed.
SHOWN = r"""
MainPID=0
ExecStart={ path=/usr/sbin/ModemManager ; argv[]=/usr/sbin/ModemManager --filter-policy=whitelist-only --debug ; ignore_errors=no ; start_time=[n/a] ; stop_time=[n/a] ; pid=0 ; code=(null) ; status=0/0 }
Id=ModemManager.service
LoadState=loaded
ActiveState=inactive
UnitFileState=disabled

MainPID=0
ExecStart={ path=/bin/brltty ; argv[]=/bin/brltty --no-daemon ; ignore_errors=no ; start_time=[n/a] ; stop_time=[n/a] ; pid=0 ; code=(null) ; status=0/0 }
Id=brltty.service
LoadState=loaded
ActiveState=inactive
UnitFileState=disabled

MainPID=0
Id=brltty-udev.service
LoadState=not-found
ActiveState=inactive
UnitFileState=

Id=gpsd.socket
LoadState=loaded
ActiveState=active
UnitFileState=enabled

MainPID=0
ExecStart={ path=/usr/sbin/usbguard-daemon ; argv[]=/usr/sbin/usbguard-daemon -f -s -c /etc/usbguard/usbguard-daemon.conf ; ignore_errors=no ; start_time=[Wed 2026-11-25 09:22:18 UTC] ; stop_time=[Wed 2026-11-25 09:22:18 UTC] ; pid=136 ; code=exited ; status=0 }
Id=usbguard.service
LoadState=loaded
ActiveState=failed
UnitFileState=enabled

MainPID=0
ExecStart={ path=/usr/sbin/tlp ; argv[]=/usr/sbin/tlp init start ; ignore_errors=no ; start_time=[Wed 2026-11-25 09:22:17 UTC] ; stop_time=[Wed 2026-11-25 09:22:17 UTC] ; pid=41 ; code=exited ; status=0 }
Id=tlp.service
LoadState=loaded
ActiveState=active
UnitFileState=enabled

MainPID=0
Id=tuned.service
LoadState=masked
ActiveState=inactive
UnitFileState=masked

MainPID=0
ExecStart={ path=/usr/libexec/fwupd/fwupd ; argv[]=/usr/libexec/fwupd/fwupd ; ignore_errors=no ; start_time=[n/a] ; stop_time=[n/a] ; pid=0 ; code=(null) ; status=0/0 }
Id=fwupd.service
LoadState=loaded
ActiveState=inactive
UnitFileState=static

MainPID=0
ExecStart={ path=/sbin/agetty ; argv[]=/sbin/agetty -o -p -- \u --keep-baud 115200,57600,38400,9600 - $TERM ; ignore_errors=yes ; start_time=[n/a] ; stop_time=[n/a] ; pid=0 ; code=(null) ; status=0/0 }
Id=serial-getty@serial-by\x2did-usb\x2dLindenhof_Mesh_stick_A1B2C3D4\x2dif00\x2dport0.service
LoadState=loaded
ActiveState=inactive
UnitFileState=enabled

MainPID=0
ExecStart={ path=/sbin/agetty ; argv[]=/sbin/agetty -o -p -- \u --keep-baud 115200,57600,38400,9600 - $TERM ; ignore_errors=yes ; start_time=[n/a] ; stop_time=[n/a] ; pid=0 ; code=(null) ; status=0/0 }
Id=serial-getty@ttyUSB0.service
LoadState=loaded
ActiveState=inactive
UnitFileState=enabled
""".lstrip()  # noqa: E501 (a program's own lines)

INSTANCE = r"serial-by\x2did-usb\x2dLindenhof_Mesh_stick_A1B2C3D4\x2dif00\x2dport0"


def answering(out: str, code: int = 0, err: str = "") -> Callable[..., Ran]:
    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        assert argv[:2] == ["systemctl", "show"]
        return Ran(code, out, err)

    return run


@pytest.fixture
def booted(tmp_path: Path) -> str:
    """A root in which systemd is in charge."""
    (tmp_path / "run/systemd/system").mkdir(parents=True)
    return str(tmp_path)


def services(seen: Seen) -> dict[str, Service]:
    return {service.unit: service for service in seen.facts["services"]}


def process(root: str, pid: int, comm: str, *argv: str) -> None:
    folder = Path(root, "proc", str(pid))
    folder.mkdir(parents=True)
    (folder / "comm").write_text(comm + "\n")
    (folder / "cmdline").write_text("".join(f"{word}\0" for word in argv))


def test_installed_services_are_listed_with_state(booted: str) -> None:
    """What is not found or masked cannot take a port; failed is not active; static does not start by itself."""
    seen = collect(Machine(root=booted, run=answering(SHOWN)))
    found = services(seen)
    assert {name: (one.kind, one.active, one.enabled) for name, one in found.items() if "@" not in name} == {
        "ModemManager.service": ("modem-prober", False, False),
        "brltty.service": ("braille", False, False),
        "gpsd.socket": ("gps", True, True),
        "usbguard.service": ("usb-guard", False, True),
        "tlp.service": ("power-saver", True, True),
        "fwupd.service": ("firmware-updater", False, False),
    }
    assert seen.gaps == ()


def test_the_policy_of_the_modem_prober_comes_from_its_unit_with_drop_ins(booted: str) -> None:
    """`ExecStart` of systemctl show is the one after drop-ins."""
    found = services(collect(Machine(root=booted, run=answering(SHOWN))))
    assert found["ModemManager.service"].policy == "whitelist-only"
    assert found["tlp.service"].policy is None


@pytest.mark.parametrize(
    ("options", "policy"),
    [
        ("", "strict"),  # ModemManager NEWS, 1.14.0
        (" --debug", "strict"),
        (" --filter-policy=STRICT", "strict"),  # the daemon's own spelling, ModemManager --help
        (" --filter-policy paranoid", "paranoid"),
        (" --filter-policy=strict --filter-policy=legacy", "legacy"),
        (" --filter-policy=ALLOWLIST-ONLY", "whitelist-only"),  # the newer word for the same, 1.20
        (" --filter-policy", "strict"),
        (" $OPTIONS", UNSET),
    ],
)
def test_the_policy_is_read_from_either_form_of_the_option(booted: str, options: str, policy: object) -> None:
    """Without the option it is strict; a variable may hide the option, and then it is not known."""
    text = SHOWN.replace(" --filter-policy=whitelist-only --debug", options)
    seen = collect(Machine(root=booted, run=answering(text)))
    assert services(seen)["ModemManager.service"].policy is policy or (
        services(seen)["ModemManager.service"].policy == policy
    )
    assert [gap.what for gap in seen.gaps] == (["services[ModemManager.service].policy"] if policy is UNSET else [])


def test_the_running_process_counts_before_its_unit(booted: str) -> None:
    """A drop-in that was added later does not change the daemon that runs."""
    process(booted, 600, "ModemManager", "/usr/sbin/ModemManager", "--filter-policy=strict")
    text = SHOWN.replace("MainPID=0", "MainPID=600", 1).replace("ActiveState=inactive", "ActiveState=active", 1)
    found = services(collect(Machine(root=booted, run=answering(text))))["ModemManager.service"]
    assert (found.active, found.policy) == (True, "strict")


def test_serial_consoles_name_their_tty(booted: str) -> None:
    """Also one that is enabled by a name under /dev/serial, through the link."""
    found = services(collect(Machine(root=booted, run=answering(SHOWN))))
    assert found["serial-getty@ttyUSB0.service"].tty == "ttyUSB0"
    name = f"serial-getty@{INSTANCE}.service"
    assert found[name].tty == "usb-Lindenhof_Mesh_stick_A1B2C3D4-if00-port0"  # dangling: the name itself
    folder = Path(booted, "dev/serial/by-id")
    folder.mkdir(parents=True)
    (folder / "usb-Lindenhof_Mesh_stick_A1B2C3D4-if00-port0").symlink_to("../../ttyUSB3")
    found = services(collect(Machine(root=booted, run=answering(SHOWN))))
    assert (found[name].tty, found[name].kind, found[name].enabled) == ("ttyUSB3", "serial-console", True)


@pytest.mark.skipif(shutil.which("systemd-escape") is None, reason="systemd-escape is absent (Debian package systemd)")
def test_instance_names_are_unescaped_as_systemd_does(booted: str) -> None:
    """Reference: systemd-escape(1)."""
    path = "/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3D4-if00-port0"
    shown = subprocess.run(["systemd-escape", "--path", path], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == INSTANCE
    tty = services(collect(Machine(root=booted, run=answering(SHOWN))))[f"serial-getty@{INSTANCE}.service"].tty
    assert tty == os.path.basename(path)


def test_one_call_asks_for_all_units(booted: str) -> None:
    """One start of a program, with --all: without it a pattern matches only active units."""
    calls: list[Sequence[str]] = []

    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        calls.append(argv)
        return Ran(0, "", "")

    assert collect(Machine(root=booted, run=run)) == Seen({"services": []})
    (argv,) = calls
    assert "--all" in argv
    assert set(UNITS) <= set(argv)


@pytest.mark.parametrize(
    ("error", "why"), [(ToolMissing("systemctl"), "no-tool"), (ToolHung("systemctl"), "timed-out")]
)
def test_a_missing_or_hanging_systemctl_leaves_a_gap(booted: str, error: Exception, why: str) -> None:
    """The list is absent, not empty."""

    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        raise error

    seen = collect(Machine(root=booted, run=run))
    assert seen.facts == {}
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("services", why)]


def test_a_failing_systemctl_leaves_its_own_words(booted: str) -> None:
    """One line of what it said."""
    err = "Failed to connect to bus: No such file or directory\nmore\n"
    seen = collect(Machine(root=booted, run=answering("", 1, err)))
    assert seen.facts == {}
    assert [(gap.why, gap.detail) for gap in seen.gaps] == [
        ("failed", "Failed to connect to bus: No such file or directory")
    ]


@pytest.mark.parametrize(
    "text", ["\0\n\n\n=\n=x\nId\n", "Id=ModemManager.service\nLoadState=loaded\n", "Id=\nLoadState=loaded\n", "\n" * 9]
)
def test_odd_answers_are_survived(booted: str, text: str) -> None:
    """States that are not told are absent; a unit that was not asked for is left out."""
    found = services(collect(Machine(root=booted, run=answering(text))))
    assert set(found) <= {"ModemManager.service"}
    for service in found.values():
        assert (service.active, service.enabled, service.policy) == (UNSET, UNSET, UNSET)


def test_without_systemd_the_running_programs_are_listed_with_a_gap(tmp_path: Path) -> None:
    """By command name in /proc; what starts at boot is not known."""
    root = str(tmp_path)
    process(root, 5, "ModemManager", "/usr/sbin/ModemManager", "--filter-policy=LEGACY")
    process(root, 6, "usbguard-daemon", "/usr/sbin/usbguard-daemon")  # 15 bytes: just not cut
    process(root, 7, "agetty", "/sbin/agetty", "115200", "/dev/ttyUSB0", "vt100")
    process(root, 8, "agetty", "/sbin/agetty", "console")
    process(root, 9, "sh", "ModemManager")
    seen = collect(Machine(root=root))
    assert [(one.kind, one.active, one.enabled, one.policy, one.tty) for one in seen.facts["services"]] == [
        ("modem-prober", True, UNSET, "legacy", None),
        ("usb-guard", True, UNSET, None, None),
        ("serial-console", True, UNSET, None, "ttyUSB0"),
        ("serial-console", True, UNSET, None, None),
    ]
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("services", "not-here")]


def test_without_systemd_and_without_proc_nothing_is_known(tmp_path: Path) -> None:
    """Could not look: absent."""
    seen = collect(Machine(root=str(tmp_path)))
    assert seen.facts == {}
    assert [gap.what for gap in seen.gaps] == ["services"]


@pytest.mark.parametrize(("inside", "why"), [("pid:[4026531836]", None), ("pid:[4026532181]", "not-here")])
def test_inside_a_container_its_own_programs_are_not_taken_for_the_host_s(
    tmp_path: Path, inside: str, why: str | None
) -> None:
    """The first number is that of the host's process namespace (Linux include/linux/proc_ns.h)."""
    process(str(tmp_path), 5, "brltty", "/bin/brltty")
    (tmp_path / "proc/self/ns").mkdir(parents=True)
    (tmp_path / "proc/self/ns/pid").symlink_to(inside)
    seen = collect(Machine(root=str(tmp_path)))
    assert ("services" in seen.facts) is (why is None)
    if why:
        assert [(gap.what, gap.why) for gap in seen.gaps] == [("services", why)]


def test_this_machine_is_read_without_an_error() -> None:
    """Live, with or without systemd: a list, or a gap that says why not."""
    seen = collect(Machine())
    assert "services" in seen.facts or seen.gaps
    if "services" in seen.facts:
        assert {service.kind for service in seen.facts["services"]} <= set(UNITS.values())
