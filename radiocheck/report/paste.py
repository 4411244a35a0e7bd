"""The report for pasting: Markdown that forums, chats and issue trackers show, and that is read back from any of them.

What comes from a device, a log or a configuration stands in fenced blocks only, whose end no
line of it can make.  All of it is ASCII in lines of at most 78 columns, except commands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from radiocheck.chain.verdict import Report

from .escape import prose
from .layout import listed, wrap
from .text import text
from .words import THINGS

WIDTH = 78  # what mail and most forums leave alone
AIM = 8000  # bytes of a whole paste for an ordinary host

STATES = {
    "sound": "radiocheck: sound, as far as this evidence shows",
    "weak": "radiocheck: it works today, but is weak",
    "broken": "radiocheck: broken",
    "unseen": "radiocheck: not enough evidence to tell",
}
KINDS: dict[str, tuple[str, str]] = {
    "serial": ("serial number", "serial numbers"),
    "user": ("account name", "account names"),
    "group": ("group name", "group names"),
    "vm": ("VM name", "VM names"),
    "host": ("host name", "host names"),
    "wifi": ("Wi-Fi name", "Wi-Fi names"),
    "uuid": ("UUID", "UUIDs"),
    "mac": ("MAC address", "MAC addresses"),
    "address": ("IP address", "IP addresses"),
    "mail": ("e-mail address", "e-mail addresses"),
    "id": ("long identifier", "long identifiers"),
    "path": ("home path", "home paths"),
}
KEPT = (
    "Kept: makers and products, IDs, ports, drivers, programs, versions, times, names of system accounts, and names "
    "as short as `1` or as common as `usb` where they stand among other words."
)
REVEALED = (
    "Nothing was removed (`--reveal`): serial numbers, names and addresses are in it, in the block too. "
    "Read it through before you post it."
)
HOW = (
    "To judge it anew, offline: save this whole post as a file, whatever stands around it, and run "
    "`radiocheck judge FILE`."
)
OWN_RULES = "It was judged with rules of its own beside the shipped ones; without them the verdict may differ."
NO_BLOCK = (
    "The evidence is too large for a block of text. Ask for the file that `radiocheck capture FILE` makes; "
    "it is not redacted."
)


def paste(
    report: Report,
    block: str | None,
    removed: Mapping[str, int] | None,
    sizes: Sequence[tuple[str, int]] = (),
    own_rules: bool = False,
) -> str:
    """The report with its evidence in a block (None: too large for one).

    `removed` counts what stand-ins replace, by kind; None when nothing was to be replaced.
    `sizes` are the parts of the evidence and their weight, the largest first.
    """
    told = text(report, WIDTH, ascii=True)
    parts = [_headline(report), _fenced(told), _prose(_removed(removed))]
    parts += [_fenced(block), _prose(HOW)] if block is not None else [_prose(NO_BLOCK)]
    if own_rules:
        parts.append(_prose(OWN_RULES))
    whole = "\n".join(parts)
    if len(whole) > AIM and block is not None:
        whole += "\n" + _prose(_large(len(whole), len(told), len(block), sizes))
    return whole


def _headline(report: Report) -> str:
    """One sentence of our own words, so that nothing foreign is read as Markdown."""
    step = report.verdict.step
    said = STATES[report.verdict.state]
    if step is None:
        return f"**{said}**\n"
    question = next((one.question for chain in report.chains for one in chain.steps if one.step == step), "")
    plain = re.sub(r"[^\w ,.:?'-]", "", prose(question, ascii=True))
    return _prose(f"**{said} at the step `{step}`: {plain}**")


def _removed(removed: Mapping[str, int] | None) -> str:
    if removed is None:
        return REVEALED
    words = [f"{count} {KINDS[kind][count != 1]}" for kind, count in removed.items() if count]
    if not words:
        return f"Removed: nothing, since no private names or numbers were found. {KEPT}"
    example = next(kind for kind, count in removed.items() if count)
    first = "1".zfill(len(str(removed[example])))
    return (
        f"Removed: {listed(words)}. A stand-in such as `{example}-{first}` is the same one everywhere; "
        f"put the real name in its place in commands. {KEPT}"
    )


def _large(whole: int, told: int, block: int, sizes: Sequence[tuple[str, int]]) -> str:
    total = sum(size for _, size in sizes) or 1
    most = [f"{THINGS.get(part, part)} ({100 * size // total} %)" for part, size in sizes[:2]]
    made = f", of that mostly {listed(most)}" if most else ""
    return (
        f"This report has {whole / 1000:.1f} kB, where {AIM / 1000:.0f} kB are usual: "
        f"{told / 1000:.1f} kB are text, {block / 1000:.1f} kB evidence{made}."
    )


def _prose(said: str) -> str:
    return "\n".join(wrap(said, WIDTH)) + "\n"


def _fenced(content: str) -> str:
    longest = max((len(run) for run in re.findall(r"`+", content)), default=0)
    fence = "`" * max(3, longest + 1)
    return f"{fence}text\n{content.rstrip()}\n{fence}\n"
