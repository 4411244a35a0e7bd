"""Shell texts as commands, held against a real shell."""

from __future__ import annotations

import contextlib
import shlex
import subprocess
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radiocheck.sources.shell_words import Command, commands

WORDS = st.lists(st.text(st.characters(exclude_characters="\0", exclude_categories=("Cs",)), min_size=1), min_size=1)


def words(text: str) -> list[list[str]]:
    """Only the words."""
    return [command.words for command in commands(text)]


def shell(text: str) -> list[list[str]]:
    """The words that sh(1) makes of commands that start with `say`."""
    script = "say() { printf '%s\\0' \"$@\"; printf '\\1\\0'; }\n" + text
    done = subprocess.run(["sh", "-c", script], capture_output=True, check=True, cwd="/")
    return [["say", *part.split("\0")[:-1]] for part in done.stdout.decode("utf-8", "replace").split("\1\0")[:-1]]


@pytest.mark.parametrize(
    "text",
    [
        "say -device usb-host,vendorid=0x1209 -m 512",
        "say -device \\\n  usb-host \\\n-m 512\n",
        "say a\\\nb",
        "say 'a\\\nb'",
        'say "a\\\nb"',
        "say \"it's\" 'say \"hi\"' it\\'s",
        'say "\\$x \\` \\" \\\\ \\n \\x"',
        "say '$x' '`date`'",
        "say -drive file=a#b,format=raw # a comment with an ' in it",
        "# don't\nsay a; say b && say c | cat; say d &",
        "say a 3>/dev/null 2>&1 b; say c 2>/dev/null d </dev/null",
        'say \'{"driver":"usb-host","hostbus":1}\' \'\'',
        "say a$ $ %s",
        "(say a)\n",
        "say\ta\t b",
    ],
)
def test_words_are_those_of_a_shell(text: str) -> None:
    """Quotes, continuations, comments, operators and redirections are read as sh(1) reads them."""
    mine = [one for one in words(text) if one[0] == "say"]
    assert mine == shell(text)


@given(WORDS)
@settings(max_examples=300, deadline=None)
def test_quoted_words_come_back(given_words: list[str]) -> None:
    """What shlex.join quotes for a shell is read back as it was, and as certain."""
    assert commands(shlex.join(given_words)) == [Command(given_words, frozenset())]


@pytest.mark.parametrize(
    ("text", "expanded"),
    [
        ("x $A b", {1}),
        ('x "$@"', {1}),
        ('x "${args[@]}" y', {1}),
        ("x a=$(lsusb | grep (1209) | head) c", {1}),
        ("x `id -u` c", {1}),
        ("x a,b=${C:-d}", {1}),
        ("x <(cat y) z", {1}),
        ("x $'a\\'b' c", {1}),
        ("x \"a\\$b\" '$c' \\$d a$", set()),
        ('x "a\\\\$b"', {1}),
        ("x >$LOG y", set()),
    ],
)
def test_what_only_a_shell_can_work_out_is_marked(text: str, expanded: set[int]) -> None:
    """Variables, command and process substitution are marked, quoted or not; in single quotes they are plain text."""
    (command,) = commands(text)
    assert command.expanded == expanded


@pytest.mark.parametrize("text", ["x 'a", 'x\ny "a', "x `a", "x \\", "x $'a"])
def test_open_quotation_is_refused(text: str) -> None:
    """A quotation that never ends, or a backslash at the very end, means that the text was cut off."""
    with pytest.raises(ValueError, match=r"^line \d+: a quotation is opened and never closed$"):
        commands(text)


@given(st.text(st.sampled_from("ab \n\t\\'\"$(){}<>|&;#`=,-0")))
@settings(max_examples=500, deadline=None)
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text raises anything but ValueError, and every mark is of a word that is there."""
    try:
        found = commands(text)
    except ValueError:
        return
    for command in found:
        assert command.words
        assert all(0 <= place < len(command.words) for place in command.expanded)


@pytest.mark.parametrize("piece", ["${", "$(", '"a"b', "$'", "<(", "\\\\", "a ", "(", "`a`", '"\\\\"$'])
def test_long_texts_cost_no_more_per_letter(piece: str) -> None:
    """Half a million letters of any kind are read or refused within seconds."""
    began = time.monotonic()
    with contextlib.suppress(ValueError):
        commands(piece * (500_000 // len(piece)))
    assert time.monotonic() - began < 20
