"""Whose output a line is: of a VM or of its host, by the prompt before it or the heading above it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from .line import Line

QEMU_VENDOR = "0627"  # its tablet, keyboard and mouse (hw/usb/dev-hid.c)
GUEST = "guest"
HOST = "host"
_HOST_NAME = re.compile(
    r"^\W{0,3}(?:[\w.-]{1,40}@(?P<host>[\w.-]{1,64})|(?P<bare>[\w.-]{1,64}) [~/\w][^\]]{0,80}\][$#] )"
)
_WRITTEN = re.compile(r"^\W{0,3}(?:(?P<vm>guest|vm|gast)|host|hypervisor|wirt)\d{0,2} ?[$#] ", re.IGNORECASE)
# A row of `virsh list`, whatever the language of the state (tools/virsh-domain-monitor.c, cmdList)
_DOMAIN = re.compile(r"^(?:\d{1,6}|-)\s{1,8}(?P<name>[\w.-]{1,64})\s{2,80}[^\W\d]")
_PLACE = r"(?:(?:on|in|inside|within|from|auf|im|in der|dans|en|no|na|dentro d[aeo]|sur|sull?|w|v|в|на) )?"
_ARTICLE = r"(?:the |my |this |der |dem |die |das |la |le |l'|el |il |o |a |de |het |mijn )?"
_VM = r"(?:guests?(?: os)?|gast(?:system)?|vms?|virtual machine|invit[ée]|hu[ée]sped|convidad[oa]|ospite|гост\w{0,3})"
_OF_VMS = r"(?:hosts?|hypervisor|wirt|anfitri[óo]n|h[ôo]te|hospedeiro|gastheer|хост\w{0,2}|hoście)"
_OUTPUT = r"(?:dmesg|kernel|logs?|journal|journalctl|syslog|lsusb|xml|virsh)"
# A heading may go on in brackets, or with what is shown and when: "host dmesg while that happens:".
_MORE = (
    r"(?: ?\([^()]{1,40}\)\W{0,4}|(?:'s)? "
    + _OUTPUT
    + r"\b(?: [^\s.!?;]{1,20}){0,6}\W{0,4}|, ?(?:/[\w./-]{3,60}|"
    + _OUTPUT
    + r")\W{0,4}|\W{0,4})$"
)
_LINK = r"(?:\d{1,2}[.)] ?)?(?:(?:and|then|meanwhile|now|und|y|et|e) )?"
_IN_GUEST = re.compile(rf"^\W{{0,6}}{_LINK}{_PLACE}{_ARTICLE}{_VM}{_MORE}", re.IGNORECASE)
_ON_HOST = re.compile(rf"^\W{{0,6}}{_LINK}{_PLACE}{_ARTICLE}{_OF_VMS}{_MORE}", re.IGNORECASE)
# A device that only QEMU makes, or a kernel that is built for VMs only (packages linux-image-cloud-amd64, linux-virt)
_LISTED = re.compile(rf"\bBus \d{{1,3}} Device \d{{1,3}}: ID {QEMU_VENDOR}:")
KERNEL_OF_VMS = re.compile(r"/lib/modules/\d[\w.+-]{2,40}-(?:cloud-(?:amd64|arm64)|virt|kvm)\b")
_VIRSH = re.compile(r"\bvirsh\b(?P<words>.{0,300})")


def speakers(lines: Sequence[Line]) -> list[str | None]:
    """For each line the machine whose output it is: `guest`, `host`, `@` and a name, or None where nothing says it.

    A prompt's host that virsh names as a domain is the guest, and the one at whose prompt virsh is typed the host.
    """
    hosts = [_host(line) for line in lines]
    asked = [line.prompt for line in lines if line.prompt is not None]
    words = {word for prompt in asked for match in [_VIRSH.search(prompt)] if match for word in match["words"].split()}
    words |= _listed(lines)
    runs_virsh = {
        host for host, line in zip(hosts, lines, strict=True) if host and line.prompt and "virsh " in line.prompt
    }
    found: list[str | None] = []
    now: str | None = None
    heading: str | None = None
    for line, host in zip(lines, hosts, strict=True):
        if line.prompt is None:
            if said := _heading(line.text):
                now = heading = said
        elif written := _WRITTEN.match(line.text.strip()[:80]):
            now = GUEST if written["vm"] else HOST
        elif host is not None:
            now = HOST if host in runs_virsh else GUEST if host in words else f"@{host}"
        else:
            now = HOST if "virsh " in line.prompt else heading
        found.append(now)
    return found


def _listed(lines: Sequence[Line]) -> set[str]:
    """The names in the rows that `virsh list` printed."""
    found: set[str] = set()
    asked = False
    for line in lines:
        if line.prompt is not None:
            asked = re.match(r"virsh (?:-\S{1,60} ){0,3}list\b", line.prompt) is not None
        elif asked and (match := _DOMAIN.match(line.text.strip()[:200])):
            found.add(match["name"])
    return found


def machines(lines: Sequence[Line]) -> list[str | None]:
    """As `speakers`; one that shows a device of QEMU's or a kernel for VMs is a VM, also without a word of it."""
    found = speakers(lines)
    shown = (_LISTED, KERNEL_OF_VMS)
    virtual = {
        machine
        for line, machine in zip(lines, found, strict=True)
        if any(shape.search(line.text[:200]) for shape in shown)
    }
    return [GUEST if machine in virtual - {None, HOST} else machine for machine in found]


def of_guests(lines: Sequence[Line]) -> set[int]:
    """The numbers of the lines that are a VM's."""
    return {line.number for line, machine in zip(lines, machines(lines), strict=True) if machine == GUEST}


def _host(line: Line) -> str | None:
    match = _HOST_NAME.match(line.text.strip()[:200]) if line.prompt is not None else None
    return (match["host"] or match["bare"]) if match else None


def _heading(text: str) -> str | None:
    if len(text) > 80:
        return None
    if _IN_GUEST.match(text):
        return GUEST
    return HOST if _ON_HOST.match(text) else None
