"""Rule files that are not understood are refused with their place and with what to write instead."""

from __future__ import annotations

from pathlib import Path

import pytest

from radiocheck.chain import types
from radiocheck.chain.rule import StepRule
from radiocheck.chain.rule_check import check
from radiocheck.chain.rules import RuleError, load, read_rule, shipped
from radiocheck.chain.template import placeholders

GOOD = """\
rule: lamp-is-dim
step: power
gravity: strain
title: The lamp is dim
seen: "it draws {power.draws_ma} mA"
why: Because it is.
when: adapter.present && power.status == 'dim'
remedies:
  - do: Look at it
    risk: reads
sources: [common practice]
examples:
  - name: dim
    given: {adapter: {present: true}, power: {status: dim}}
    expect: found
  - name: bright
    given: {adapter: {present: true}, power: {status: active}}
    expect: clear
"""


def folder(tmp_path: Path, text: str | bytes, name: str = "lamp-is-dim", step: str = "power") -> Path:
    """A folder with that one rule."""
    file = tmp_path / step / f"{name}.yaml"
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return tmp_path


def test_a_good_rule(tmp_path: Path) -> None:
    """A rule that keeps the form has no complaint, and loads beside the shipped ones."""
    where = folder(tmp_path, GOOD)
    assert check(where) == []
    assert "lamp-is-dim" in load([shipped(), where]).rules


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ("gravity: strain", "gravity: heavy", "3:10", "write one of break, strain"),
        ("gravity: strain", "gravty: strain", "3:9", "did you mean `gravity`?"),
        ("rule: lamp-is-dim", "rule: lamp-dim", "1:7", "make them equal"),
        ("step: power", "step: bus", "2:7", "move it"),
        ("why: Because it is.", "why: ''", "6:6", "must be a text that is not empty"),
        ("title: The lamp is dim\n", "title: The lamp is dim\ntitle: Again\n", "5:1", "written twice"),
        ("sources: [common practice]\n", "", "1:1", "`sources` is missing"),
        ("power.status == 'dim'", "power.stats == 'dim'", "7:31", "undefined field 'stats'"),
        ("power.status == 'dim'", "power.status == 3", "7:39", "no matching overload"),
        ("power.status == 'dim'", "has(power.status)", "7:26", "not allowed"),
        ("{power.draws_ma}", "{power.draw}", "5:7", "is no fact of the view"),
        ("power: {status: dim}", "power: {status: dull}", "13:5", "gives clear, expected found"),
        ("{status: dim}", "{sttus: dim}", "14:12", "no partial view"),
        ("risk: reads", "risk: interrupts", "9:5", "say in `interrupts` who loses what"),
        ("risk: reads", "risk: mortal", "10:11", "write one of reads, reversible, interrupts, hands-on"),
        ("risk: reads", "snippet: libvirt-ubs\n    risk: reads", "10:14", "did you mean `libvirt-usb`?"),
        ("risk: reads", "snippet: qqq\n    risk: reads", "10:14", "is no snippet; write one of libvirt-usb,"),
        ("risk: reads", "save: a.xml\n    command: cat a.xml\n    risk: reads", "10:11", "`save` needs a `snippet`"),
        (
            "risk: reads",
            "snippet: qemu-usb\n    save: a.xml\n    command: cat b.xml\n    risk: reads",
            "11:11",
            "the command does not name `a.xml`",
        ),
        (
            "risk: reads",
            "snippet: qemu-usb\n    save: /etc/a.xml\n    command: cat /etc/a.xml\n    risk: reads",
            "11:11",
            "is no plain file name",
        ),
        ("given: {adapter: {present: true}, power: {status: active}}", "given: no", "17:12", "read by YAML as bool"),
    ],
)
def test_complaints_have_a_place(tmp_path: Path, old: str, new: str, place: str, says: str) -> None:
    """Each mistake is refused at its line and column, with advice."""
    assert old in GOOD
    where = folder(tmp_path, GOOD.replace(old, new, 1))
    complaints = check(where)
    assert any(f"lamp-is-dim.yaml:{place}: " in line and says in line for line in complaints), complaints


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "is empty"),
        (b"\xff\xfe", "not UTF-8"),
        (b"a: [", "is not YAML"),
        (b"- 1\n", "must be a mapping"),
        (b"&a [*a]", "is not YAML|nested more than|through an anchor"),
        (b"a: " + b"[" * 2000, "nested more than|is not YAML"),
        (b"x: " + b"y" * 300_000, "bytes; a file here has at most"),
        (b"a: !!python/object/apply:os.system ['true']", "a rule has no field"),
    ],
)
def test_hostile_files(tmp_path: Path, text: bytes, says: str) -> None:
    """Files that are no rules are refused with a sentence, whatever they hold."""
    where = folder(tmp_path, text)
    with pytest.raises(RuleError, match=says):
        read_rule(where / "power" / "lamp-is-dim.yaml")


def test_both_expectations_are_needed(tmp_path: Path) -> None:
    """A rule without an example that is clear is refused."""
    where = folder(tmp_path, GOOD[: GOOD.index("  - name: bright")])
    assert any("no example expects `clear`" in line for line in check(where))


def test_a_name_is_taken_once(tmp_path: Path) -> None:
    """A person's rule cannot replace a shipped one by its name."""
    where = folder(tmp_path, GOOD.replace("lamp-is-dim", "autosuspend-forced"), "autosuspend-forced")
    with pytest.raises(RuleError, match="choose another name"):
        load([shipped(), where])


def test_explains_must_name_a_rule(tmp_path: Path) -> None:
    """A rule that explains something unknown is refused."""
    where = folder(tmp_path, GOOD.replace("remedies:", "explains: [no-such-trouble]\nremedies:"))
    with pytest.raises(RuleError, match="which is no rule"):
        load([shipped(), where])


def test_an_empty_folder_is_said_to_be_empty(tmp_path: Path) -> None:
    """A folder without rules, and a path that is none, are complaints."""
    assert "holds no rule" in check(tmp_path)[0]
    assert "is no folder" in check(tmp_path / "nowhere")[0]


STEPS = load([shipped()]).steps


@pytest.mark.parametrize("step", STEPS, ids=[step.name for step in STEPS])
def test_steps_ask_for_facts_that_there_are(step: StepRule) -> None:
    """What proves a step sound, and what it shows, names facts of the view, inside of lists as well."""
    conditions = [step.sound, *(sight.when for sight in step.saw)]
    for condition in conditions:
        if condition is not None:
            types.check(condition.text)
    asked = [path for text in (step.unseen, *(sight.say for sight in step.saw)) for path in placeholders(text)]
    assert [path for path in asked if types.record_at(path) is None] == []
