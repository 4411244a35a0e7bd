"""Evidence as a file."""

from __future__ import annotations

import json
import time
from pathlib import Path

import jsonschema
import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from radiocheck.evidence.record import FORMAT, Evidence, Gap, Host, Taken
from radiocheck.evidence.serial import Node, Tty
from radiocheck.evidence.store import LIMIT, Unreadable, encode, load, save
from radiocheck.evidence.usb import UsbDevice, UsbInterface
from tests.strategies import records

HOSTILE = '\x1b[2J\x7f\x85\u202e\u200b\ue000\U0001f600ß\\"\n'
SEEN = Evidence(
    radiocheck_evidence=FORMAT,
    taken=Taken(at=1785711240.25, tool="0.1.0", root=True),
    host=Host(kernel="6.1.0", container=None),
    usb=[
        UsbDevice(
            name="1-2",
            vid="1209",
            pid="7a01",
            manufacturer="Lindenhof",
            product=HOSTILE,
            serial=None,
            speed=12.0,
            interfaces=[UsbInterface(name="1-2:1.0", class_=255, driver="cp210x", ttys=["ttyUSB0"])],
        )
    ],
    ttys=[Tty(name="ttyUSB0", node=Node(path="/dev/ttyUSB0", mode=0o660), udev={"ID_SERIAL": "x"})],
    gaps=[Gap(what="handles", why="denied", provide="run as root")],
)
SAVED = save(SEEN)
SCHEMA = jsonschema.Draft202012Validator(
    json.loads((Path(__file__).parents[2] / "schemas" / "evidence.schema.json").read_text())
)

anything = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


def refusal(data: bytes) -> str:
    """The sentence with which the bytes are refused, as one line that names the file."""
    with pytest.raises(Unreadable) as caught:
        load(data, "hearth.json")
    sentence = str(caught.value)
    assert sentence.startswith("hearth.json: ")
    assert len(sentence) < 500
    return sentence


def changed(**fields: object) -> bytes:
    """The saved evidence with other top-level fields."""
    return json.dumps({**json.loads(SAVED), **fields}).encode()


def test_reloads_equal() -> None:
    """Absent, null and present fields, and hostile text, come back as they were."""
    assert load(SAVED, "hearth.json") == SEEN


@anything
@given(records(Evidence))
def test_any_evidence_reloads_equal(evidence: Evidence) -> None:
    """Whatever the records can hold survives saving, and fits the published schema."""
    evidence = msgspec.structs.replace(evidence, radiocheck_evidence=FORMAT)
    data = save(evidence)
    assert load(data, "hearth.json") == evidence
    SCHEMA.validate(json.loads(data))


def test_is_plain_json() -> None:
    """Another JSON reader (Python's) sees the same; the file is ASCII without controls and ends with a newline."""
    assert json.loads(SAVED) == msgspec.to_builtins(SEEN)
    assert set(SAVED) <= {10, *range(0x20, 0x7F)}
    assert SAVED.endswith(b"}\n")


def test_is_stable() -> None:
    """The same evidence gives the same bytes, also after a round trip."""
    assert save(load(SAVED, "hearth.json")) == SAVED


def test_lone_surrogates_become_readable() -> None:
    """A name that was no UTF-8 when it was read does not make the file unreadable (RFC 8259 section 8.2)."""
    odd = Evidence(radiocheck_evidence=FORMAT, taken=Taken(at=0, tool="tty\udcff"))
    assert load(save(odd), "hearth.json").taken.tool.startswith("tty\ufffd")


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "is empty"),
        (b" \n\t", "is empty"),
        (b"\x1f\x8b\x08\x00", "compressed"),
        ("{}".encode("utf-16"), "UTF-16"),
        (b"\x7fELF\x02\x01\x01\x00\x00", "binary"),
        (b'{"a": "\xff"}', "byte 7 is not UTF-8"),
        (b"usb 1-2: new full-speed USB device", "not JSON"),
        (b"[1, 2]", "not JSON"),
        (b'{"a": 1,}', "line 1, byte 8"),
        (b'{\n"radiocheck_evidence": 1,\n"a" 3}', "line 3, byte 32"),
        (b'{"radiocheck_evidence": 1} x', "byte 27"),
        (b'{"radiocheck_evidence": NaN}', "NaN"),
        (b'{"radiocheck_evidence": -Infinity}', "Infinity"),
        (b'{"a": "\x1b"}', "not JSON"),
        (b"{}", "not a radiocheck capture"),
        (b'{"radiocheck_report": 1}', "is a report"),
        (b'{"radiocheck_evidence": "1"}', "whole number"),
        (b'{"radiocheck_evidence": true}', "whole number"),
        (b'{"radiocheck_evidence": 1.5}', "whole number"),
        (b'{"radiocheck_evidence": 2}', "newer radiocheck"),
        (b'{"radiocheck_evidence": 0}', "older radiocheck"),
        (b'{"radiocheck_evidence": 1}', "missing required field `taken`"),
        (b'{"radiocheck_evidence": 1e999}', "out of range"),
    ],
)
def test_refuses_with_the_reason(data: bytes, word: str) -> None:
    """What is no evidence is refused in a sentence that says what it is instead."""
    assert word in refusal(data)


