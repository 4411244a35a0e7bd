"""The block of text: what is done to texts on their way, and what no repair can mend."""

from __future__ import annotations

import html
import json
import quopri
import random
import re
import textwrap

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radiocheck.evidence import block
from radiocheck.evidence.store import Unreadable

DATA = random.Random(7).randbytes(1500)
BLOCK = block.write(DATA)
LINES = BLOCK.splitlines()
ROWS = len(LINES) - 2
SPARE = block._spares(block._data_rows(ROWS))
TWO = block.write(b"another")


def rewrapped(width: int) -> str:
    return "\n".join(textwrap.wrap(" ".join(LINES), width, break_on_hyphens=False))


def refused(text: str) -> str:
    """The sentence with which a text is refused."""
    with pytest.raises(Unreadable) as caught:
        block.read(text, "post.txt")
    said = str(caught.value)
    assert said.startswith("post.txt: ")
    assert "\n" not in said
    return said


def test_form() -> None:
    """Rows of letters that neither Markdown nor HTML knows, in less than 79 columns, numbered from 1."""
    assert LINES[0] == f"--- radiocheck evidence, format {block.VERSION}: {ROWS} rows ---"
    assert LINES[-1] == "--- end ---"
    for number, line in enumerate(LINES[1:-1], 1):
        assert re.fullmatch(rf"\.{number}\.[A-Za-z0-9+/]{{68}}\.[A-Za-z0-9+/]{{4}}", line)
        assert len(line) < 79


@pytest.mark.parametrize("size", [0, 1, 35, 36, 51, 1500, 10_200, 10_300, 60_000])
def test_every_size(size: int) -> None:
    """From nothing to several groups of the repairing code."""
    data = random.Random(size).randbytes(size)
    assert block.read(block.write(data), "x") == data


def test_too_much() -> None:
    """A block has at most 20,000 rows."""
    with pytest.raises(ValueError, match="too much"):
        block.write(bytes(block.ROW * block.MOST_ROWS))


TREATED = {
    "as it is": BLOCK,
    "quoted": textwrap.indent(BLOCK, "> "),
    "quoted three times": textwrap.indent(BLOCK, "> > > "),
    "quoted with bars": textwrap.indent(BLOCK, "| "),
    "indented": textwrap.indent(BLOCK, "        "),
    "tabs": textwrap.indent(BLOCK, "\t"),
    "trailing blanks": BLOCK.replace("\n", "   \n"),
    "blank lines between": BLOCK.replace("\n", "\n\n\n"),
    "Windows line ends": BLOCK.replace("\n", "\r\n"),
    "one line": BLOCK.replace("\n", " "),
    "no line ends at all": LINES[0] + " " + "".join(LINES[1:]),
    "quoted and wrapped": textwrap.indent(rewrapped(50), "> "),
    "typographic": BLOCK.replace("---", "—").replace(", ", ",\u00a0"),
    "zero-width": "\u200b".join(re.findall(r"(?s).{1,33}", BLOCK)),
    "bold": BLOCK.replace("\n.", "\n**.").replace("\n", "**\n"),
    "code": "".join(f"`{line}`\n" for line in LINES),
    "fenced": f"```text\n{BLOCK}```\n",
    "list": "".join(f"* {line}\n" for line in LINES),
    "HTML": "<html><body><pre class='x'>" + html.escape(BLOCK) + "</pre></body></html>",
    "HTML, broken lines": BLOCK.replace("\n", "<br>\n"),
    "HTML, broken lines without ends": BLOCK.replace("\n", "<br/>"),
    "HTML, paragraphs": "".join(f"<p style=\"margin: 0\">{line}</p>" for line in LINES),
    "HTML, a link made of a row": BLOCK.replace(
        LINES[3], f'<a href="http://{LINES[3]}" rel="x">{LINES[3][:40]}<wbr>{LINES[3][40:]}</a>'
    ),
    "HTML entities": BLOCK.replace("+", "&#43;").replace("/", "&#x2F;"),
    "HTML of a quotation": "".join(f"&gt;&nbsp;{line}<br>" for line in LINES),
    "JSON": json.dumps({"text": BLOCK}),
    "JSON with slashes escaped": json.dumps({"text": textwrap.indent(BLOCK, "> ")})
    .replace("/", "\\/")
    .replace(">", "\\u003e"),
    "Markdown escapes": BLOCK.replace(".", "\\.").replace("+", "\\+").replace("-", "\\-"),
    "quoted-printable": quopri.encodestring(rewrapped(400).encode()).decode(),
    "chat around it": f"hello, here it is: {BLOCK} can you help? It is on port 1.2.3.4.",
    "chat between": "\n".join(f"{line}\n12:31 mira: still there?" for line in LINES),
    "chat names": "".join(f"12:31 <mira> {line}\n" for line in LINES),
    "chat names, wrapped": "".join(
        f"12:31:07 <mira> {part}\n" for line in LINES for part in (line[:44], line[44:]) if part
    ),
    "line numbers": "".join(f"{number:4}  {line}\n" for number, line in enumerate(LINES, 1)),
    "line numbers, wrapped": "".join(
        f"{number:4}: {part}\n" for number, part in enumerate(textwrap.wrap(BLOCK, 57), 1)
    ),
    "other order": "\n".join([LINES[0], *reversed(LINES[1:])]),
    "twice": BLOCK + "\n> wrote mira:\n" + textwrap.indent(BLOCK, "> "),
    "first line lost": "\n".join(LINES[1:]),
    "last lines lost": "\n".join(LINES[:-3]),
    "first line and first row lost": "\n".join(LINES[2:]),
}  # fmt: skip


