"""Rules and steps as files: loading, and refusing what is not understood."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast, get_args

import radiocheck
from radiocheck.yaml_file import FileError, Spot, read

from . import packed
from .condition import Condition
from .fields import Fields, nearest
from .rule import Cure, Example, Rule, RuleSet, Sight, StepRule, names_for
from .verdict import Gravity, Risk, Route, StepName
from .view import ELEMENTS

RuleError = FileError
SAVE = re.compile(r"[a-z0-9][a-z0-9.-]{0,60}")  # in the person's own folder, with nothing that a shell would read


def shipped() -> Path:
    """The folder of shipped rules: inside an installed package, else beside it."""
    package = Path(radiocheck.__file__).parent
    inside = package / "rules"
    return inside if inside.is_dir() else package.parent / "rules"


def load(folders: Sequence[Path]) -> RuleSet:
    """The shipped steps, and the rules of all folders.  Raises `RuleError`."""
    complaints: list[str] = []
    rules: dict[str, Rule] = {}
    pack = shipped() / packed.NAME
    ready = packed.read(pack) if pack.exists() else None
    steps = ready.steps if ready else load_steps(shipped() / "steps.yaml")
    for folder in folders:
        found, wrong = (ready.rules, []) if ready and folder == shipped() else read_folder(folder)
        complaints += wrong
        for name, rule in found.items():
            if name in rules:
                complaints.append(
                    rule.complain(f"a rule `{name}` is already in {rules[name].file}; choose another name")
                )
            rules.setdefault(name, rule)
        if folder != shipped():  # the shipped ones are held by tests; a person's own are checked in full
            from .rule_check import check_rule

            complaints += [complaint for rule in found.values() for complaint in check_rule(rule)]
    for rule in rules.values():
        for other in rule.explains:
            if other not in rules:
                complaints.append(rule.complain(f"`explains` names `{other}`, which is no rule{nearest(other, rules)}"))
    if complaints:
        raise RuleError("\n".join(complaints))
    return RuleSet(steps, rules)


def read_folder(folder: Path) -> tuple[dict[str, Rule], list[str]]:
    """Rules by name and complaints.  A rule's file lies in a folder named for its step."""
    if not folder.is_dir():
        return {}, [f"{folder}: is no folder; name a folder with one sub-folder per step"]
    rules: dict[str, Rule] = {}
    complaints: list[str] = []
    for file in sorted(folder.glob("**/*.y*ml")):
        if file.name == "steps.yaml" and file.parent == folder:
            continue
        try:
            rule = read_rule(file)
        except FileError as error:
            complaints += str(error).splitlines()
            continue
        if rule.name in rules:
            complaints.append(rule.complain(f"a rule `{rule.name}` is already in {rules[rule.name].file}"))
        rules[rule.name] = rule
    if not rules and not complaints:
        complaints.append(f"{folder}: holds no rule; a rule is STEP/NAME.yaml")
    return rules, complaints


def read_rule(file: Path) -> Rule:
    """One rule file.  Raises `RuleError` with every complaint about it."""
    spot = read(file)
    fields = Fields(
        spot,
        "a rule",
        (
            "rule",
            "step",
            "gravity",
            "title",
            "seen",
            "why",
            "each",
            "when",
            "explains",
            "looks_like",
            "remedies",
            "sources",
            "examples",
        ),
    )
    name = fields.text("rule")
    step = fields.choice("step", get_args(StepName))
    if name and name != file.stem:
        fields.complaints.append(
            fields.found["rule"].complain(f"the rule is named `{name}`, its file `{file.stem}`; make them equal")
        )
    if step and step != file.parent.name:
        fields.complaints.append(
            fields.found["step"].complain(f"the rule is of step `{step}` but lies in `{file.parent.name}/`; move it")
        )
    each = fields.choice("each", tuple(ELEMENTS), needed=False) or None
    names = names_for(each if each in ELEMENTS else None)
    when = fields.condition("when", names)
    cures, wrong = _each(fields.items("remedies"), lambda item: _cure(item, names))
    examples, wrong_examples = _each(fields.items("examples"), _example)
    rule = Rule(
        name=name,
        step=cast(StepName, step),
        gravity=cast(Gravity, fields.choice("gravity", get_args(Gravity))),
        title=fields.text("title"),
        seen=fields.text("seen"),
        why=fields.text("why"),
        when=when or Condition("false", names),
        each=each,
        explains=fields.texts("explains", needed=False),
        looks_like=fields.text("looks_like", needed=False),
        remedies=tuple(cures),
        sources=fields.texts("sources"),
        examples=tuple(examples),
        file=file,
        spot=spot,
    )
    complaints = fields.complaints + wrong + wrong_examples
    for expected in ("found", "clear"):
        if not wrong_examples and examples and expected not in [example.expect for example in examples]:
            complaints.append(fields.found["examples"].complain(f"no example expects `{expected}`; write at least one"))
    if complaints:
        raise RuleError("\n".join(complaints))
    return rule


