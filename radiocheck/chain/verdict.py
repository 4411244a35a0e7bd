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
Outcome = Literal["comes-back", "only-if-alone", "by-chance", "does-not-come-back", "refused", "not-started"]
ChainRoute = Literal["native", "device", "controller", "forwarded", "received", "unknown"]


class Remedy(Struct, frozen=True, kw_only=True):
    """One way to mend it.  radiocheck never runs it."""

    do: str
    risk: Risk
    configuration: str | None = None  # to paste as it is: an element, words of a command line, a udev rule
    file: str | None = None  # the name under which to save it, since `command` reads it there
    command: str | None = None  # exact command, values quoted for a POSIX shell; run after the configuration was saved
    gives_up: str | None = None  # what is given up by choosing that configuration
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


class Forecast(Struct, frozen=True, kw_only=True):
    """What the next restart does to one line of a VM's configuration.  An outcome that is null is not known.

    comes-back; only-if-alone: when nothing else matches the line; by-chance: nothing sees to
    it; does-not-come-back: the VM starts without it; refused: the VM does not start;
    not-started: nobody starts the VM.
    """

    vm: str
    text: str  # the line, as it stands in the configuration
    at_vm_restart: Outcome | None  # the VM is stopped and started, the host stays up
    at_vm_restart_why: str  # with values, and with what it depends on
    at_host_restart: Outcome | None
    at_host_restart_why: str
    missing: list[Missing] = []  # what would settle an outcome that is not known


class Chain(Struct, frozen=True, kw_only=True):
    """The path of one adapter."""

    adapter: Adapter
    route: ChainRoute  # received: judged in the VM that has it; unknown: not every VM's configuration could be read
    vms: list[str]
    state: ChainState
    step: StepName | None  # the step blamed: broken, or weak when none is broken
    sentence: str
    steps: list[Step]
    forecast: list[Forecast] = []  # of each line that gives it to a VM


def headline(chain: Chain) -> str | None:
    """The rule that is named first at the step blamed: a break before a strain, and none that follows from another."""
    blamed = next((step for step in chain.steps if step.step == chain.step), None)
    own = [one for one in blamed.findings if one.result == "found" and one.explained_by is None] if blamed else []
    return min(own, key=lambda one: one.gravity != "break").rule if own else None


class Verdict(Struct, frozen=True, kw_only=True):
    """The one thing to read."""

    state: ChainState
    step: StepName | None
    sentence: str


class Quote(Struct, frozen=True, kw_only=True):
    """A line of a paste."""

    line: int  # its number, from 1
    text: str


class PasteSaid(Struct, frozen=True, kw_only=True):
    """What is told of a paste beside the verdict."""

    lines: int  # that are not empty
    read: int  # of them, that said something
    recognised: bool  # the output of at least one program
    decisive: list[Quote] = []  # without these lines the verdict were another one
    against: list[Quote] = []  # lines that speak against it
    but: list[str] = []  # what else it could be
    assumed: list[str] = []  # `native`: it is used on the machine itself; `guest`: this is the VM that has it
    ask: list[str] = []  # commands whose output would settle it


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
    paste: PasteSaid | None = None  # when the evidence was read from text that somebody pasted