@pytest.mark.parametrize("text", TREATED.values(), ids=TREATED)
def test_survives(text: str) -> None:
    """What forums, mail, chats and editors do to a text leaves it readable."""
    assert block.holds_block(text)
    assert block.read(text, "x") == DATA


@pytest.mark.parametrize("width", [10, 20, 31, 40, 64, 72, 76, 77, 100, 1000])
def test_wrapped_anew(width: int) -> None:
    """Line ends may stand anywhere, within a row too."""
    assert block.holds_block(rewrapped(width))
    assert block.read(rewrapped(width), "x") == DATA


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_codings(coding: str) -> None:
    """A file as any editor saves it."""
    assert block.read(block.text_of(f"Grüße\n{BLOCK}".encode(coding)), "x") == DATA


def damaged(*numbers: int, how: str = "changed") -> str:
    lines = list(LINES)
    for number in numbers:
        line = lines[number]
        at = 20 + number % 30
        other = "A" if line[at] != "A" else "B"
        lines[number] = {
            "changed": line[:at] + other + line[at + 1 :],
            "lost": line[:at] + line[at + 1 :],
            "doubled": line[:at] + line[at] + line[at:],
            "case": line.swapcase(),
            "gone": "",
            "number": line.replace(f".{number}.", f".{number + 50}.", 1),
            "check": line[:-1] + ("A" if line[-1] != "A" else "B"),
        }[how]
    return "\n".join(lines)


@pytest.mark.parametrize("how", ["changed", "lost", "doubled", "case", "gone", "number", "check"])
@pytest.mark.parametrize("number", [1, 2, 17, ROWS - SPARE, ROWS])
def test_one_damaged_row_is_repaired(number: int, how: str) -> None:
    """Wherever it is: the first with the head, the last of the data, one for repair."""
    assert block.read(damaged(number, how=how), "x") == DATA


@given(st.sets(st.integers(1, ROWS), min_size=1, max_size=SPARE), st.sampled_from(["changed", "gone", "case"]))
@settings(max_examples=25, deadline=None)
def test_as_many_as_there_are_for_repair(numbers: set[int], how: str) -> None:
    """Any rows may be damaged, up to that many."""
    assert block.read(damaged(*numbers, how=how), "x") == DATA


def test_too_many_damaged_rows_are_named() -> None:
    """By the numbers that stand in the block."""
    said = refused(damaged(3, 5, 6, 7, 9, 20, 21))
    assert "3, 5 to 7, 9, 20 to 21 are missing or damaged" in said
    assert f"{SPARE} could be repaired" in said
    assert f"of the {ROWS} rows" in said
    assert f"{SPARE + 2} to {ROWS}" in refused("\n".join(LINES[: SPARE + 2]))


