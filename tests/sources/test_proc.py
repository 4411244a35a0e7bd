"""Processes as /proc shows them, against ps(1)."""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest

from radiocheck.sources.machine import Machine
from radiocheck.sources.proc import arguments, command, pids, started, status, unit


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/system.slice/ModemManager.service", "ModemManager.service"),
        ("/system.slice/system-serial\\x2dgetty.slice/serial-getty@ttyUSB0.service", "serial-getty@ttyUSB0.service"),
        ("/machine.slice/machine-qemu\\x2d1\\x2dhearth.scope/libvirt/emulator", "machine-qemu\\x2d1\\x2dhearth.scope"),
        ("/user.slice/user-1000.slice/session-3.scope", "session-3.scope"),
        ("/user.slice/user-1000.slice/user@1000.service/app.slice/radio.service", "user@1000.service/radio.service"),
        ("/lxc.payload.attic/system.slice/radio.service", None),  # a unit of the container's own systemd
        ("/", None),
        ("/init.scope", "init.scope"),
    ],
)
def test_the_unit_is_the_first_part_of_the_control_group_that_is_no_slice(path: str, expected: str | None) -> None:
    """As systemd's cg_path_get_unit (src/basic/cgroup-util.c, from memory)."""
    assert unit(path) == expected


@pytest.mark.skipif(shutil.which("ps") is None, reason="ps is absent (Debian package procps)")
def test_processes_are_read_as_ps_shows_them() -> None:
    """Live: this process's command line, command name, group numbers and age; reference is ps(1)."""
    own = os.getpid()
    machine = Machine()
    assert own in pids(machine)
    shown = subprocess.run(
        ["ps", "-o", "comm=,ppid=", "-p", str(own)], capture_output=True, text=True, check=True
    ).stdout.rsplit(maxsplit=1)
    assert command(machine, own) == shown[0].strip()
    fields = status(machine, own)
    assert fields is not None
    assert fields["PPid"] == shown[1]
    assert fields["Groups"].split() == [str(one) for one in os.getgroups()]
    assert arguments(machine, own)[0] == subprocess.run(
        ["ps", "-o", "args=", "-p", str(own)], capture_output=True, text=True, check=True
    ).stdout.split()[0]  # fmt: skip
    child = subprocess.Popen(["sleep", "60"])
    ages = started(machine, own), started(machine, child.pid)
    child.kill()
    child.wait()
    assert None not in ages
    assert ages == tuple(sorted(ages, key=lambda age: age or 0))


def test_a_process_that_is_gone_is_none() -> None:
    """It may leave between two reads."""
    machine = Machine()
    child = subprocess.Popen(["true"])
    child.wait()
    assert status(machine, child.pid) is None
    assert (command(machine, child.pid), arguments(machine, child.pid), started(machine, child.pid)) == ("", [], None)
