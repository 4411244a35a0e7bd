"""`radiocheck judge` with many files."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

from radiocheck.cli.main import cli
from radiocheck.cli.status import VERDICTS
from radiocheck.report.schema import case_schema
from tests.cli.program import REPOSITORY, environment, interruptible, one_sentence, radiocheck

PASTE = "[    2.1] usb 1-2: device descriptor read/64, error -71\n"
BAD = {  # name → bytes, and the word of the complaint
    "cut.json": (b'{"radiocheck_evidence": 1, "ta', "cut off"),
    "empty.json": (b"", "is empty"),
    "newer.json": (b'{"radiocheck_evidence": 99}', "newer radiocheck"),
    "deep.json": (b'{"radiocheck_evidence": 1, "a":' + b'{"a":' * 100_000, "nested too deeply"),
}


@pytest.fixture
def folder(captures: dict[str, Path], tmp_path: Path) -> Path:
    """A folder with a case for each verdict."""
    made = tmp_path / "cases"
    made.mkdir()
    for state, file in captures.items():
        shutil.copy(file, made / f"{state}.json")
    return made


def run(*words: object) -> Result:
    """`radiocheck judge WORDS` in this process, which has its rules loaded after the first time."""
    return CliRunner().invoke(cli, ["judge", *map(str, words)])


def lines(*words: object) -> list[dict[str, Any]]:
    """The objects of `--format json`, each held against the schema."""
    found = [json.loads(line) for line in run(*words, "--format", "json").stdout.splitlines()]
    for one in found:
        jsonschema.validate(one, case_schema())
    return found


def test_a_line_for_each_and_the_tables(folder: Path) -> None:
    """File and state of every case in the order of the names, then counts; status 0, whatever the verdicts."""
    done = run(folder)
    said, _, tables = done.stdout.partition("\n\n")
    assert [line.split()[:2] for line in said.splitlines()] == [
        [str(folder / f"{state}.json"), state] for state in sorted(VERDICTS)
    ]
    assert tables.startswith("4 cases: 1 broken, 1 weak, 1 unseen, 1 sound.\n")
    assert done.exit_code == 0
    assert done.stderr == ""


def test_json_is_what_each_file_gives(folder: Path) -> None:
    """Every line is the report that judging its file alone gives, with the name before it."""
    for found in lines(folder):
        alone = json.loads(run(found.pop("case"), "--format", "json").stdout)
        assert found == alone


def test_one_file_is_judged_as_ever(captures: dict[str, Path]) -> None:
    """A single file that is named gives its report and its status."""
    done = run(captures["weak"])
    assert done.exit_code == VERDICTS["weak"]
    assert done.stdout.startswith("Weak at")


def test_a_folder_with_one_file_is_a_list(folder: Path) -> None:
    """A folder asks for the list, whatever its size."""
    for file in folder.glob("[!b]*"):
        file.unlink()
    done = run(folder)
    assert "1 case: 1 broken." in done.stdout
    assert done.exit_code == 0


def test_bad_files_never_stop_the_rest(folder: Path) -> None:
    """Each has its line with the complaint, is counted and named at the end; the others are judged; status 2."""
    for name, (data, _) in BAD.items():
        (folder / name).write_bytes(data)
    done = run(folder)
    assert done.exit_code == 2
    for name, (_, word) in BAD.items():
        line = next(line for line in done.stdout.splitlines() if line.startswith(str(folder / name)))
        assert "unread" in line
        assert word in line
        assert line.count(name) == 1
        assert f"\n  {folder / name}\n" in done.stdout
    assert "8 cases: 1 broken, 1 weak, 1 unseen, 1 sound, 4 could not be read." in done.stdout.replace("\n", " ")
    complaints = {Path(one["case"]).name: one["error"] for one in lines(folder) if "error" in one}
    assert complaints.keys() == BAD.keys()
    assert all(word in complaints[name] for name, (_, word) in BAD.items())


def test_too_large_is_not_read(folder: Path) -> None:
    """A capture of 100 GB (a hole behind its first bytes) is refused, and the rest judged."""
    with (folder / "large.json").open("wb") as opened:
        opened.write(b'{"radiocheck_evidence": 1')
        opened.truncate(100 << 30)
    found = {Path(one["case"]).name: one for one in lines(folder)}
    assert "larger than 32 MB" in found["large.json"]["error"]
    assert len(found) == 5


def test_binary_and_prose_are_told_apart(folder: Path) -> None:
    """Prose that tells nothing is unseen, counted and named; what is no text cannot be read."""
    (folder / "picture").write_bytes(bytes(range(256)) * 40)
    (folder / "letter").write_text("The lamp in the hall is dark.\n")
    done = run(folder)
    assert f"Nothing was recognised in:\n  {folder / 'letter'}\n" in done.stdout
    found = {one["case"]: one for one in lines(folder)}
    assert found[str(folder / "letter")]["verdict"]["state"] == "unseen"
    assert "is no text" in found[str(folder / "picture")]["error"]


def test_raw_pastes_are_cases(folder: Path) -> None:
    """A text that somebody pasted is judged as by itself."""
    (folder / "asked.txt").write_text(PASTE * 3)
    found = next(one for one in lines(folder) if one["case"].endswith("asked.txt"))
    alone = json.loads(run(folder / "asked.txt", "--format", "json").stdout)
    assert found["verdict"] == alone["verdict"]


def test_names_cannot_steer_the_terminal(folder: Path) -> None:
    """Controls, newlines, bidirectional overrides and bytes that are no UTF-8 in a name are shown as such."""
    evil = os.fsencode(folder) + b"/a\n\x1b[31m\xe2\x80\xaeb\xff"
    with open(evil, "wb") as opened:
        opened.write(b"x")
    done = run(folder)
    assert all(line.isprintable() for line in done.stdout.splitlines())
    assert "a\\x0a\\x1b[31m\\u202eb\\xff" in done.stdout
    assert lines(folder)[0]["case"] == f"{folder}/a\n\x1b[31m\u202eb\\xff"


def test_named_things_that_are_no_files(folder: Path) -> None:
    """A missing file, a device, a pipe and an empty folder among others are told in their lines, and not opened."""
    os.mkfifo(folder / "pipe")
    (folder / "none").mkdir()
    found = lines(folder / "weak.json", folder / "missing", "/dev/null", folder / "pipe", folder / "none", "/dev/tty")
    assert [one.get("error", "").split(";")[0] for one in found] == [
        "",
        "cannot be read: No such file or directory",
        "is no regular file",
        "is no regular file",
        "is a folder that holds no file to judge",
        "is no regular file",
    ]


def test_what_is_left_out_is_counted(folder: Path) -> None:
    """Hidden names, links and pipes in a folder: told in text, and with JSON on standard error."""
    (folder / ".hidden").touch()
    (folder / "link").symlink_to("/etc/passwd")
    os.mkfifo(folder / "pipe")
    sentence = "Left out in the folders: 1 hidden name, 1 link and 1 pipe, socket or device.\n"
    assert run(folder).stdout.endswith(f"\n\n{sentence}")
    done = run(folder, "--format", "json")
    assert done.stderr == sentence
    assert "passwd" not in done.stdout


def test_an_empty_folder_is_one_sentence(tmp_path: Path) -> None:
    """A folder without a file: status 2, and what to name instead."""
    (tmp_path / ".hidden").touch()
    sentence = one_sentence(radiocheck("judge", str(tmp_path)))
    assert sentence.startswith(f"{tmp_path}: is a folder that holds no file to judge; ")
    assert sentence.endswith("1 hidden name.")


@pytest.mark.parametrize(
    "words",
    [
        ["--guest", "GUEST"],
        ["--site", "air.yaml"],
        ["--channel", "11"],
        ["--user", "mira"],
        ["--adapter", "A1"],
        ["--vm", "hearth"],
        ["--reveal"],
        ["--format", "paste"],
        ["--vm-args", "ARGS"],
        ["-"],
    ],
    ids=" ".join,
)
def test_what_is_about_one_machine_is_refused(words: list[str], folder: Path, captures: dict[str, Path]) -> None:
    """One sentence, before anything is judged."""
    (folder / "args").write_text("qemu-system-x86_64 -name hearth -device usb-host,vendorid=0x1209\n")
    files = {"GUEST": captures["sound"], "ARGS": folder / "args"}
    done = run(folder, *(files.get(word, word) for word in words))
    assert done.exit_code == 2
    assert done.stdout == ""
    sentence = done.stderr.removeprefix("Error: ")
    assert words[0].removeprefix("-") in sentence
    assert sentence.count("\n") == 1


def test_own_rules_count(folder: Path, tmp_path: Path) -> None:
    """`--rules` holds for all; a wrong one is refused before anything is judged."""
    from tests.cli.test_judge import OWN_RULE

    (tmp_path / "own" / "bus").mkdir(parents=True)
    file = tmp_path / "own" / "bus" / "too-new.yaml"
    file.write_text(OWN_RULE)
    rows = [line.split() for line in run(folder, "--rules", tmp_path / "own").stdout.splitlines()]
    assert any(row[:2] == ["too-new", "bus"] for row in rows)
    file.write_text(OWN_RULE.replace("gravity: strain", "gravity: heavy"))
    from radiocheck.cli.many import _rules

    _rules.cache_clear()
    done = run(folder, "--rules", tmp_path / "own")
    assert (done.exit_code, done.stdout) == (2, "")


def test_all_cores_give_the_same(folder: Path) -> None:
    """Several processes say the same in the same order as one, and leave no bar where there is no terminal."""
    for number in range(8):
        for state in VERDICTS:
            shutil.copy(folder / f"{state}.json", folder / f"{state}-{number}.json")
    (folder / "cut.json").write_bytes(BAD["cut.json"][0])
    one, two = (radiocheck("judge", str(folder), "--format", "json", "--jobs", jobs) for jobs in ("1", "2"))
    assert one.stdout == two.stdout
    assert one.returncode == two.returncode == 2
    assert two.stderr == b"37 cases: 9 broken, 9 weak, 9 unseen, 9 sound, 1 could not be read.\n"


def _started(*words: str) -> subprocess.Popen[bytes]:
    """Judging in a process group of its own, as a shell starts it."""
    command = [sys.executable, "-m", "radiocheck", "judge", *words, "--jobs", "2"]
    pipe = subprocess.PIPE
    return subprocess.Popen(
        command,
        stdout=pipe,
        stderr=pipe,
        env=environment(),
        cwd=REPOSITORY,
        start_new_session=True,
        preexec_fn=interruptible,
    )


def test_ctrl_c_ends_at_once(captures: dict[str, Path]) -> None:
    """Interrupted with the whole group, as a terminal does: 130, no word, and no process stays."""
    done = _started(*[str(captures["weak"])] * 20_000)
    assert done.stdout is not None
    assert b"weak" in done.stdout.readline()
    began = time.monotonic()
    os.killpg(done.pid, signal.SIGINT)
    _, complaint = done.communicate(timeout=30)
    assert (done.returncode, complaint) == (130, b"")
    assert time.monotonic() - began < 10


def test_reader_that_leaves(captures: dict[str, Path]) -> None:
    """`| head`: the rest is not judged for nobody, and nothing is said."""
    done = _started(*[str(captures["weak"])] * 20_000)
    assert done.stdout is not None
    assert done.stderr is not None
    done.stdout.readline()
    done.stdout.close()
    assert done.stderr.read() == b""
    assert done.wait(timeout=30) == 0


def test_bar_on_a_terminal(folder: Path) -> None:
    """A terminal on standard error has a bar that reaches the end; the lines go where they should."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "radiocheck", "judge", str(folder)]
    done = subprocess.run(
        command, stdout=subprocess.PIPE, stderr=theirs, env=environment(TERM="xterm"), check=True, timeout=60
    )
    os.close(theirs)
    shown = os.read(ours, 1 << 16).decode()
    os.close(ours)
    assert "4/4" in shown
    assert str(folder) not in shown
    assert done.stdout.count(b"\n") > 4
    assert b"4/4" not in done.stdout
