"""`--format paste` and `radiocheck judge` of what became of it."""

from __future__ import annotations

import html
import json
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from click.testing import CliRunner

from radiocheck.cli.main import cli
from radiocheck.cli.status import VERDICTS
from radiocheck.evidence import block
from radiocheck.evidence.posted import Posted, write
from radiocheck.evidence.store import save
from tests.chain import guests
from tests.chain import machines as m
from tests.cli.conftest import HOUSES
from tests.cli.program import environment, one_sentence, radiocheck

DEMO = Path(__file__).parents[2] / "fixtures" / "demo" / "evidence.json"


@pytest.fixture(scope="module")
def paste() -> str:
    """The paste of the demo."""
    return radiocheck("judge", str(DEMO), "--format", "paste").stdout.decode()


def judged(text: str) -> dict:
    """The judgement of a text that comes by standard input."""
    done = radiocheck("judge", "-", "--format", "json", given=text.encode())
    assert done.returncode == 3, done.stderr
    return json.loads(done.stdout)


@pytest.mark.parametrize("state", VERDICTS)
def test_status_is_the_verdict(state: str, captures: dict[str, Path]) -> None:
    """The exit status is that of the other formats, from the capture and from its paste."""
    done = CliRunner().invoke(cli, ["judge", str(captures[state]), "--format", "paste"])
    assert done.exit_code == VERDICTS[state]
    again = CliRunner().invoke(cli, ["judge", "-"], input=done.stdout)
    assert again.exit_code == VERDICTS[state]


def test_names_are_gone(paste: str) -> None:
    """No name, serial number or UUID of the demo is in the paste, and it says what was removed."""
    raw = json.loads(DEMO.read_text())
    for name in ("mira", "hearth", "A1B2C3D4", raw["domains"][0]["uuid"]):
        assert name in DEMO.read_text()
        assert name not in paste
    assert "Removed: 1 serial number, 1 account name, 1 VM name and 1 UUID." in paste.replace("\n", " ")


def test_reveal() -> None:
    """Names are kept, and the paste says so."""
    done = radiocheck("judge", str(DEMO), "--format", "paste", "--reveal").stdout.decode()
    assert "hearth lost the adapter" in done
    assert "A1B2C3D4" in done
    assert "Nothing was removed (`--reveal`)" in done
    again = radiocheck("judge", "-", given=done.encode()).stdout.decode()
    assert "hearth lost the adapter" in again


def test_reveal_belongs_to_the_paste() -> None:
    """Other formats replace nothing, so the option would say something wrong."""
    said = one_sentence(radiocheck("judge", str(DEMO), "--reveal"))
    assert "--format paste" in said


TREATED = {
    "as it is": lambda text: text,
    "quoted": lambda text: textwrap.indent(text, "> "),
    "wrapped and quoted": lambda text: textwrap.indent("\n".join(textwrap.wrap(text, 50)), "> > "),
    "HTML": lambda text: f"<html><pre>{html.escape(text)}</pre></html>".replace("\n", "<br>\n"),
    "typographic": lambda text: text.replace("---", "—").replace("'", "’").replace('"', "“"),
    "trailing blanks": lambda text: text.replace("\n", "  \n"),
    "chat": lambda text: f"Hi! Here: {text}\n> what does it say?\nthanks",
    "JSON": lambda text: json.dumps([{"post": text}]),
    "no fences": lambda text: text.replace("```text\n", "").replace("```\n", ""),
    "only the block": lambda text: text[text.index("--- radiocheck") : text.index("--- end")],
    "text edited": lambda text: text.replace("handover", "power").replace("broken", "sound"),
    "pasted twice": lambda text: text + text,
}


@pytest.mark.parametrize("treat", TREATED.values(), ids=TREATED)
def test_the_same_judgement(treat: object, paste: str) -> None:
    """Whatever became of the text around the block, or of the text itself: the block is what counts."""
    assert judged(treat(paste)) == judged(paste)
    assert (
        judged(paste)["verdict"]["step"]
        == json.loads(radiocheck("judge", str(DEMO), "--format", "json").stdout)["verdict"]["step"]
    )


