"""Evidence as a file: save it, load it, and refuse what is not evidence in one sentence.

The file is JSON (RFC 8259) in plain ASCII: what a device says of itself is written with
`\\uXXXX`, so that a capture shown on a terminal cannot steer it.
"""

from __future__ import annotations

import re
from typing import Any

import msgspec
from msgspec import UNSET, Struct

from .record import FORMAT, Evidence

LIMIT = 32 << 20  # bytes; a host with 127 devices and a full log makes well under a tenth of it
INTEGER_LIMIT = 1 << 62  # no count or number of a machine is larger; conditions compute with 64 bits
REAL_LIMIT = 6e10  # seconds; times are shown as dates, and dates end with the year 9999
SHOWN = 160  # characters of a file's own words that a complaint repeats

AGAIN = "make it again with `radiocheck capture FILE`"

_NOT_PLAIN = re.compile(r"[^\x20-\x7e\n]")
_LARGE_NUMBER = re.compile(rb"[:\[,]\s*-?(?:\d{11}|\d[\d.]*[eE])")
_PLACE = re.compile(r"^(.*?) - at `(.*)`$", re.DOTALL)
_BYTE = re.compile(r"^JSON is malformed: (.*) \(byte (\d+)\)$", re.DOTALL)


class Unreadable(ValueError):
    """These bytes are no evidence: one sentence with the file, the place and what to do.

    The sentence may repeat words of the file: whoever shows it escapes it.
    """


class _Head(Struct):
    """What tells a capture from other files; `object` because it may hold anything."""

    radiocheck_evidence: object = UNSET
    radiocheck_report: object = UNSET


_head = msgspec.json.Decoder(_Head)
_evidence = msgspec.json.Decoder(Evidence)


def encode(record: Any, indent: int | None = 1) -> bytes:
    """A record as indented ASCII JSON with a newline at the end; the same record gives the same bytes.

    Without `indent` it is one line.  Lone surrogates, which JSON readers refuse, become U+FFFD.
    """
    try:
        data = msgspec.json.encode(record)
    except UnicodeEncodeError:
        data = msgspec.json.encode(_without_surrogates(msgspec.to_builtins(record)))
    text = (data if indent is None else msgspec.json.format(data, indent=indent)).decode("utf-8")
    return _NOT_PLAIN.sub(_escape, text).encode("ascii") + b"\n"


def save(evidence: Evidence) -> bytes:
    """The evidence as the bytes of a file, which `load` gives back equal."""
    return encode(evidence)


def load(data: bytes, name: str) -> Evidence:
    """The evidence in a file's bytes; `name` is how complaints call the file.  Raises `Unreadable`."""
    if len(data) > LIMIT:
        raise Unreadable(too_large(name))
    data = data.removeprefix(b"\xef\xbb\xbf")  # a byte order mark, which some editors add
    _first_look(data, name)
    try:
        _check_head(_head.decode(data), name)
        evidence = _evidence.decode(data)
    except RecursionError:
        raise Unreadable(f"{name}: is nested too deeply; no capture is, so {AGAIN}") from None
    except msgspec.ValidationError as error:
        raise Unreadable(_misfit(str(error), name)) from None
    except msgspec.DecodeError as error:
        raise Unreadable(_malformed(str(error), data, name)) from None
    if _LARGE_NUMBER.search(data):
        _check_numbers(msgspec.to_builtins(evidence), "$", name)
    return evidence


def too_large(name: str) -> str:
    """The sentence for a file beyond `LIMIT`, also for one that was not read to its end."""
    return f"{name}: is larger than {LIMIT >> 20} MB, which no capture is; {AGAIN}"


