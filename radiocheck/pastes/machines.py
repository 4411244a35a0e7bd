"""VMs of a paste: processes that need a number of their own, and configurations that may be said twice."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET
from msgspec.structs import replace

from radiocheck.evidence.vm import Domain, GivenVm, QemuProcess


def processes(found: Sequence[QemuProcess]) -> list[QemuProcess]:
    """Processes, each once; those whose number was not seen get negative ones, which no process has."""
    by_number = {one.pid: one for one in found if one.pid > 0}
    known = [replace(one, pid=0) for one in by_number.values()]
    nameless = [one for one in found if one.pid <= 0 and replace(one, pid=0) not in known]
    return [*by_number.values(), *(replace(one, pid=-number) for number, one in enumerate(nameless, 1))]


def given(found: Sequence[GivenVm]) -> list[GivenVm]:
    """Configurations; what is pasted twice counts once."""
    kept: list[GivenVm] = []
    for one in found:
        if one not in kept:
            kept.append(one)
    return kept


def domains(found: Sequence[Domain]) -> list[Domain]:
    """Domains by name, with all that was said of each."""
    made: dict[str, Domain] = {}
    for one in found:
        before = made.get(one.name)
        if before is None:
            made[one.name] = one
            continue
        told = {name: getattr(one, name) for name in one.__struct_fields__}
        made[one.name] = replace(before, **{name: value for name, value in told.items() if value is not UNSET})
    return list(made.values())
