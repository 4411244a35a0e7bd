"""The systemd journal of this boot, asked through `journalctl -o json`."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from radiocheck.evidence.record import Gap

from .machine import Machine, ToolHung, ToolMissing

RIGHTS = "run as root, or add your user to the group adm or systemd-journal"
_FIELDS = "--output-fields=MESSAGE,_TRANSPORT,_SOURCE_MONOTONIC_TIMESTAMP"

Line = tuple[float | None, str]  # Unix seconds, message


class _Entry(msgspec.Struct):
    """What is used of a journal entry (systemd.journal-fields(7))."""

    text: str | list[int] | None = msgspec.field(name="MESSAGE", default=None)
    transport: str = msgspec.field(name="_TRANSPORT", default="")
    received: str = msgspec.field(name="__REALTIME_TIMESTAMP", default="")
    received_monotonic: str = msgspec.field(name="__MONOTONIC_TIMESTAMP", default="")
    sent_monotonic: str = msgspec.field(name="_SOURCE_MONOTONIC_TIMESTAMP", default="")


def ask(machine: Machine, what: str, newest: int, *selection: str) -> list[Line] | Gap:
    """The newest messages of this boot that `selection` (options or matches of journalctl) picks out.

    A gap about `what` when the journal cannot be read in full; an empty list when it can
    and holds none.  Without `selection` an empty journal is a gap too.
    """
    argv = ("journalctl", "-b", "-o", "json", "--no-pager", "-n", str(newest), _FIELDS, *selection)
    try:
        ran = machine.run(argv)
    except ToolMissing:
        return Gap(what=what, why="no-tool", detail="journalctl is not installed")
    except ToolHung:
        return Gap(what=what, why="timed-out", detail="journalctl did not answer")
    # systemd's access check (src/shared/journal-util.c) prints these for people outside adm and
    # systemd-journal; what they do get is their own messages.
    if "not seeing messages from" in ran.err or "insufficient permissions" in ran.err:
        return Gap(what=what, why="denied", detail="the journal shows only the caller's own messages", provide=RIGHTS)
    found = list(lines(ran.out))
    if found:
        return found
    if error := ran.err.strip():
        return Gap(what=what, why="failed", detail=error.split("\n")[0][:200])
    if not selection:
        return Gap(what=what, why="not-here", detail="the journal holds nothing of this boot")
    # journalctl says nothing and succeeds where no journal is kept at all.
    anything = ask(machine, what, 1)
    return anything if isinstance(anything, Gap) else []


def lines(text: str, transport: str | None = None) -> Iterator[Line]:
    """Time and message of each entry of `journalctl -o json` text; broken lines are passed over.

    With `transport`, entries that say they came another way are passed over too.
    """
    decoder = msgspec.json.Decoder(_Entry)
    for line in text.split("\n"):  # splitlines would also break at characters that a device's string may hold
        try:
            entry = decoder.decode(line)
            # A message that is not clean UTF-8 text comes as a list of its bytes.
            message = entry.text if isinstance(entry.text, str) else bytes(entry.text or ()).decode("utf-8", "replace")
        except ValueError:
            continue
        if transport is None or entry.transport in ("", transport):
            yield _time(entry), message


def _time(entry: _Entry) -> float | None:
    try:
        at = int(entry.received) / 1e6
    except ValueError:
        return None
    try:
        # The journal receives what the kernel printed during boot seconds later, all at once.
        late = (int(entry.received_monotonic) - int(entry.sent_monotonic)) / 1e6
    except ValueError:
        return at
    return at - late if late > 0 else at
