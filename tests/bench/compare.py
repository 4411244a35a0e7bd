"""Compare what radiocheck said of a scenario with what its set-up did."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

Scenario = dict[str, Any]


@dataclass
class Outcome:
    """One line of the table, and all complaints behind it."""

    name: str
    expected: str
    said: str = ""
    complaints: list[str] = field(default_factory=list)
    seconds: float = 0.0
    probe_seconds: float = 0.0
    happened: bool = False
    right_step: bool = False
    right_rule: bool = False
    false_rules: list[str] = field(default_factory=list)
    unseen: bool = False
    remedy: str = ""
    person: str = ""
    evidence: str = ""
    left: bool = False  # the time was over before it began
    tries: int = 1  # 2: it failed once, and was played again on another machine

    @property
    def passed(self) -> bool:
        """Nothing is wrong with it."""
        return not self.complaints


def outcome(scenario: Scenario, result: dict[str, Any]) -> Outcome:
    """Judge one played scenario.  A fault that did not occur is a failure, not a pass."""
    out = Outcome(scenario["name"], _expected(scenario), seconds=result.get("seconds", 0.0))
    if "failed" in result:
        out.complaints.append(f"the bench itself failed: {result['failed'].strip().splitlines()[-1]}")
        return out
    if result["setup"]["code"]:
        out.complaints.append(f"set-up failed: {_last(result['setup']['out'])}")
        return out
    for look in result["look"]:
        if look["code"]:
            out.complaints.append(f"it did not happen: {look['lines'][0]!r} {_last(look['out'])}")
    if result.get("guest", {}).get("code"):
        out.complaints.append(f"radiocheck failed in the guest: {_last(result['guest']['out'])}")
    out.happened = not out.complaints
    _root(scenario, result["root"], out)
    _person(scenario, result["person"], out)
    if "whole" in result:
        _whole(result, out)
    if "remedy" in scenario:
        _remedy(scenario, result, out)
    if result["cleanup"]["code"]:
        out.complaints.append(f"clean-up failed: {_last(result['cleanup']['out'])}")
    return out


def _expected(scenario: Scenario) -> str:
    expect = scenario["expect"]
    return " ".join(str(expect[key]) for key in ("state", "step", "rule") if key in expect)


def found_rules(report: dict[str, Any]) -> list[tuple[str, str]]:
    """All (step, rule) that are found and not explained by another, in the order of the report."""
    return [
        (step["step"], finding["rule"])
        for chain in report["chains"]
        for step in chain["steps"]
        for finding in step["findings"]
        if finding["result"] == "found" and not finding["explained_by"]
    ]


def all_found(report: dict[str, Any]) -> set[str]:
    """All rules that are found, those that follow from another as well."""
    steps = [step for chain in report["chains"] for step in chain["steps"]]
    return {one["rule"] for step in steps for one in step["findings"] if one["result"] == "found"}


def said(report: dict[str, Any]) -> str:
    """The verdict in short, with every rule that counts."""
    verdict = report["verdict"]
    rules = ", ".join(dict.fromkeys(rule for _, rule in found_rules(report)))
    return " ".join(filter(None, (verdict["state"], verdict["step"], rules)))


def _root(scenario: Scenario, answer: dict[str, Any], out: Outcome) -> None:
    report = answer.get("report")
    if report is None:
        out.complaints.append(f"radiocheck failed: {answer.get('error', '').strip()[-300:]}")
        return
    out.said, out.probe_seconds = said(report), answer["seconds"]
    expect, verdict = scenario["expect"], report["verdict"]
    rules = [rule for _, rule in found_rules(report)]
    out.right_step = (verdict["state"], verdict["step"]) == (expect["state"], expect.get("step"))
    out.right_rule = "rule" not in expect or (expect.get("step"), expect["rule"]) in found_rules(report)
    out.unseen = verdict["state"] == "unseen" != expect["state"]
    beside = expect.get("with", [])
    # What else is found must be a true consequence that the scenario names.
    out.false_rules = sorted(set(rules) - {expect.get("rule"), *beside, *scenario.get("also", [])})
    if not out.right_step:
        out.complaints.append(f"said {out.said!r}")
    if not out.right_rule:
        out.complaints.append(f"rule {expect['rule']} is not found at {expect.get('step')}")
    out.complaints += [f"rule {rule} is not found beside it" for rule in beside if rule not in all_found(report)]
    if out.false_rules:
        out.complaints.append(f"also found: {', '.join(out.false_rules)}")
    states = {verdict["state"], *(chain["state"] for chain in report["chains"])}
    for state in scenario.get("not", []):
        if state in states:
            out.complaints.append(f"a chain is {state}")
    if "adapter" in expect and report["chains"]:
        first = report["chains"][0]["adapter"]
        if expect["adapter"] not in (first["serial"], first["label"], first["port"]):
            out.complaints.append(f"it speaks of {first['label']} ({first['serial']})")


def _person(scenario: Scenario, answer: dict[str, Any], out: Outcome) -> None:
    """Without root less is seen; but what is said must not be the opposite."""
    report = answer.get("report")
    if report is None:
        out.person = "failed"
        out.complaints.append(f"without root: radiocheck failed: {answer.get('error', '').strip()[-300:]}")
        return
    expect, verdict = scenario["expect"], report["verdict"]
    rules = {rule for _, rule in found_rules(report)}
    wrong = rules - {expect.get("rule"), *expect.get("with", []), *scenario.get("also", [])}
    if (verdict["state"], verdict["step"]) == (expect["state"], expect.get("step")) and not wrong:
        out.person = "same"
    elif verdict["state"] == "unseen" and not wrong:
        out.person = "unseen"
    elif not wrong and rules and expect["state"] != "sound":
        # Another true consequence was the first that could be seen.
        out.person = "part"
    else:
        out.person = "wrong"
        out.complaints.append(f"without root: said {said(report)!r}")


def _whole(result: dict[str, Any], out: Outcome) -> None:
    """`radiocheck check` from end to end in the machine must say what the host's judgement said."""
    inside, outside = result["whole"].get("report"), result["root"].get("report")
    if inside is None:
        out.complaints.append(f"`radiocheck check` failed: {result['whole']['error'][-300:]}")
    elif outside is not None and said(inside) != said(outside):
        out.complaints.append(f"`radiocheck check` in the machine said {said(inside)!r}")


def _remedy(scenario: Scenario, result: dict[str, Any], out: Outcome) -> None:
    remedy, wanted = result["remedy"], scenario["remedy"].get("after", "sound")
    if not remedy["lines"]:
        out.remedy = "none printed"
        out.complaints.append(f"no remedy for {scenario['remedy']['rule']} that could be applied")
        return
    report = result["remedied"].get("report")
    state = report["verdict"]["state"] if report else "failed"
    if remedy["shell"]["code"]:
        out.remedy = "command failed"
        out.complaints.append(f"the remedy failed: {_last(remedy['shell']['out'])}")
    elif state == wanted:
        out.remedy = "proven"
    else:
        out.remedy = f"then {state}"
        out.complaints.append(f"after the remedy it says {said(report) if report else state!r}")


def _last(text: str) -> str:
    lines = [line for line in text.strip().splitlines() if line.strip()]
    return " / ".join(lines[-3:])[-400:]
