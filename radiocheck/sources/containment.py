"""Whether this is the inside of a container, and of which kind.

systemd-detect-virt(1) knows; a mark at a fixed place costs less than starting it.
"""

from __future__ import annotations

from radiocheck.evidence.absent import UNSET, UnsetType

from . import proc
from .machine import Machine, ToolHung, ToolMissing

DETECT = "systemd-detect-virt"
# what a container manager leaves at a fixed place inside
_MARKS = (("/run/systemd/container", None), ("/run/.containerenv", "podman"), ("/.dockerenv", "docker"))


def container(machine: Machine) -> str | UnsetType | None:
    """The container's kind; None outside of containers; absent when nothing settles it."""
    for path, name in _MARKS:
        if machine.exists(path):
            return name or _written(machine, path) or "container-other"
    if machine.exists("/run/systemd/system"):
        return None  # a systemd that runs in a container writes the first mark at its start (from memory)
    said = detected(machine, "--container")
    if said is not None:
        return None if said == "none" else said
    namespace = proc.link(machine, "self", "ns/pid")
    # Linux include/linux/proc_ns.h: only the machine's own first process has that namespace
    return UNSET if namespace in (None, proc.PID_NAMESPACE_OF_THE_HOST) else "container-other"


def detected(machine: Machine, kind: str) -> str | None:
    """systemd's one word, `none` included (then the exit status is not 0); None when the tool gave none."""
    try:
        ran = machine.run([DETECT, kind])
    except (ToolMissing, ToolHung):
        return None
    word = ran.out.replace("\0", "").strip()
    return word if word and len(word.split()) == 1 else None


def _written(machine: Machine, path: str) -> str:
    """The mark's text; empty when it cannot be read, for the mark alone settles the question."""
    try:
        return (machine.attribute(path) or "").replace("\0", "").strip()
    except OSError:
        return ""
