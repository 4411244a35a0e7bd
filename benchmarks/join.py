"""Judging a host's capture joined with its VM's, against judging the two by themselves."""

from __future__ import annotations

import statistics
import time
from typing import TYPE_CHECKING

from .figures import Target, machine, show, told
from .programs import ROOT

if TYPE_CHECKING:
    from radiocheck.evidence.record import Evidence

ROUNDS = 100
WARM = 5  # rounds that do not count: conditions are compiled when they are first asked
LIMIT = 1.25


def main() -> list[Target]:
    """Measure, print, and return the claim."""
    from radiocheck.chain.judge import judge
    from radiocheck.chain.rules import load as load_rules
    from radiocheck.chain.rules import shipped

    print(machine())
    rules = load_rules([shipped()])
    host, guest = pair()
    apart, together = [], []
    for _ in range(WARM + ROUNDS):
        began = time.perf_counter()
        judge(host, rules)
        judge(guest, rules)
        between = time.perf_counter()
        judge(host, rules, None, guest)
        ended = time.perf_counter()
        apart.append((between - began) * 1e3)
        together.append((ended - between) * 1e3)
    apart, together = apart[WARM:], together[WARM:]
    print(f"    apart    {told(apart)}")
    print(f"    joined   {told(together)}")
    ratio = statistics.median(together) / statistics.median(apart)
    target = Target("the demo's host, and the VM that it gives its adapter to", ratio, LIMIT)
    show(target)
    return [target]


def pair() -> tuple[Evidence, Evidence]:
    """The shipped demo as a host, and the same machine as its VM: as large as the host, which a VM rarely is."""
    from msgspec.structs import replace

    from radiocheck.evidence.record import Host
    from radiocheck.evidence.store import load

    host = load((ROOT / "fixtures/demo/evidence.json").read_bytes(), "demo")
    uuid = host.domains[0].uuid if isinstance(host.domains, list) else None
    booted = host.taken.at - 60
    inner = Host(kernel="6.1.0-56-amd64", booted=booted, virtualisation="kvm", hypervisor=False, uuid=uuid)
    guest = replace(host, host=inner, qemu=[], domains=[], taken=replace(host.taken, at=host.taken.at + 10))
    return host, guest
