"""A household whose names, numbers and addresses may not be posted, and what would give it away."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from msgspec.structs import replace

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load as load_rules
from radiocheck.chain.rules import shipped
from radiocheck.chain.verdict import Report
from radiocheck.evidence.record import Evidence, Host, Taken
from radiocheck.evidence.serial import Node, Tty
from radiocheck.evidence.store import save
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import Domain
from radiocheck.report.machine import encoded
from radiocheck.report.text import text as as_text

FIXTURES = sorted((Path(__file__).parents[2] / "fixtures").glob("*/evidence.json"))
RULES = load_rules([shipped()])
BASE = Evidence(radiocheck_evidence=1, taken=Taken(at=1.5, tool="0"))

# What a household may not want to post.  Fields that are made for them hold the first five.
NAMES = {
    "serial": "K7Q2-93XZ1 b",
    "user": "ottilie",
    "vm": "garten.haus",
    "uuid": "3F2504E0-4f89-41d3-9a0c-0305e82c3301",
    "group": "strickkreis",
}
HOST = "felsenkeller.heim.example"
FORMS = (
    "00:12:4B:0a:9C:3d",
    "00-12-4b-0A-9c-3E",
    "00:12:4b:00:1c:0a:9c:3f",
    "enx00124b0a9c40",
    "192.168.178.23",
    "fe80::212:4bff:fe0a:9c3d",
    "2001:db8:0:1::42",
    "o.tannert+forum@post.example",
    "/home/ottilie/geheimfach/plan.cfg",
    "/root/geheimfach",
    "~/geheimfach",
    "c0ffee254729296a45a3885639ac7e1081f9d54c0ffee254729296a45a388563",
)
# What is looked for in every output, without regard to case.
TRACES = """
    k7q2 93xz1 ottilie garten haus 3f2504e0 305e82c33 strickkreis felsenkeller 00124b0a9c40 00:12:4b 00-12-4b 192.168
    fe80 2001:db8 tannert post.example geheimfach plan.cfg c0ffee
""".split()
LEADS = ["", " ", "=", "'", '"', "(", "[", "/", ":", ",", "usb 1-2: ", "id=", "-name guest=", "\\x2d", "\t", "<", "é "]
WORDS = st.sampled_from([*NAMES.values(), HOST, HOST.partition(".")[0], *FORMS])


@st.composite
def planted(draw: st.DrawFn) -> str:
    """A text with secrets in it, between signs and other words."""
    parts = []
    for _ in range(draw(st.integers(1, 3))):
        word = draw(WORDS)
        if draw(st.booleans()) and word in (*NAMES.values(), HOST):
            word = draw(
                st.sampled_from([word.upper(), word.title(), word.replace(" ", "_"), word.replace(" ", "\\x20")])
            )
        lead = draw(st.sampled_from(LEADS))
        parts.append(lead + word)
    return draw(st.sampled_from([" ", ", ", "; ", "\n"])).join(parts) + draw(
        st.sampled_from(["", " ", "'", ")", ", x", ": y"])
    )


def household() -> Evidence:
    """Evidence whose fields for private things hold the secrets."""
    node = Node(path="/dev/ttyUSB0", owner=NAMES["user"], group=NAMES["group"])
    return replace(
        BASE,
        host=Host(uuid=NAMES["uuid"]),
        usb=[UsbDevice(name="1-2", serial=NAMES["serial"])],
        ttys=[Tty(name="ttyUSB0", node=node)],
        domains=[Domain(name=NAMES["vm"])],
    )


def leaks(output: str) -> list[str]:
    """The secrets that can be found in an output; JSON's escapes are undone."""
    plain = output.casefold()
    return [trace for trace in TRACES if trace in plain or trace.replace(":", "\\u003a") in plain]


def signature(report: Report) -> Any:
    """Everything of a judgement that is no name."""
    return (
        report.verdict.state,
        report.verdict.step,
        [
            (
                chain.state,
                chain.step,
                chain.route,
                len(chain.vms),
                [
                    (step.step, step.state, [(one.rule, one.result, one.explained_by) for one in step.findings])
                    for step in chain.steps
                ],
                [(line.at_vm_restart, line.at_host_restart) for line in chain.forecast],
            )
            for chain in report.chains
        ],
    )


def outputs(evidence: Evidence) -> str:
    """What is shown of evidence in every format but the paste, which is made of these."""
    report = judge(evidence, RULES)
    return "\n".join([save(evidence).decode(), encoded(report), as_text(report, 400), as_text(report, 78, ascii=True)])
