"""`radiocheck capture` and `radiocheck check` on the machine that runs the tests."""

from __future__ import annotations

import json
import os
import resource
import stat
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from radiocheck.chain.verdict import Report
from radiocheck.cli.saving import save_file
from radiocheck.cli.status import VERDICTS, Unusable
from radiocheck.evidence.store import load
from tests.cli.program import environment, one_sentence, radiocheck


def left(folder: Path) -> list[str]:
    """What is in the folder."""
    return sorted(path.name for path in folder.iterdir())


def test_saves_what_judge_reads(tmp_path: Path) -> None:
    """The file is evidence of this machine, and only its owner may read it."""
    file = tmp_path / "here.json"
    done = radiocheck("capture", str(file))
    assert (done.returncode, done.stdout) == (0, b"")
    assert str(file) in done.stderr.decode()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert load(file.read_bytes(), "here").taken.root is (os.geteuid() == 0)
    assert left(tmp_path) == ["here.json"]
    assert radiocheck("judge", str(file)).returncode in VERDICTS.values()


def test_check_and_judge_agree(tmp_path: Path) -> None:
    """`judge` of a capture gives the verdict and the chains that `check` gives here."""
    file = tmp_path / "here.json"
    assert radiocheck("capture", str(file)).returncode == 0
    checked, judged = radiocheck("check", "--format", "json"), radiocheck("judge", str(file), "--format", "json")
    assert checked.returncode == judged.returncode
    live, saved = (msgspec.json.decode(done.stdout, type=Report) for done in (checked, judged))
    assert live.verdict == saved.verdict
    assert [(chain.adapter.label, chain.state) for chain in live.chains] == [
        (chain.adapter.label, chain.state) for chain in saved.chains
    ]


def test_standard_output(tmp_path: Path) -> None:
    """`-` writes the evidence to standard output and nothing else."""
    done = radiocheck("capture", "-")
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["radiocheck_evidence"] == 1


def test_standard_output_closed() -> None:
    """A capture that goes nowhere is no success."""
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m radiocheck capture - >&-"],
        capture_output=True,
        env=environment(),
        check=False,
    )
    assert "standard output is closed" in one_sentence(done)


def test_keeps_an_existing_file(tmp_path: Path) -> None:
    """An existing file is kept unless --replace is given; then it is replaced, and readable by its owner only."""
    file = tmp_path / "here.json"
    file.write_text("kept")
    file.chmod(0o644)
    assert "--replace" in one_sentence(radiocheck("capture", str(file)))
    assert file.read_text() == "kept"
    assert radiocheck("capture", "--replace", str(file)).returncode == 0
    assert load(file.read_bytes(), "here").radiocheck_evidence == 1
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert left(tmp_path) == ["here.json"]


def test_keeps_a_file_that_appears_meanwhile(tmp_path: Path) -> None:
    """A file that another program made while we probed is kept, and nothing is left beside it."""
    file = tmp_path / "here.json"
    file.write_text("kept")
    with pytest.raises(Unusable, match="exists"):
        save_file(str(file), b"new", replace=False)
    assert file.read_text() == "kept"
    assert left(tmp_path) == ["here.json"]


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("missing/here.json", "there is no folder"),
        (".", "not a regular file"),
        ("/dev/null", "not a regular file"),
        ("link.json", "not a regular file"),
        ("x" * 300, "File name too long"),
    ],
)
@pytest.mark.parametrize("replace", [[], ["--replace"]])
def test_refuses_other_places(name: str, word: str, replace: list[str], tmp_path: Path) -> None:
    """Folders, devices, links and impossible names are refused in a sentence, with --replace too."""
    (tmp_path / "link.json").symlink_to("target.json")
    assert word in one_sentence(radiocheck("capture", *replace, str(tmp_path / name)))
    assert left(tmp_path) == ["link.json"]
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_nothing_is_left_when_the_disk_is_full(tmp_path: Path) -> None:
    """When not all can be written (EFBIG by RLIMIT_FSIZE, setrlimit(2)) nothing is left, and the old file is kept."""
    file = tmp_path / "here.json"
    file.write_text("kept")
    done = subprocess.run(
        [sys.executable, "-B", "-m", "radiocheck", "capture", "--replace", str(file)],
        capture_output=True,
        env=environment(),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (16, 16)),
        check=False,
    )
    assert "File too large" in one_sentence(done)
    assert file.read_text() == "kept"
    assert left(tmp_path) == ["here.json"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_forbidden_folder(tmp_path: Path) -> None:
    """A folder that may not be written to is a sentence."""
    tmp_path.chmod(0o500)
    assert "Permission denied" in one_sentence(radiocheck("capture", str(tmp_path / "here.json")))


def test_check_of_this_machine_is_a_report() -> None:
    """`check` here ends with a verdict's status, begins with its sentence, and has no traceback."""
    done = radiocheck("check")
    assert done.returncode in VERDICTS.values()
    assert done.stderr == b""
    told = radiocheck("check", "--format", "json")
    sentence = json.loads(told.stdout)["verdict"]["sentence"]
    assert " ".join(done.stdout.decode().split()).startswith(sentence)


def test_check_refuses_an_unknown_adapter() -> None:
    """`--adapter` with a name that no adapter here has is a sentence."""
    assert "no-such-adapter" in one_sentence(radiocheck("check", "--adapter", "no-such-adapter"))