def _first_look(data: bytes, name: str) -> None:
    """Refuse what is plainly something else, in words that help more than a parser's."""
    text = data.lstrip()
    if not text:
        raise Unreadable(f"{name}: is empty; {AGAIN}")
    if data[:2] == b"\x1f\x8b" or data[:6] == b"\xfd7zXZ\x00" or data[:4] in (b"PK\x03\x04", b"\x28\xb5\x2f\xfd"):
        raise Unreadable(f"{name}: is compressed; unpack it first")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise Unreadable(f"{name}: is UTF-16 text; save it as UTF-8")
    zero = data.find(b"\0")
    if zero >= 0:
        raise Unreadable(f"{name}: byte {zero} is zero, so it is binary and not a radiocheck capture; {AGAIN}")
    if text[:1] != b"{":
        raise Unreadable(f"{name}: is not JSON, so not a radiocheck capture; {AGAIN}")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Unreadable(f"{name}: byte {error.start} is not UTF-8; copy the file again, unchanged") from None


def _check_head(head: _Head, name: str) -> None:
    made = head.radiocheck_evidence
    if made is UNSET:
        if head.radiocheck_report is not UNSET:
            raise Unreadable(f"{name}: is a report; `radiocheck judge` reads what `radiocheck capture FILE` writes")
        raise Unreadable(f"{name}: is not a radiocheck capture (it has no `radiocheck_evidence`); {AGAIN}")
    if not isinstance(made, int) or isinstance(made, bool):
        raise Unreadable(f"{name}: at $.radiocheck_evidence: must be a whole number; {AGAIN}")
    if made > FORMAT:
        raise Unreadable(
            f"{name}: was made by a newer radiocheck (format {_short(str(made))}, this one reads {FORMAT}); "
            "update radiocheck"
        )
    if made < FORMAT:
        raise Unreadable(f"{name}: was made by an older radiocheck (format {_short(str(made))}, not {FORMAT}); {AGAIN}")


def _misfit(message: str, name: str) -> str:
    """msgspec's complaint about a value, with its place first."""
    match = _PLACE.match(message)
    what, place = match.groups() if match else (message, "$")
    what = what[:1].lower() + what[1:]
    if "unknown field" in what:  # fields may be added without a new FORMAT
        return f"{name}: at {_short(place)}: {_short(what)}; update radiocheck, or undo the change in the file"
    return f"{name}: at {_short(place)}: {_short(what)}; undo the change in the file, or {AGAIN}"


def _malformed(message: str, data: bytes, name: str) -> str:
    """msgspec's complaint about the JSON itself, with line and byte."""
    match = _BYTE.match(message)
    what, at = (match.group(1), int(match.group(2))) if match else (message, -1)
    if what == "trailing characters":
        at -= 1  # the parser has read that byte already
    if "truncated" in what or at >= len(data):
        return f"{name}: is cut off after {len(data)} bytes; copy the whole file, or {AGAIN}"
    if at < 0:
        return f"{name}: is not JSON: {_short(what)}; {AGAIN}"
    if data[at : at + 3] in (b"NaN", b"Inf", b"-In"):
        what = "NaN and Infinity are no numbers in JSON"
    line = data.count(b"\n", 0, at) + 1
    return f"{name}: line {line}, byte {at}: is not JSON: {_short(what)}; {AGAIN}"


def _check_numbers(value: Any, place: str, name: str) -> None:
    """Refuse numbers that no machine shows and later arithmetic could not hold."""
    if isinstance(value, dict):
        for key, item in value.items():
            _check_numbers(item, f"{place}.{key}", name)
    elif isinstance(value, list):
        for index, item in enumerate(value):
            _check_numbers(item, f"{place}[{index}]", name)
    elif (isinstance(value, int) and abs(value) > INTEGER_LIMIT) or (
        isinstance(value, float) and abs(value) > REAL_LIMIT
    ):
        raise Unreadable(f"{name}: at {_short(place)}: the number is too large for what it stands for; {AGAIN}")


def _without_surrogates(value: Any) -> Any:
    if isinstance(value, str):
        return value.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
    if isinstance(value, dict):
        return {_without_surrogates(key): _without_surrogates(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_without_surrogates(item) for item in value]
    return value


def _escape(match: re.Match[str]) -> str:
    """A character as JSON escapes (RFC 8259 section 7): one, or a surrogate pair."""
    units = match.group().encode("utf-16-be")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))


def _short(text: str) -> str:
    return text if len(text) <= SHOWN else text[:SHOWN] + "…"
