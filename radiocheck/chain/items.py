"""Lines of VM configurations that give a USB device, a controller or a tty to a VM."""

from __future__ import annotations

from msgspec import UNSET
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence

from .item import Item
from .items_given import SeenVm, put_together
from .items_libvirt import of_domain
from .items_qemu import of_process
from .monitored import belonging, of_told_domain, of_told_process, of_told_vm


def items(evidence: Evidence) -> list[Item]:
    """All assignments of all VMs that could be looked at, and of those that were given as files."""
    return put_together(evidence, _seen(evidence))


def _seen(evidence: Evidence) -> list[SeenVm]:
    """The VMs that were seen: libvirt's domains, QEMU's processes, and monitors that answered."""
    processes = list(evidence.qemu) if known(evidence.qemu) else []
    domains = list(evidence.domains) if known(evidence.domains) else []
    found: list[SeenVm] = []
    named = {domain.name for domain in domains}
    monitors = belonging(evidence.monitors, evidence.qemu, evidence.domains)
    for domain in domains:
        process = next((process for process in processes if process.name == domain.name), None)
        lines = of_domain(domain, process)
        monitor = monitors.by_domain.get(domain.name)
        lines = lines if monitor is None else of_told_domain(domain, lines, monitor)
        found.append(SeenVm(lines, name=domain.name, domain=domain, process=process))
    for process in processes:
        if process.name not in named:
            lines = of_process(process)
            if process.libvirt is True and "domains" in evidence.partly:
                # libvirt may have taken a device from the running VM since; its own list was not seen
                lines = [replace(line, in_live=UNSET) for line in lines]
            monitor = monitors.by_pid.get(process.pid)
            lines = lines if monitor is None else of_told_process(process, lines, monitor)
            found.append(SeenVm(lines, name=process.name, process=process, monitor=monitor))
    for monitor in monitors.unseen:
        found.append(SeenVm(of_told_vm(monitor), name=monitor.name, monitor=monitor))
    return found
