"""The records of a judgement.  Encoded as JSON they are the stable report format.

Strings may hold text that came from a device, a log or a configuration, unescaped:
whoever shows them escapes them.
"""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

REPORT_FORMAT = 1  # raised when a reader of the old format would misread the new one

StepName = Literal["power", "bus", "driver", "name", "access", "assignment", "handover", "guest", "radio", "air"]
StepState = Literal["sound", "weak", "broken", "unseen", "unreached", "unused"]
ChainState = Literal["sound", "weak", "broken", "unseen"]
Result = Literal["found", "clear", "unknown"]
Gravity = Literal["break", "strain"]
Risk = Literal["reads", "reversible", "interrupts", "hands-on"]
Route = Literal["native", "device", "controller", "forwarded"]
ChainRoute = Literal["native", "device", "controller", "forwarded", "unknown"]


class Remedy(Struct, frozen=True, kw_only=True):
    """One way to mend it.  radiocheck never runs it."""

    do: str
    risk: Risk
    command: str | None = None  # exact command or configuration, values quoted for a POSIX shell
    interrupts: str | None = None  # who loses what, for how long
    caution: str | None = None  # what must be thought of before
    check: str | None = None  # how to see that it worked


class Missing(Struct, frozen=True, kw_only=True):
    """Evidence that would settle an unknown rule or an unseen step."""

    what: str  # evidence path, e.g. "handles"
    why: str  # why it is absent
    provide: str  # what the person can do about it


class Finding(Struct, frozen=True, kw_only=True):
    """What one rule says of one adapter."""

    rule: str
    result: Result
    gravity: Gravity
    title: str = ""  # filled in when found
    seen: str = ""  # what was seen, with values; when found
    why: str = ""
    looks_like: str = ""  # when it only looks like this
    remedies: list[Remedy] = []
    missing: list[Missing] = []  # when unknown
    explained_by: str | None = None  # follows from that other finding; no trouble of its own


class Step(Struct, frozen=True, kw_only=True):
    """One step of the chain."""

    step: StepName
    question: str
    state: StepState
    saw: list[str] = []  # plain facts, in order of weight
    because: str = ""  # why it is unseen, unreached or unused
    findings: list[Finding] = []
    missing: list[Missing] = []  # when unseen: what would show it


class Adapter(Struct, frozen=True, kw_only=True):
    """Which adapter a chain is about.  null: not known or not there."""

    label: str  # for people: product and serial number, or what is asked for
    present: bool | None
    vid: str | None = None
    pid: str | None = None
    manufacturer: str | None = None
    product: str | None = None
    serial: str | None = None
    port: str | None = None  # sysfs name, "1-2"
    by_id: str | None = None
    tty: str | None = None


class Chain(Struct, frozen=True, kw_only=True):
    """The path of one adapter."""

    adapter: Adapter
    route: ChainRoute  # unknown: not every VM's configuration could be read
    vms: list[str]
    state: ChainState
    step: StepName | None  # the step blamed: broken, or weak when none is broken
    sentence: str
    steps: list[Step]


class Verdict(Struct, frozen=True, kw_only=True):
    """The one thing to read."""

    state: ChainState
    step: StepName | None
    sentence: str


class Report(Struct, frozen=True, kw_only=True):
    """A whole judgement."""

    radiocheck_report: int
    tool: str
    taken: float  # Unix seconds: when the evidence was taken
    root: bool | None  # whether it was taken as root; null: not known
    host: str  # one line: distribution, kernel, bare metal or guest
    verdict: Verdict
    chains: list[Chain]  # worst first
    notes: list[str] = []  # what concerns the whole machine
    missing: list[Missing] = []  # every gap of the evidence