def test_newer_format_is_told_before_its_new_fields() -> None:
    """A capture of a later format is said to be newer, not to have an unknown field."""
    assert "update radiocheck" in refusal(changed(radiocheck_evidence=FORMAT + 1, weather={"rain": True}))


def test_names_the_place_of_a_wrong_value() -> None:
    """A wrong type deep inside is named with its JSON path."""
    assert "$.usb[0].bus: expected `int`, got `str`" in refusal(changed(usb=[{"name": "1-2", "bus": "1"}]))


def test_unknown_field_may_be_of_a_newer_version() -> None:
    """An unknown field is named, and updating is offered."""
    sentence = refusal(changed(usb=[{"name": "1-2", "colour": "red"}]))
    assert "$.usb[0]" in sentence
    assert "`colour`" in sentence
    assert "update radiocheck" in sentence


def test_refuses_every_truncation() -> None:
    """A file that was cut off anywhere is refused as such; nothing is judged on half the facts."""
    for cut in range(1, len(SAVED) - 2):
        assert refusal(SAVED[:cut]).startswith(f"hearth.json: is cut off after {cut} bytes"), cut


@pytest.mark.parametrize(
    "data",
    [
        b"{" * 100_000,
        b'{"a":' + b"[" * 1_000_000,
        b'{"a":' * 1_000_000,
        b'{"radiocheck_evidence":' + b"[" * 1_000_000,
        b'{"radiocheck_evidence": 1, "taken":' + b'{"a":' * 1_000_000,
    ],
)
def test_refuses_deep_nesting(data: bytes) -> None:
    """A million brackets are a sentence, not a crash."""
    refusal(data)


def test_refuses_large_files_unread() -> None:
    """What is over the limit is refused without being parsed: in less time than parsing takes."""
    data = b'{"radiocheck_evidence": 1, "taken": [' + b"1," * (LIMIT // 2) + b"1]}"
    started = time.perf_counter()
    assert "larger than 32 MB" in refusal(data)
    assert time.perf_counter() - started < 0.05


@pytest.mark.parametrize(
    "fields",
    [
        {"taken": {"at": 1e12, "tool": ""}},
        {"taken": {"at": -1e300, "tool": ""}},
        {"taken": {"at": 10**40, "tool": ""}},
        {"usb": [{"name": "1-2", "devnum": 2**64}]},
        {"usb": [{"name": "1-2", "devnum": -(2**63)}]},
        {"handles": {"open": [], "unread": 10**300}},
    ],
)
def test_refuses_numbers_that_no_machine_shows(fields: dict[str, object]) -> None:
    """Numbers that dates or 64-bit conditions could not hold are refused with their place."""
    sentence = refusal(changed(**fields))
    assert "$." in sentence
    assert "too large" in sentence or "out of range" in sentence


def test_digits_in_text_are_no_numbers() -> None:
    """A serial number of many digits is text and stays."""
    evidence = Evidence(
        radiocheck_evidence=FORMAT,
        taken=Taken(at=0, tool=""),
        usb=[UsbDevice(name="1-2", serial=": 99999999999999999999e999, 1e400", connected_ms=98765432109876)],
    )
    assert load(save(evidence), "hearth.json") == evidence


def test_accepts_a_byte_order_mark() -> None:
    """An editor's byte order mark (RFC 8259 section 8.1 lets a reader ignore it) does no harm."""
    assert load(b"\xef\xbb\xbf" + SAVED, "hearth.json") == SEEN


def test_long_names_are_cut_in_complaints() -> None:
    """A field name of a megabyte does not fill the screen."""
    refusal(changed(**{"x" * 1_000_000: 1}))


@anything
@given(st.integers(0, len(SAVED) - 1), st.binary(max_size=6), st.integers(0, 6))
def test_damage_is_refused_or_harmless(at: int, other: bytes, length: int) -> None:
    """Any damaged capture either still is evidence or is refused in a sentence."""
    data = SAVED[:at] + other + SAVED[at + length :]
    try:
        load(data, "hearth.json")
    except Unreadable:
        refusal(data)


@anything
@given(st.binary(max_size=200))
def test_any_bytes_are_refused_in_a_sentence(data: bytes) -> None:
    """No bytes raise anything but `Unreadable`."""
    refusal(data)


def test_encode_takes_any_record() -> None:
    """The same writing serves reports: indented by one space, one newline at the end."""
    assert encode({"a": ["\u2028"]}) == b'{\n "a": [\n  "\\u2028"\n ]\n}\n'
