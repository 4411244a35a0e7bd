"""The report as text for a terminal: the verdict, the chain, what broke, how to mend it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from msgspec.structs import replace

from radiocheck.chain.verdict import Chain, Finding, Remedy, Report, Step

from . import forecast, pasted, vendors, words
from .escape import escape, harmless
from .layout import Look, cut, listed, verbatim, wrap
from .line import chain_line

NARROWEST, WIDEST = 40, 110  # columns; longer lines are hard to read
TABLE = 64  # columns from which steps, states and facts stand side by side
LINES = 2  # lines of facts for a step that is not the one blamed

Vendor = Callable[[str | None], str | None]


def text(
    report: Report, width: int = 80, colour: bool = False, ascii: bool = False, vendor: Vendor = vendors.name
) -> str:
    """The report in lines of at most `width` columns, except commands and long words.

    `vendor` names a vendor ID whose device does not name its maker itself.
    """
    look = Look(max(NARROWEST, min(width, WIDEST)), colour, ascii)
    report = harmless(_shown(report), ascii)
    lines = look.paint_all(wrap(report.verdict.sentence, look.width), report.verdict.state)
    if report.paste is not None:
        lines += pasted.quoted(report.paste, look)
    several = len(report.chains) > 1
    sound_shown = False
    condensed: list[str] = []
    for chain in report.chains:
        if chain.state == "sound" and sound_shown and forecast.calm(chain):
            condensed += wrap(f"{chain.adapter.label}, {words.route(chain)}.", look.width, "Also sound: ", "  ")
            continue
        sound_shown = sound_shown or chain.state == "sound"
        said = several and chain.state != "sound" and not report.verdict.sentence.startswith(chain.sentence)
        lines += ["", *_chain(chain, look, said, vendor, settle=report.paste is None)]
    for block in (condensed, _notes(report, look), _seen_on(report, look)):
        if block:
            lines += ["", *block]
    return "\n".join(lines) + "\n"


def _shown(report: Report) -> Report:
    """The report without the rules that found nothing: most of it, and no text tells of them.

    Of a paste without what its top says already: what else it could be, and the commands to ask for.
    """
    bare = report.paste is not None
    return replace(
        report, chains=[replace(chain, steps=[_found(step, bare) for step in chain.steps]) for chain in report.chains]
    )


def _found(step: Step, bare: bool) -> Step:
    found = [finding for finding in step.findings if finding.result == "found"]
    if bare:
        return replace(step, findings=[replace(one, looks_like="") for one in found], missing=[])
    return replace(step, findings=found)


def _chain(chain: Chain, look: Look, said: bool, vendor: Vendor, settle: bool) -> list[str]:
    """One adapter: who it is, its sentence (if `said`), the chain as a line, the step blamed, the other steps.

    `settle`: with what would settle an open verdict; a paste has that at its top.
    """
    maker = vendor(chain.adapter.vid) if chain.adapter.manufacturer is None else None
    lines = [look.paint(cut(chain.adapter.label, look.width, look.ascii), "bold")]
    about = words.details(chain.adapter, escape(maker, look.ascii) if maker else None)
    lines += look.paint_all(wrap("; ".join(word for word in (about, words.route(chain)) if word), look.width), "quiet")
    if said:
        lines += wrap(chain.sentence, look.width)
    lines += ["", *chain_line(chain.steps, look), ""]
    blamed = next((step for step in chain.steps if step.step == chain.step), None)
    if blamed is not None:
        lines += [*_blamed(blamed, look), ""]
    others = [step for step in chain.steps if step is not blamed]
    if chain.state == "unseen" and settle:
        lines += _settling(chain, look)
    if ahead := forecast.lines(chain.forecast, look):
        lines += [*ahead, ""]
    if chain.state == "sound":
        others = [step for step in others if step.state not in ("sound", "unused")]
    elif blamed is not None:
        lines.append("The other steps")
    lines += _others(others, look)
    while lines[-1] == "":
        lines.pop()
    return lines


def _settling(chain: Chain, look: Look) -> list[str]:
    """What a person can do so that there is a verdict."""
    ways: dict[str, list[str]] = {}
    unseen = [step for step in chain.steps if step.state == "unseen"]
    said = [missing.provide for step in unseen for missing in step.missing if missing.provide]
    for step in unseen:
        for missing in step.missing:
            way = words.simplest(missing.provide, said)
            if way and step.step not in ways.setdefault(way, []):
                ways[way].append(step.step)
    lines = [
        line
        for way, steps in ways.items()
        for line in wrap(f"{way}: would show {listed(steps)}", look.width, "  ", "    ")
    ]
    return ["What would settle it", *lines, ""] if lines else []


def _blamed(step: Step, look: Look) -> list[str]:
    """The step that is broken or weak: what was seen, why, and what to do."""
    lines = wrap(step.question, look.width, f"{step.step} is {step.state}: ", "  ")
    lines[0] = lines[0].replace(
        f"{step.step} is {step.state}", look.paint(f"{step.step} is {step.state}", step.state), 1
    )
    found = [finding for finding in step.findings if finding.result == "found"]
    own = sorted((finding for finding in found if finding.explained_by is None), key=_gravity)
    if not own and step.saw:
        lines += wrap("; ".join(step.saw), look.width, "  seen  ")
    for finding in own:
        lines += ["", *_finding(finding, look)]
    follows = [finding for finding in found if finding.explained_by is not None]
    for finding in follows:
        lines += ["", *wrap(f"{finding.title} (rule {finding.rule})", look.width, "  Follows from it: ", "  ")]
    return lines


def _gravity(finding: Finding) -> bool:
    return finding.gravity != "break"


def _finding(finding: Finding, look: Look) -> list[str]:
    lines = look.paint_all(wrap(finding.title, look.width, "  "), "bold")
    lines += wrap(finding.seen, look.width, "  seen  ")
    lines += wrap(finding.why, look.width, "  why   ")
    lines += look.paint_all(wrap(finding.rule, look.width, "  rule  "), "quiet")
    for number, remedy in enumerate(finding.remedies, 1):
        lines += ["", *_remedy(number, remedy, look)]
    if finding.looks_like:
        lines += ["", *wrap(finding.looks_like, look.width, "  When it only looks like this: ", "  ")]
    return lines


def _remedy(number: int, remedy: Remedy, look: Look) -> list[str]:
    """One remedy; what is to be copied stands on lines of its own, never wrapped, in the order of its use."""
    start = f"  {number}. "
    lines = wrap(remedy.do, look.width, start)
    indent = " " * len(start)
    if remedy.configuration and remedy.file:
        lines += wrap(f"save this as {remedy.file}, in the folder you are in:", look.width, indent, indent + "  ")
        lines += [*verbatim(remedy.configuration, len(start) + 2), indent + "and then run:"]
    if remedy.command:
        lines += verbatim(remedy.command, len(start) + 2)
    if remedy.configuration and not remedy.file:
        lines += [indent + "configuration:", *verbatim(remedy.configuration, len(start) + 2)]
    risk = words.RISKS[remedy.risk]
    if remedy.interrupts:
        risk += f": {remedy.interrupts}" if remedy.risk == "interrupts" else f"; interrupts {remedy.interrupts}"
    about = (
        ("gives up: ", remedy.gives_up),
        ("risk: ", risk),
        ("beware: ", remedy.caution),
        ("worked if: ", remedy.check),
    )
    for label, said in about:
        if said:
            lines += wrap(said, look.width, indent + label, indent + "  ")
    return lines


def _others(steps: Sequence[Step], look: Look) -> list[str]:
    """The remaining steps, one or two lines each; those behind a break share theirs, as do those not used.

    So do those that only another machine can show: they are unseen for one reason, and nothing is missing.
    """
    lines: list[str] = []
    elsewhere = [step for step in steps if step.state == "unseen" and not step.missing and not step.saw]
    for because in dict.fromkeys(step.because for step in elsewhere):
        alike = [step for step in elsewhere if step.because == because]
        if len(alike) > 1:
            lines += _other("elsewhere", "unseen", f"{listed([step.step for step in alike])}: {because}", look)
            steps = [step for step in steps if step not in alike]
    for step in steps:
        if step.state not in ("unreached", "unused"):
            lines += _other(step.step, step.state, _said(step, look), look)
    for name, state in (("behind it", "unreached"), ("not used", "unused")):
        alike = [step for step in steps if step.state == state]
        if len(alike) == 1:
            lines += _other(alike[0].step, state, alike[0].because, look)
        elif alike:
            lines += _other(name, state, f"{listed([step.step for step in alike])}: {alike[0].because}", look)
    return lines


def _other(name: str, state: str, said: str, look: Look) -> list[str]:
    start = f"  {name:<10}  {state:<9}  "
    if look.width >= TABLE:
        lines = wrap(said or "nothing more to say", look.width, start)
    else:
        lines = [start.rstrip(), *wrap(said, look.width, " " * 4)]
    lines[0] = lines[0].replace(f"  {state}", "  " + look.paint(state, state), 1)
    return lines


def _said(step: Step, look: Look) -> str:
    """What there is to say of a step that is not the one blamed."""
    found = [finding for finding in step.findings if finding.result == "found"]
    if step.state in ("weak", "broken") and found:
        return "; ".join(
            f"{finding.title} (radiocheck rules {finding.rule})" for finding in sorted(found, key=_gravity)
        )
    facts = _fitting(step.saw, look)
    if step.state == "unseen":
        ways = [missing.provide for missing in step.missing if missing.provide]
        how = list(dict.fromkeys(words.simplest(way, ways) for way in ways))
        return "; ".join(part for part in (facts, step.because, f"to see it: {listed(how)}" if how else "") if part)
    return facts if step.state == "sound" and facts else step.because or facts


def _fitting(facts: Sequence[str], look: Look) -> str:
    """As many facts, weightiest first, as two lines hold; always one."""
    taken = list(facts[:1])
    for fact in facts[1:]:
        if len(wrap("; ".join([*taken, fact]), look.width, " " * 25)) > LINES:
            break
        taken.append(fact)
    return "; ".join(taken)


def _notes(report: Report, look: Look) -> list[str]:
    """What concerns the whole machine."""
    return [line for note in report.notes for line in wrap(note, look.width, "Note: ", "  ")]


def _seen_on(report: Report, look: Look) -> list[str]:
    """Where the evidence is from and what would show more."""
    if report.paste is not None:
        return look.paint_all(pasted.counted(report.paste, look), "quiet")
    lines = look.paint_all(wrap(words.taken(report), look.width, "Seen on ", "  "), "quiet")
    more = words.provided(report.missing)
    if more:
        lines.append("Not everything could be seen:")
        for line in more:
            lines += wrap(line, look.width, "  ", "    ")
    return lines
