"""`radiocheck judge`."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner
from msgspec import structs

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Report
from radiocheck.cli.main import cli
from radiocheck.cli.status import VERDICTS
from radiocheck.evidence.store import save
from radiocheck.pastes.line import BYTES_LIMIT
from tests.chain import machines as m
from tests.cli.conftest import HOUSES
from tests.cli.program import environment, one_sentence, radiocheck

OWN_RULE = """\
rule: too-new
step: bus
gravity: strain
title: It has not been on the bus for a day
seen: "on the bus for {bus.connected_s} s"
why: Our house wants a day of trial.
when: bus.connected_s < 86400
remedies:
  - {do: Wait., risk: reads}
sources: [our own wish]
examples:
  - {name: a, given: {bus: {connected_s: 5}}, expect: found}
  - {name: b, given: {bus: {connected_s: 90000}}, expect: clear}
"""


@pytest.mark.parametrize("state", VERDICTS)
@pytest.mark.parametrize("form", ["text", "json"])
def test_status_is_the_verdict(state: str, form: str, captures: dict[str, Path]) -> None:
    """0 sound, 1 weak, 3 broken, 4 not enough evidence, in both formats."""
    done = CliRunner().invoke(cli, ["judge", str(captures[state]), "--format", form])
    assert done.exit_code == VERDICTS[state]


@pytest.mark.parametrize("state", VERDICTS)
def test_json_is_the_judgement(state: str, captures: dict[str, Path]) -> None:
    """The JSON is exactly what judging the evidence gives."""
    done = CliRunner().invoke(cli, ["judge", str(captures[state]), "--format", "json"])
    read = msgspec.json.decode(done.stdout, type=Report)
    assert read == judge(HOUSES[state], load([shipped()]), None)
    assert read.verdict.state == state


def test_standard_input_is_judged_alike(captures: dict[str, Path]) -> None:
    """`-` gives the same verdict and text as the file."""
    by_name = radiocheck("judge", str(captures["weak"]))
    by_input = radiocheck("judge", "-", given=captures["weak"].read_bytes())
    assert (by_name.returncode, by_name.stdout) == (by_input.returncode, by_input.stdout)


def test_process_substitution_is_judged(captures: dict[str, Path]) -> None:
    """A pipe by name, as shells make with <(…), is read."""
    script = f"{sys.executable} -m radiocheck judge <(cat {captures['weak']})"
    assert subprocess.run(["bash", "-c", script], capture_output=True, env=environment(), check=False).returncode == 1


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "is empty"),
        (b'{"radiocheck_evidence": 1, "taken"', "cut off"),
        (b'{"radiocheck_evidence": 99}', "newer radiocheck"),
        (b"\x7fELF\x02\x01\x01" + bytes(4000), "is no text"),
        (b'{"a":' * 1_000_000, "nested too deeply"),
        (b'{"radiocheck_evidence": 1, "\\u001b]0;x\\u0007": 1}', "\\x1b]0;x\\x07"),
    ],
)
def test_bad_input_is_one_sentence(data: bytes, word: str, tmp_path: Path) -> None:
    """Whatever the file holds: one sentence that names it, status 2, no traceback, no raw control character."""
    file = tmp_path / "hearth.json"
    file.write_bytes(data)
    sentence = one_sentence(radiocheck("judge", str(file)))
    assert word in sentence
    assert str(file) in sentence
    assert sentence.isprintable()
    assert word in one_sentence(radiocheck("judge", "-", given=data))


def test_large_files_are_refused_at_once(tmp_path: Path) -> None:
    """A file of 100 GB (a hole) is refused after its first megabytes."""
    file = tmp_path / "large.json"
    with file.open("wb") as opened:
        opened.truncate(100 << 30)
    assert "is no text" in one_sentence(radiocheck("judge", str(file)))


def test_endless_input_is_refused() -> None:
    """Input without end is refused as soon as the limit is passed."""
    started = time.monotonic()
    with subprocess.Popen(["yes"], stdout=subprocess.PIPE) as endless:
        done = subprocess.run(
            [sys.executable, "-m", "radiocheck", "judge", "-"],
            stdin=endless.stdout,
            capture_output=True,
            env=environment(),
            check=False,
        )
        endless.kill()
    assert f"larger than {BYTES_LIMIT >> 20} MiB" in one_sentence(done)
    assert time.monotonic() - started < 10


@pytest.mark.parametrize(
    ("name", "word"),
    [("missing.json", "No such file"), (".", "is a folder"), ("/dev/null", "device"), ("/dev/tty", "device")],
)
def test_unreadable_places(name: str, word: str, tmp_path: Path) -> None:
    """What is no file is not opened: a device node least of all."""
    assert word in one_sentence(radiocheck("judge", str(tmp_path / name)))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
def test_forbidden_file(tmp_path: Path) -> None:
    """A file that may not be read says so."""
    file = tmp_path / "hearth.json"
    file.touch(0)
    assert "Permission denied" in one_sentence(radiocheck("judge", str(file)))


def test_adapter_chooses(captures: dict[str, Path]) -> None:
    """`--adapter` with the serial number judges that one; one that is not there is a sentence, status 2."""
    assert radiocheck("judge", str(captures["weak"]), "--adapter", "A1B2C3").returncode == 1
    assert "NOSUCH" in one_sentence(radiocheck("judge", str(captures["weak"]), "--adapter", "NOSUCH"))


def test_vm_chooses(tmp_path: Path) -> None:
    """`--vm` judges the adapters of that VM; an unknown VM is a sentence, status 2."""
    file = tmp_path / "hearth.json"
    file.write_bytes(save(m.passed()))
    assert radiocheck("judge", str(file), "--vm", "hearth").returncode == 0
    assert "attic" in one_sentence(radiocheck("judge", str(file), "--vm", "attic"))


def test_user_chooses(tmp_path: Path) -> None:
    """`--user` asks for another account of the capture; one that it does not know is a sentence, status 2."""
    mira = m.native().users[0]
    guest = structs.replace(mira, name="visitor", uid=1001, groups=[1001], session_groups=[1001], asked=False)
    file = tmp_path / "hearth.json"
    file.write_bytes(save(m.native(users=[mira, guest])))
    assert radiocheck("judge", str(file)).returncode == 0
    done = radiocheck("judge", str(file), "--user", "visitor", "--format", "json")
    assert done.returncode == 3
    assert json.loads(done.stdout)["verdict"]["step"] == "access"
    assert "capture again with --user nobody" in one_sentence(radiocheck("judge", str(file), "--user", "nobody"))


def test_own_rules_count(captures: dict[str, Path], tmp_path: Path) -> None:
    """A person's own rule beside the shipped ones is judged and shown like them."""
    (tmp_path / "bus").mkdir()
    (tmp_path / "bus" / "too-new.yaml").write_text(OWN_RULE)
    done = radiocheck("judge", str(captures["sound"]), "--rules", str(tmp_path))
    assert done.returncode == 1
    assert b"It has not been on the bus for a day" in done.stdout


