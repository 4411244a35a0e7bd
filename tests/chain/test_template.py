"""Values in sentences and commands: nothing that a device says of itself becomes a command."""

from __future__ import annotations

import shlex
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.chain.template import command, complete, fill, placeholders

FACTS = {
    "adapter": {"serial": "A1 B2", "name": "1-2", "product": None},
    "items": [{"vm": "hearth"}, {"vm": "attic"}, {}],
    "power": {"on": True},
}


def test_only_dotted_paths_are_placeholders() -> None:
    """udev's and the shell's braces stay as they are."""
    text = 'ATTR{idVendor}=="1209", ENV{ID_X}="1", ${HOME.x}, {adapter.name}'
    assert placeholders(text) == ("adapter.name",)
    assert fill(text, FACTS) == text.replace("{adapter.name}", "1-2")


def test_sentences() -> None:
    """Null is none, absent is said to be not seen, lists are joined, truth is a word."""
    assert fill("{adapter.product} {adapter.port} {items.vm} {power.on}", FACTS) == "none (not seen) hearth, attic yes"


def test_commands_are_quoted() -> None:
    """A value with a blank is one word for the shell."""
    assert command("echo {adapter.serial}", FACTS) == "echo 'A1 B2'"


@pytest.mark.parametrize("value", [None, "", "a\nb", "a\x1b[2J", "ü", "a\u202eb"])
def test_commands_without_a_plain_value_are_dropped(value: str | None) -> None:
    """Unknown, empty or unprintable values give no command at all."""
    assert command("echo {adapter.serial}", {"adapter": {"serial": value}}) is None
    assert command("echo {adapter.path}", {"adapter": {}}) is None


@pytest.mark.parametrize("text", ["tee x <<'E'\nA==\"{a.b}\"\nE", "echo '{a.b}'", 'echo "{a.b}"'])
def test_no_special_characters_inside_quotes(text: str) -> None:
    """Inside quotes and here-documents only plain values are filled in; others drop the command."""
    assert command(text, {"a": {"b": "1209"}}) == text.replace("{a.b}", "1209")
    for value in ('x", RUN+="/bin/true', "a b", "$(id)", "x'y"):
        assert command(text, {"a": {"b": value}}) is None


def test_complete() -> None:
    """A sentence is complete when each of its values is known and not null."""
    assert complete("{adapter.name}", FACTS)
    assert not complete("{adapter.product}", FACTS)
    assert not complete("{adapter.port}", FACTS)


@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), min_size=1, max_size=40))
def test_any_printable_value_stays_one_word(value: str) -> None:
    """What the shell's own splitting makes of the command is exactly the value."""
    made = command("echo {a.b}", {"a": {"b": value}})
    assert made is not None
    assert shlex.split(made) == ["echo", value]


def test_a_real_shell_agrees() -> None:
    """A value full of shell is printed by sh as it stands."""
    value = "$(touch /tmp/x); `id` 'q' \"d\" \\ * ~"
    made = command("printf %s {a.b}", {"a": {"b": value}})
    assert made is not None
    assert subprocess.run(["sh", "-c", made], capture_output=True, text=True, check=True).stdout == value
