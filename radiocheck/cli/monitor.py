"""The option `--qmp`: asking QEMU itself, only on the sockets that a person names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from .status import Unusable

if TYPE_CHECKING:
    from radiocheck.evidence.record import Evidence
    from radiocheck.sources.machine import Machine, Seen

monitors = click.option(
    "--qmp",
    "sockets",
    type=click.Path(),
    multiple=True,
    metavar="SOCKET",
    help="Ask the QEMU behind this QMP socket what it has plugged in; may be repeated. radiocheck only asks "
    "questions, but such a socket may belong to the VM's manager, which has to wait meanwhile.",
)


def answers(sockets: Sequence[str], machine: Machine) -> Seen | None:
    """What the QEMUs behind the sockets tell; none when none is to be asked.  Raises `Unusable`."""
    if not sockets:
        return None
    from radiocheck.sources.qmp import NoMonitor, ask

    try:
        return ask(sockets, machine)
    except NoMonitor as error:
        raise Unusable(str(error)) from None


def with_answers(evidence: Evidence, seen: Seen | None) -> Evidence:
    """The evidence together with what the QEMUs told."""
    if seen is None:
        return evidence
    from msgspec.structs import replace

    return replace(evidence, monitors=seen.facts["monitors"], gaps=[*evidence.gaps, *seen.gaps])
