"""Lines of VM configurations that give a USB device, a controller or a tty to a VM."""

from __future__ import annotations

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence

from .item import Item
from .items_libvirt import of_domain
from .items_qemu import of_process


def items(evidence: Evidence) -> list[Item]:
    """All assignments of all VMs that could be looked at."""
    processes = list(evidence.qemu) if known(evidence.qemu) else []
    domains = list(evidence.domains) if known(evidence.domains) else []
    found: list[Item] = []
    named = {domain.name for domain in domains}
    for domain in domains:
        process = next((process for process in processes if process.name == domain.name), None)
        found += of_domain(domain, process)
    for process in processes:
        if process.name not in named:
            found += of_process(process)
    return found