def _cure(spot: Spot, names: tuple[str, ...]) -> tuple[Cure, list[str]]:
    allowed = ("do", "risk", "snippet", "save", "command", "interrupts", "caution", "check", "when")
    fields = Fields(spot, "a remedy", allowed)
    cure = Cure(
        do=fields.text("do"),
        risk=cast(Risk, fields.choice("risk", get_args(Risk))),
        command=fields.text("command", needed=False) or None,
        snippet=fields.text("snippet", needed=False) or None,
        save=fields.text("save", needed=False) or None,
        interrupts=fields.text("interrupts", needed=False) or None,
        caution=fields.text("caution", needed=False) or None,
        check=fields.text("check", needed=False) or None,
        when=fields.condition("when", names, needed=False),
    )
    if cure.snippet is not None:
        from .snippets import SNIPPETS

        if cure.snippet not in SNIPPETS:
            what = f"`{cure.snippet}` is no snippet{nearest(cure.snippet, SNIPPETS)}"
            fields.complaints.append(fields.found["snippet"].complain(what))
    if cure.save is not None:
        fields.complaints += _save(cure, cure.save, fields.found["save"])
    if cure.risk == "interrupts" and not cure.interrupts:
        fields.complaints.append(
            spot.complain("the risk is `interrupts`; say in `interrupts` who loses what, and for how long")
        )
    return cure, fields.complaints


def _save(cure: Cure, file: str, spot: Spot) -> list[str]:
    """A file to save something in makes sense only with that something, and with a command that reads it."""
    if not SAVE.fullmatch(file):
        return [spot.complain(f"`{file}` is no plain file name; write one such as `adapter.xml`")]
    if cure.snippet is None:
        return [spot.complain("`save` needs a `snippet` that is saved")]
    if file not in (cure.command or ""):
        return [spot.complain(f"the command does not name `{file}`; leave `save` out, or name the file there")]
    return []


def _example(spot: Spot) -> tuple[Example, list[str]]:
    fields = Fields(spot, "an example", ("name", "given", "expect"))
    given = fields.found.get("given")
    if given is None or not isinstance(given.value, dict):
        fields.complaints.append(
            spot.complain("`given` is missing; write the facts as a mapping, e.g. `bus: {authorized: false}`")
        )
    example = Example(
        name=fields.text("name"),
        given=given.plain() if given is not None and isinstance(given.value, dict) else {},
        expect=fields.choice("expect", ("found", "clear", "unknown")),
        spot=spot,
    )
    return example, fields.complaints


def load_steps(file: Path) -> tuple[StepRule, ...]:
    """The steps in the order of the chain.  Raises `RuleError`."""
    spot = read(file)
    if not isinstance(spot.value, list):
        raise RuleError(spot.complain("the steps must be a list"))
    steps, complaints = _each(spot.value, _step)
    if not complaints and tuple(step.name for step in steps) != get_args(StepName):
        complaints.append(spot.complain(f"the steps must be {', '.join(get_args(StepName))}, in this order"))
    if complaints:
        raise RuleError("\n".join(complaints))
    return tuple(steps)


def _step(spot: Spot) -> tuple[StepRule, list[str]]:
    fields = Fields(spot, "a step", ("step", "question", "routes", "sound", "unused", "unseen", "beyond", "saw"))
    routes = fields.texts("routes")
    for route in routes:
        if route not in get_args(Route):
            fields.complaints.append(
                fields.found["routes"].complain(f"`{route}` is no route; write of {', '.join(get_args(Route))}")
            )
    saw, wrong = _each(fields.items("saw", needed=False), _sight)
    beyond = fields.found.get("beyond")
    step = StepRule(
        name=cast(StepName, fields.choice("step", get_args(StepName))),
        question=fields.text("question"),
        routes=cast("tuple[Route, ...]", routes),
        sound=fields.condition("sound", names_for(None), needed=False),
        unused=fields.text("unused", needed=len(routes) < len(get_args(Route))),
        unseen=fields.text("unseen"),
        beyond=beyond is not None and beyond.value is True,
        saw=tuple(saw),
    )
    return step, fields.complaints + wrong


def _sight(spot: Spot) -> tuple[Sight, list[str]]:
    fields = Fields(spot, "a sight", ("say", "when"))
    return Sight(fields.text("say"), fields.condition("when", names_for(None), needed=False)), fields.complaints


def _each(items: Sequence[Spot], make: Callable[[Spot], tuple[Any, list[str]]]) -> tuple[list[Any], list[str]]:
    made, complaints = [], []
    for item in items:
        value, wrong = make(item)
        made.append(value)
        complaints += wrong
    return made, complaints
