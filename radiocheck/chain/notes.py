"""What a report says of the whole machine."""

from __future__ import annotations

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence

from .context import Context
from .pair import Pair, is_virtual_port
from .prospect import prospects


def host_line(evidence: Evidence) -> str:
    """The machine in one line."""
    host = evidence.host
    if not known(host):
        return "unknown host"
    words = [host.distribution if isinstance(host.distribution, str) else "Linux"]
    if known(host.kernel):
        words.append(f"kernel {host.kernel}")
    if known(host.virtualisation):
        words.append(f"itself a guest ({host.virtualisation})" if host.virtualisation else "bare metal")
    if known(host.container) and host.container:
        words.append(f"in a container ({host.container})")
    return ", ".join(words)


def notes(indexed: Context) -> list[str]:
    """What concerns the whole machine."""
    evidence, said = indexed.evidence, []
    hosts_vms = (known(evidence.qemu) and evidence.qemu) or (known(evidence.domains) and evidence.domains)
    if indexed.pair is not None:
        said.append(_joined(indexed, indexed.pair))
    if indexed.inside is True:
        said.append(
            "This machine is a VM. What lies before it, from the socket to the hand-over, shows only on its host: run "
            "`radiocheck capture FILE` here, and `radiocheck check --guest FILE` there."
        )
        if any(subject.device is not None and is_virtual_port(subject.device) for subject in indexed.subjects):
            said.append(
                "QEMU USB SERIAL is a converter that the hypervisor makes; what hangs behind it shows only on the host."
            )
        if not indexed.subjects:
            said.append(
                "A serial port that the host gives to this VM (such as ttyS0) does not show what hangs behind it."
            )
    elif known(evidence.host) and isinstance(evidence.host.virtualisation, str) and not hosts_vms:
        said.append("This machine is itself a guest: the host's side of the chain is not visible from here.")
    if known(evidence.host) and isinstance(evidence.host.container, str):
        said.append("radiocheck runs in a container: who else holds the adapter does not show; run it outside too.")
    return said + prospects(indexed)


def _joined(indexed: Context, pair: Pair) -> str:
    """Which capture the VM's side is from, and whether it has anything to do with an adapter of this host."""
    who = f"the VM {pair.vm}" if isinstance(pair.vm, str) else "a VM of another host" if pair.vm is None else "a VM"
    root = ", without root" if pair.guest.taken.root is False else ""
    told = f"Joined with the capture of {who} ({host_line(pair.guest)}{root}), {pair.apart} apart."
    meant = any(item.vm == pair.vm for subject in indexed.subjects for item in subject.items)
    return told if meant or not isinstance(pair.vm, str) else f"{told} No adapter was seen here that is for it."
