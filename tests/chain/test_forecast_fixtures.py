"""The forecast on machines that the bench captured: the set-up of each makes the outcome."""

from __future__ import annotations

from pathlib import Path

import pytest

from radiocheck.chain.context import context
from radiocheck.chain.forecast import forecasts
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Forecast
from radiocheck.evidence.store import load

FIXTURES = Path(__file__).parents[2] / "fixtures"

# Folder: VM, its line, outcome when the VM is stopped and started, outcome when the host restarts.
MACHINES: dict[str, tuple[str, str, str | None, str | None]] = {
    "demo": ("hearth", "hostdev 1209:7a01", "comes-back", "comes-back"),
    "detached-behind-libvirt": ("hearth", "hostdev 1209:7a01", "comes-back", "comes-back"),
    "live-only": ("hearth", "hostdev 1209:7a01, bus 7 device 2", "does-not-come-back", "does-not-come-back"),
    "missing-at-start": ("hearth", "hostdev 1209:7a01, startupPolicy optional", "comes-back", "comes-back"),
    "ids-match-nothing": ("hearth", "hostdev 1209:7a10", "refused", "refused"),
    "ids-match-several-refused": ("hearth", "hostdev 1209:7a01", "refused", "refused"),
    "ids-match-several-later": ("hearth", "hostdev 1209:7a01", "refused", "refused"),
    "ids-match-several-guessed": (
        "attic",
        "usb-host vendorid=1209, productid=7a01",
        "only-if-alone",
        "only-if-alone",
    ),
    "no-usb-controller-in-vm": ("hearth", "hostdev 1209:7a01", "refused", "refused"),
    "held-by-other-vm": ("hearth", "hostdev 1209:7a01", "refused", "comes-back"),
    "held-by-two-hypervisors": ("hearth", "hostdev 1209:7a01", "by-chance", "by-chance"),
    "dead-handle-address": ("attic", "usb-host hostbus=7, hostaddr=2", "refused", "by-chance"),
    "dead-handle-node": ("attic", "usb-host hostdevice=/dev/bus/usb/007/002", "refused", "by-chance"),
    "retry-limit-used-up": ("attic", "usb-host vendorid=1209, productid=7a01", "comes-back", "comes-back"),
    "hypervisor-may-not-open": ("attic", "usb-host hostbus=7, hostport=1", "does-not-come-back", "does-not-come-back"),
    "selector-missing": ("attic", "usb-host without a selector", "only-if-alone", "only-if-alone"),
    "enumeration-garbled": ("hearth", "hostdev 1209:7a01", "refused", "refused"),
    "forwarded-by-moving-name": ("hearth", "serial from /dev/ttyACM0", "comes-back", "only-if-alone"),
    "forwarded-node-moved": ("hearth", "serial from /dev/ttyACM0", "refused", "only-if-alone"),
    "forwarded-node-not-open": (
        "hearth",
        "serial from /dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3D4-if00",
        "comes-back",
        "comes-back",
    ),
    "controller-address-wrong": ("hearth", "hostdev pci 0000:00:16.0", "refused", "refused"),
    "controller-group-shared": ("hearth", "hostdev pci 0000:01:01.0", "refused", "refused"),
    "iommu-off": ("hearth", "hostdev pci 0000:00:06.0", "refused", "refused"),
}


def told(folder: str) -> list[Forecast]:
    """All forecasts of a captured machine."""
    evidence = load((FIXTURES / folder / "evidence.json").read_bytes(), folder)
    found = subjects(evidence)
    indexed = context(evidence, found)
    return [one for subject in found for one in forecasts(indexed, subject)]


@pytest.mark.parametrize("folder", MACHINES)
def test_outcome(folder: str) -> None:
    """What the set-up made: a number that a replug changed, twins, a line of the running VM only …"""
    vm, text, at_vm, at_host = MACHINES[folder]
    mine = [one for one in told(folder) if (one.vm, one.text) == (vm, text)]
    assert mine
    assert {(one.at_vm_restart, one.at_host_restart) for one in mine} == {(at_vm, at_host)}


def test_reasons_of_a_replug() -> None:
    """A line by number, the adapter's number of now, and the one that it was given at the boot stand in the reason."""
    one = told("dead-handle-node")[0]
    assert "nothing is bus 7 device 2 now (the adapter is bus 7 device 3)" in one.at_vm_restart_why
    assert "at this boot the adapter got bus 7 device 2" in one.at_host_restart_why


def test_native_machines_have_none() -> None:
    """Where no VM has a line there is nothing to forecast."""
    assert told("no-stable-name") == told("healthy-nothing-there") == []
