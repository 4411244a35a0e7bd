"""The report for pasting."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load as load_rules
from radiocheck.chain.rules import shipped
from radiocheck.chain.verdict import Report
from radiocheck.evidence import posted
from radiocheck.evidence.posted import Posted
from radiocheck.evidence.redact import redact
from radiocheck.evidence.store import load
from radiocheck.report.paste import AIM, KINDS, STATES, WIDTH, paste
from radiocheck.report.text import text
from tests.chain import machines as m
from tests.evidence.household import FIXTURES, HOST, household, leaks, planted, signature

RULES = load_rules([shipped()])
REPORT = judge(m.native(), RULES)
FENCED = re.compile(r"^(`{3,})text\n(.*?)\n\1$", re.DOTALL | re.MULTILINE)


def pasted(file: Path) -> tuple[Report, str]:
    """The judgement of a fixture without its names, and the paste."""
    redacted = redact(load(file.read_bytes(), file.name))
    used = Posted(evidence=posted.rounded(redacted.records[0]))
    report = judge(used.evidence, RULES)
    return report, paste(report, posted.write(used), redacted.counts, posted.sizes(used.evidence))


@pytest.mark.parametrize("file", FIXTURES, ids=lambda file: file.parent.name)
def test_every_fixture(file: Path) -> None:
    """The paste is ASCII, has the whole text report, no names, and gives the verdict of the capture offline."""
    report, whole = pasted(file)
    assert whole.isascii()
    assert text(report, WIDTH, ascii=True).rstrip() == FENCED.search(whole)[2]
    for name in ("mira", "hearth", "attic", "A1B2C3"):
        assert name not in whole
    again = judge(posted.read(whole, "x").evidence, RULES)
    assert again == report
    assert signature(again) == signature(judge(load(file.read_bytes(), file.name), RULES))
    assert len(whole) < AIM or f"where {AIM // 1000} kB are usual" in whole


def test_size() -> None:
    """The demo and all other machines of the bench but the crowded ones need less than 8 kB."""
    sizes = {file.parent.name: len(pasted(file)[1]) for file in FIXTURES}
    assert sizes["demo"] < AIM
    assert sorted(sizes.values())[len(sizes) * 3 // 4] < AIM


def test_large() -> None:
    """One that is larger says how large, and what makes it so."""
    file = next(file for file in FIXTURES if file.parent.name == "hub-short-of-power")
    said = " ".join(pasted(file)[1].split("```")[-1].split())
    assert re.search(
        r"This report has 1\d\.\d kB, where 8 kB are usual: \d\.\d kB are text, \d\.\d kB evidence, of that mostly "
        r"the kernel log \(\d\d %\) and USB devices \(\d\d %\)\.",
        said,
    )


def test_order() -> None:
    """Verdict, report, what was removed and kept, the block, and what to do with it."""
    whole = paste(REPORT, "--- block ---", {"serial": 2, "user": 1, "vm": 0})
    assert whole.startswith("**radiocheck: sound, as far as this evidence shows**\n")
    places = [
        whole.index(part) for part in ("Seen on", "Removed: 2 serial numbers and 1 account", "--- block", "judge FILE")
    ]
    assert places == sorted(places)
    assert "Kept: makers and products" in " ".join(whole.split())
    assert [match[2] for match in FENCED.finditer(whole)][1] == "--- block ---"


@pytest.mark.parametrize("state", STATES)
def test_verdict_in_words_of_our_own(state: str) -> None:
    """The first sentence names state and step, and no word of a device, whose Markdown it would be."""
    bad = replace(REPORT.verdict, state=state, step="bus", sentence="[x](http://x) <script> @everyone")
    first = paste(replace(REPORT, verdict=bad), "block", {}).split("```")[0]
    assert STATES[state] in first
    assert "`bus`: Is it enumerated" in " ".join(first.split())
    assert "@" not in first
    assert "<" not in first


def test_nothing_removed() -> None:
    """No private word found, and `--reveal`, are two different things."""
    assert "Removed: nothing, since no private names" in paste(REPORT, "b", {}).replace("\n", " ")
    revealed = " ".join(paste(REPORT, "b", None).split())
    assert "Nothing was removed (`--reveal`)" in revealed
    assert "Read it through before you post it" in revealed


def test_every_kind_has_words() -> None:
    """Whatever the redaction counts can be said."""
    whole = " ".join(paste(REPORT, "b", dict.fromkeys(KINDS, 2)).split())
    assert "2 serial numbers, 2 account names, 2 group names, 2 VM names, 2 host names, 2 Wi-Fi names" in whole
    assert "`serial-1`" in whole
    assert "`user-01`" in paste(REPORT, "b", {"user": 12})


def test_without_block() -> None:
    """Evidence that is too large says what to send instead."""
    said = " ".join(paste(REPORT, None, {}).split())
    assert "too large for a block" in said
    assert "it is not redacted" in said


def test_own_rules() -> None:
    """Whoever judges it again without them may come to another verdict."""
    assert "rules of its own" in paste(REPORT, "b", {}, own_rules=True)


@pytest.mark.parametrize("hostile", ["```", "````text", "~~~\n```\n# x", "</code></pre>", "\r\n```\r\n"])
def test_nothing_ends_a_fence(hostile: str) -> None:
    """A product that holds the end of a fence stays inside it."""
    evidence = m.native(usb=[m.root_hub(), m.stick(product=f"Mesh {hostile} stick")])
    whole = paste(judge(evidence, RULES), "block", {})
    outside = FENCED.sub("", whole)
    assert "Mesh" not in outside
    assert len(FENCED.findall(whole)) == 2


def test_lines() -> None:
    """No line of prose or block is longer than mail allows; commands may be."""
    _, whole = pasted(next(file for file in FIXTURES if file.parent.name == "demo"))
    told, block = (match[2] for match in FENCED.finditer(whole))
    assert all(len(line) <= WIDTH for line in (FENCED.sub("", whole) + block).splitlines())
    assert all(len(line) <= WIDTH for line in told.splitlines() if "virsh" not in line and "<hostdev" not in line)


@given(st.sampled_from(FIXTURES), st.lists(planted(), min_size=1, max_size=12))
@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_secret(file: Path, words: list[str]) -> None:
    """Secrets in log lines and names are neither in the text nor in the block."""
    evidence = load(file.read_bytes(), file.name)
    log = evidence.kernel_log
    events = [replace(one, text=f"{one.text} {words[at % len(words)]}") for at, one in enumerate(log.events)]
    usb = [replace(one, product=f"{one.product} {words[0]}") for one in evidence.usb]
    evidence = replace(evidence, kernel_log=replace(log, events=events), usb=usb)
    redacted = redact(evidence, household(), hosts=(HOST,))
    used = Posted(evidence=posted.rounded(redacted.records[0]))
    whole = paste(judge(used.evidence, RULES), posted.write(used), redacted.counts)
    assert leaks(FENCED.search(whole)[2] + FENCED.sub("", whole)) == []
    assert leaks(str(posted.read(whole, "x"))) == []