def test_damage_in_two_copies_is_repaired_from_both() -> None:
    """Of a block that is quoted below itself, each row is needed once."""
    assert block.read(damaged(1, 3, 5, 6, 7, 9) + "\n" + damaged(2, 4, 8, 20, 21, 22, how="gone"), "x") == DATA


def test_two_blocks() -> None:
    """Of two different blocks none is picked, also when one is damaged or lacks its first line."""
    assert "different blocks" in refused(BLOCK + "\n" + TWO)
    other = block.write(random.Random(8).randbytes(1500))
    assert "two different blocks" in refused(BLOCK + "\n" + other)
    assert "two different blocks" in refused(damaged(1) + "\n" + "\n".join(other.splitlines()[2:]))


def test_newer_and_unknown_versions() -> None:
    """The first line says which program is needed, and so does the head when that line is lost."""
    assert "format 2, and this radiocheck reads format 1" in refused(BLOCK.replace("format 1", "format 2"))
    assert "the version that made it" in refused(BLOCK.replace("format 1", "format 0"))


def test_newer_version_without_its_first_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """The version stands in the head as well."""
    monkeypatch.setattr(block, "VERSION", 2)
    newer = "\n".join(block.write(DATA).splitlines()[1:])
    monkeypatch.undo()
    assert "format 2" in refused(newer)


@pytest.mark.parametrize("rows", [0, 1, 3, 20_001, 999_999])
def test_a_count_that_cannot_be(rows: int) -> None:
    """A first line that was edited."""
    assert "rows cannot be" in refused(f"--- radiocheck evidence, format 1: {rows} rows ---\n" + "\n".join(LINES[1:]))


def test_another_count() -> None:
    """A first line that says fewer or more rows than the head does is not believed."""
    for other in (ROWS - 1, ROWS + 1, ROWS + 30):
        assert refused(BLOCK.replace(f" {ROWS} rows", f" {other} rows"))


def test_a_row_that_was_edited_with_its_check() -> None:
    """Data that are not those of the head's digest are refused; nothing is taken as it is."""
    row = b"x" * block.ROW
    lines = list(LINES)
    lines[5] = block._line(5, row)
    assert "check sum" in refused("\n".join(lines))


@pytest.mark.parametrize(
    "text", ["", "hello", "usb 1-2.3.4: device not accepting address 5", "[ 1.1.12345678 ]", "radiocheck"]
)
def test_no_block(text: str) -> None:
    """Other texts hold none."""
    assert not block.holds_block(text)
    assert "holds no block" in refused(text)


def test_only_the_first_line() -> None:
    """A block that was cut off at once says what is missing."""
    assert block.holds_block(LINES[0])
    assert f"1 to {ROWS} are missing" in refused(LINES[0])


def test_only_so_much_is_searched() -> None:
    """8 MiB of text before the block are the bound."""
    assert not block.holds_block(" " * block.TEXT_LIMIT + BLOCK)
    assert len(block.text_of(b"x" * (block.TEXT_LIMIT + 5))) == block.TEXT_LIMIT


@given(st.text(max_size=300) | st.text(".0123456789AB/+ >\n<&;\\", max_size=300))
@settings(max_examples=200)
def test_any_text(text: str) -> None:
    """Any text is read or refused with a sentence."""
    block.holds_block(text)
    try:
        block.read(text + "\n.1." + "A" * 68 + "." + text, "x")
    except Unreadable as error:
        assert "\n" not in str(error)  # noqa: PT017 - being refused is one of two right answers


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_damage(data: st.DataObject) -> None:
    """Whatever happens to a block, it gives its own bytes or none."""
    text = BLOCK
    for _ in range(data.draw(st.integers(1, 12))):
        at = data.draw(st.integers(0, len(text)))
        size = data.draw(st.sampled_from([0, 1, 1, 3, 200]))
        text = text[:at] + data.draw(st.text(".A1+/ \n<>&\\", max_size=4)) + text[at + size :]
    try:
        assert block.read(text, "x") == DATA
    except Unreadable as error:
        assert "\n" not in str(error)  # noqa: PT017 - being refused is one of two right answers