def test_a_paste_of_a_paste_is_the_same(paste: str) -> None:
    """Redacting what was redacted changes nothing."""
    assert radiocheck("judge", "-", "--format", "paste", given=paste.encode()).stdout.decode() == paste


def test_check_makes_one() -> None:
    """Of this machine, whose name is not in it."""
    done = radiocheck("check", "--format", "paste")
    assert done.returncode in VERDICTS.values(), done.stderr
    text = done.stdout.decode()
    assert "--- radiocheck evidence, format 1:" in text
    assert radiocheck("judge", "-", given=text.encode()).returncode == done.returncode


def test_only_what_was_asked_for(tmp_path: Path) -> None:
    """A report about one adapter stays about it, by its stand-in."""
    file = tmp_path / "two.json"
    other = m.stick(name="1-3", path="3", devnum=9, serial="77AB34CD", product="Other stick")
    file.write_bytes(save(m.native(usb=[m.root_hub(), m.stick(), other])))
    done = radiocheck("judge", str(file), "--format", "paste", "--adapter", "77AB34CD").stdout.decode()
    assert "Other stick serial-" in done
    assert "Mesh stick" not in done.split("---")[0]
    shown = json.loads(radiocheck("judge", "-", "--format", "json", given=done.encode()).stdout)
    assert [chain["adapter"]["product"] for chain in shown["chains"]] == ["Other stick"]
    all_of_it = radiocheck("judge", "-", "--format", "json", "--adapter", "1-2", given=done.encode()).stdout
    assert [chain["adapter"]["product"] for chain in json.loads(all_of_it)["chains"]] == ["Mesh stick"]


def test_refusals_are_sentences(paste: str) -> None:
    """Damage beyond repair, two blocks, a newer format."""
    lines = paste.splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith(".1."))
    said = one_sentence(radiocheck("judge", "-", given="\n".join(lines[: first + 2] + lines[first + 9 :]).encode()))
    assert "3 to 9 are missing or damaged" in said
    other = write(Posted(evidence=HOUSES["weak"]))
    assert "different blocks" in one_sentence(radiocheck("judge", "-", given=(paste + other).encode()))
    newer = paste.replace("evidence, format 1", "evidence, format 9")
    assert "format 9" in one_sentence(radiocheck("judge", "-", given=newer.encode()))


def test_hostile_text_around_it(paste: str) -> None:
    """Megabytes, zeros, escapes and wrong encodings around a block change nothing and steer no terminal."""
    noise = os.urandom(1 << 20) + b"\x1b]0;x\x07\xe2\x80\xae" + b"<" * 100_000
    done = radiocheck("judge", "-", "--format", "json", given=noise + b"\n" + paste.encode() + b"\n" + noise)
    assert done.returncode == 3, done.stderr
    assert json.loads(done.stdout) == judged(paste)


def test_the_other_formats_load_nothing_of_it() -> None:
    """`check` is run often: what makes and repairs pastes is loaded only for a paste."""
    code = (
        "import sys\nfrom radiocheck.cli.main import run\nrun(['check'])\n"
        "print([one for one in sys.modules if one.rpartition('.')[2] in "
        "('reedsolo', 'redact', 'private', 'posted', 'columns', 'block', 'paste')], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env=environment(), timeout=60, check=False, text=True
    )
    assert done.stderr.splitlines()[-1] == "[]"


def test_with_a_capture_of_the_vm(tmp_path: Path) -> None:
    """A paste that joined two captures carries both, with one set of stand-ins."""
    host, guest = tmp_path / "host.json", tmp_path / "guest.json"
    host.write_bytes(save(guests.host()))
    guest.write_bytes(save(guests.undriven()))
    done = radiocheck("judge", str(host), "--guest", str(guest), "--format", "paste")
    assert done.returncode in VERDICTS.values(), done.stderr
    before = json.loads(radiocheck("judge", str(host), "--guest", str(guest), "--format", "json").stdout)
    after = json.loads(radiocheck("judge", "-", "--format", "json", given=done.stdout).stdout)
    assert [step["state"] for step in after["chains"][0]["steps"]] == [
        step["state"] for step in before["chains"][0]["steps"]
    ]
    assert block.holds_block(done.stdout.decode())
