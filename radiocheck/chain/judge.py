"""From evidence to a report: findings to steps, steps to chains, chains to one verdict."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from msgspec import Struct

from radiocheck import __version__
from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.usb import UsbDevice

from .build import view
from .condition import Scope
from .context import context
from .finding import explain
from .held import device_ttys
from .rule import RuleSet
from .steps import chain
from .subjects import Subject, subjects
from .verdict import (
    REPORT_FORMAT,
    Chain,
    ChainState,
    Missing,
    Report,
    Verdict,
)
from .view import plain

Facts = Mapping[str, Any]
WORST: tuple[ChainState, ...] = ("broken", "weak", "unseen", "sound")


class NoSuchAdapter(LookupError):
    """A filter that matches nothing; one sentence."""


class Only(Struct, frozen=True):
    """Which chains are wanted: an adapter (serial number, by-id name, port path, VID:PID), a VM."""

    adapter: str | None = None
    vm: str | None = None


def judge(evidence: Evidence, rules: RuleSet, only: Only | None = None) -> Report:
    """The judgement.  Raises `NoSuchAdapter` when `only` leaves nothing."""
    only = only or Only()
    wanted = only.adapter
    found = subjects(evidence, (lambda device: names_device(wanted, device, evidence)) if wanted else None)
    indexed = context(evidence, found)
    chosen = [subject for subject in found if _is_wanted(subject, only, evidence)]
    if not chosen and (only.adapter or only.vm):
        what = f"adapter `{only.adapter}`" if only.adapter else f"VM `{only.vm}`"
        known_ones = "; ".join(subject.label for subject in found) or "none"
        raise NoSuchAdapter(f"No chain belongs to {what}. Adapters in this evidence: {known_ones}.")
    chains = [chain(Scope(plain(view(indexed, subject))), subject, rules, evidence.gaps) for subject in chosen]
    chains.sort(key=lambda one: (WORST.index(one.state), one.route == "native", one.adapter.label))
    return Report(
        radiocheck_report=REPORT_FORMAT,
        tool=__version__,
        taken=evidence.taken.at,
        root=evidence.taken.root if known(evidence.taken.root) else None,
        host=host_line(evidence),
        verdict=verdict(chains, evidence),
        chains=chains,
        notes=notes(evidence, found),
        missing=_telling_gaps(chains, evidence.gaps),
    )


def _telling_gaps(chains: Sequence[Chain], gaps: Sequence[Gap]) -> list[Missing]:
    """The gaps worth telling: whole sources, and the details that a step was left unseen for."""
    asked = {item.what for one in chains for step in one.steps if step.state == "unseen" for item in step.missing}
    told = [gap for gap in gaps if gap.what.isidentifier() or re.split(r"[.\[]", gap.what)[0] in asked]
    return explain(list(dict.fromkeys(gap.what for gap in told)), told)


def names_device(text: str, device: UsbDevice, evidence: Evidence) -> bool:
    """Whether a person's word names this device: serial number, by-id name, tty, port path, VID:PID."""
    if text in (device.serial, device.name, device.path) or text.casefold() == f"{device.vid}:{device.pid}":
        return True
    ttys = device_ttys(device)
    word = text.rpartition("/")[2]
    if word in ttys:
        return True
    links = evidence.links if known(evidence.links) else []
    return any(link.path.rpartition("/")[2] == word and link.target in ttys for link in links)


def _is_wanted(subject: Subject, only: Only, evidence: Evidence) -> bool:
    if only.vm is not None and all(item.vm != only.vm for item in subject.items):
        return False
    if only.adapter is None:
        return True
    if subject.device is not None:
        return names_device(only.adapter, subject.device, evidence)
    asked = {f"{item.vid}:{item.pid}" for item in subject.items}
    stay = subject.stay
    remembered = {stay.serial, stay.device, f"{stay.vid}:{stay.pid}"} if stay else set()
    return only.adapter in asked | remembered | {subject.place, subject.label}


def verdict(chains: Sequence[Chain], evidence: Evidence) -> Verdict:
    """The worst chain's word for all."""
    if not chains:
        if not known(evidence.usb):
            return Verdict(state="unseen", step=None, sentence="Not enough evidence: the USB bus could not be read.")
        return Verdict(
            state="unseen",
            step=None,
            sentence="Nothing to judge: no USB serial adapter is on the bus, and no VM configuration asks for one.",
        )
    worst = chains[0]
    sentence = worst.sentence
    alike = [one for one in chains if one.state == worst.state]
    if len(chains) > 1:
        if worst.state == "sound":
            sentence = f"Sound: all {len(chains)} adapters, as far as this host can see."
        elif len(alike) > 1:
            sentence += (
                f" {len(alike) - 1} more of {len(chains)} adapters {'is' if len(alike) == 2 else 'are'} {worst.state}."
            )
    return Verdict(state=worst.state, step=worst.step, sentence=sentence)


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


def notes(evidence: Evidence, found: Sequence[Subject]) -> list[str]:
    """What concerns the whole machine."""
    said = []
    hosts_vms = (known(evidence.qemu) and evidence.qemu) or (known(evidence.domains) and evidence.domains)
    if known(evidence.host) and isinstance(evidence.host.virtualisation, str) and not hosts_vms:
        said.append("This machine is itself a guest: the host's side of the chain is not visible from here.")
    if known(evidence.host) and isinstance(evidence.host.container, str):
        said.append("radiocheck runs in a container and sees only what the container is shown; run it on the host.")
    return said
