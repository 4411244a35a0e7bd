"""The options `--vm-args`, `--vm-xml` and `--vm-xl`: configurations of VMs whose manager hides its own.

The files are read while the command line is, before anything is probed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from . import reading
from .status import Unusable

if TYPE_CHECKING:
    from radiocheck.evidence.record import Evidence
    from radiocheck.evidence.vm import GivenVm

Command = TypeVar("Command", bound=Callable[..., Any])

RECORDS, STDIN_USED = f"{__name__}.records", f"{__name__}.stdin"
WANTED = "the file that holds the VM's configuration"


def configurations(command: Command) -> Command:
    """The options; `with_given` adds what they name."""
    for name, about in (
        ("--vm-xl", "xl configuration of a Xen domain (xl.cfg)."),
        ("--vm-xml", "libvirt XML of a VM, whole or only its <hostdev>."),
        ("--vm-args", "QEMU command line of a VM, as a script has it or as `ps` or /proc/PID/cmdline shows it."),
    ):
        command = click.option(
            name, metavar="FILE", multiple=True, expose_value=False, callback=_read, help=f"{about} May be repeated."
        )(command)
    return command


def stdin_used(context: click.Context) -> bool:
    """Whether one of the files was standard input, which can be read only once."""
    return bool(context.meta.get(STDIN_USED))


def with_given(context: click.Context, evidence: Evidence) -> Evidence:
    """The evidence together with the VMs that were given; a VM that it knows of as given before is replaced."""
    records: list[GivenVm] = context.meta.get(RECORDS, [])
    if not records:
        return evidence
    from msgspec import UnsetType
    from msgspec.structs import replace

    kept = [] if isinstance(evidence.given_vms, UnsetType) else list(evidence.given_vms)
    for vm in records:
        before = next((one for one in kept if (one.name, one.manager) == (vm.name, vm.manager)), None)
        if before is not None and vm.name is not None:
            kept.remove(before)
            if isinstance(vm.autostart, UnsetType):
                vm = replace(vm, autostart=before.autostart)
        kept.append(vm)
    return replace(evidence, given_vms=kept)


def _read(context: click.Context, option: click.Parameter, files: Sequence[str]) -> None:
    """Read the files of one option.  Raises `Unusable` when one cannot be read completely."""
    if not files:
        return
    from radiocheck.sources import given
    from radiocheck.sources.quoting import shown

    name = option.name or ""
    readers = {"vm_args": given.vm_args, "vm_xml": given.vm_xml, "vm_xl": given.vm_xl}
    records: list[GivenVm] = context.meta.setdefault(RECORDS, [])
    for file in files:
        if file == "-" and context.meta.get(STDIN_USED):
            raise Unusable(f"{reading.STDIN} can be read only once; put one of the configurations into a file")
        context.meta[STDIN_USED] = file == "-" or stdin_used(context)
        data, called = reading.read(file, given.LIMITS[name], WANTED)
        try:
            found = readers[name](data, _origin(called))
        except ValueError as error:
            raise Unusable(f"{called}: {error}") from None
        for vm in found:
            if vm.name is not None and any(other.name == vm.name for other in records):
                raise Unusable(f"{called}: describes {shown(vm.name)}, as a file before it does; give one of the two")
        records += found


def _origin(file: str) -> str:
    """What the report calls a file: without its folder, which may tell of the person, unless it says nothing alone."""
    from radiocheck.sources.machine import decoded

    return decoded(file if file.startswith(("/proc/", "/dev/")) else file.rpartition("/")[2])