def test_wrong_own_rules_are_named(captures: dict[str, Path], tmp_path: Path) -> None:
    """A rule file that is not understood is refused with file, line and column, before anything is judged."""
    (tmp_path / "bus").mkdir()
    (tmp_path / "bus" / "too-new.yaml").write_text(OWN_RULE.replace("gravity: strain", "gravity: heavy"))
    done = radiocheck("judge", str(captures["sound"]), "--rules", str(tmp_path))
    assert done.returncode == 2
    assert done.stdout == b""
    assert f"{tmp_path}/bus/too-new.yaml:3:" in done.stderr.decode()


def test_hostile_evidence_is_shown_escaped(tmp_path: Path) -> None:
    """A stick whose strings hold terminal controls cannot steer the terminal, in either format."""
    evil = "\x1b]0;owned\x07\u202estick\nBroken at air\r\x9b2J"
    file = tmp_path / "hearth.json"
    file.write_bytes(save(m.native(usb=[m.root_hub(), m.stick(product=evil, manufacturer=evil, serial=evil)])))
    for form in ("text", "json"):
        shown = radiocheck("judge", str(file), "--format", form).stdout.decode()
        assert all(char == "\n" or char.isprintable() for char in shown)
        assert not any(line.startswith("Broken at air") for line in shown.splitlines())
