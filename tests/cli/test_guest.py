"""`--guest FILE`: two captures, one verdict."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from msgspec import structs

from radiocheck.evidence.record import Evidence, Taken
from radiocheck.evidence.store import save
from tests.chain import guests as g
from tests.chain import machines as m
from tests.cli.program import one_sentence, radiocheck

FILES: dict[str, Evidence] = {
    "host": g.host(),
    "hearth": g.hearth(),
    "undriven": g.undriven(),
    "metal": m.native(taken=Taken(at=m.NOW + 5, tool="test", root=True), host=g.host_of(None, virtualisation=None)),
    "again": structs.replace(g.host(), taken=Taken(at=m.NOW + 5, tool="test", root=True)),
}


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The captures as files."""
    folder = tmp_path_factory.mktemp("pairs")
    for name, evidence in FILES.items():
        (folder / f"{name}.json").write_bytes(save(evidence))
    return {name: str(folder / f"{name}.json") for name in FILES}


def test_both_sides_in_one_report(files: dict[str, str]) -> None:
    """The host alone is sound, and broken at guest when the VM lacks the driver: one verdict, one exit status."""
    assert radiocheck("judge", files["host"]).returncode == 0
    assert radiocheck("judge", files["host"], "--guest", files["hearth"]).returncode == 0
    done = radiocheck("judge", files["host"], "--guest", files["undriven"], "--format", "json")
    assert done.returncode == 3
    report = json.loads(done.stdout)
    assert report["verdict"]["step"] == "guest"
    assert report["chains"][0]["route"] == "device"


def test_standard_input_may_be_either(files: dict[str, str]) -> None:
    """`-` for the host or for the VM gives the same report; for both it is refused."""
    named = radiocheck("judge", files["host"], "--guest", files["undriven"])
    first = radiocheck("judge", "-", "--guest", files["undriven"], given=Path(files["host"]).read_bytes())
    second = radiocheck("judge", files["host"], "--guest", "-", given=Path(files["undriven"]).read_bytes())
    assert named.stdout == first.stdout == second.stdout
    refused = radiocheck("judge", "-", "--guest", "-", given=Path(files["host"]).read_bytes())
    assert "only one of both captures" in one_sentence(refused)


@pytest.mark.parametrize(
    ("host", "guest", "word"),
    [
        ("host", "host", "the host's own capture"),
        ("host", "again", "the host's own capture"),
        ("host", "metal", "no capture of a VM"),
        ("hearth", "undriven", "the host's evidence comes first"),
        ("hearth", "host", "the host's evidence comes first"),
    ],
)
def test_a_file_that_cannot_be_the_vms(host: str, guest: str, word: str, files: dict[str, str]) -> None:
    """The same file twice, the host's own, bare metal, both the wrong way round: one sentence that names the file."""
    sentence = one_sentence(radiocheck("judge", files[host], "--guest", files[guest]))
    assert sentence.startswith(files[guest])
    assert word in sentence


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "is empty"),
        (b'{"radiocheck_evidence": 99}', "newer radiocheck"),
        (b'{"radiocheck_evidence": 0}', "older radiocheck"),
        (b'{"radiocheck_report": 1}', "is a report"),
        (b"\x1b[31mhello", "no capture"),
    ],
)
@pytest.mark.parametrize("command", ["judge", "check"])
def test_bad_input_is_one_sentence(command: str, data: bytes, word: str, files: dict[str, str], tmp_path: Path) -> None:
    """Another version, another file, nothing: one sentence, status 2, and nothing is half-judged."""
    file = tmp_path / "vm.json"
    file.write_bytes(data)
    words = [files["host"]] if command == "judge" else []
    sentence = one_sentence(radiocheck(command, *words, "--guest", str(file)))
    assert sentence.startswith(str(file))
    assert word in sentence
    assert sentence.isprintable()


def test_a_hostile_capture_of_a_vm_is_shown_escaped(tmp_path: Path, files: dict[str, str]) -> None:
    """A VM is the least trusted: its words cannot steer the terminal of the host, nor write a command."""
    evil = "\x1b]0;owned\x07\u202e';reboot;'"
    node = structs.replace(m.tty(where="1-1:1.0").node, path=f"/dev/{evil}", group=evil)
    user = structs.replace(m.native().users[0], name=evil, groups=[1000], session_groups=[1000])
    host = g.host_of(kernel=evil, distribution=evil)
    guest = g.hearth(host=host, users=[user], ttys=[structs.replace(m.tty(where="1-1:1.0"), node=node)])
    file = tmp_path / "vm.json"
    file.write_bytes(save(guest))
    for form in ("text", "json"):
        done = radiocheck("judge", files["host"], "--guest", str(file), "--format", form)
        assert done.returncode == 3
        assert all(char == "\n" or char.isprintable() for char in done.stdout.decode())
    commands = [
        remedy["command"]
        for chain in json.loads(done.stdout)["chains"]
        for step in chain["steps"]
        for finding in step["findings"]
        for remedy in finding["remedies"]
        if remedy["command"]
    ]
    assert not [one for one in commands if "reboot" in one]


def test_check_takes_a_capture_too(files: dict[str, str]) -> None:
    """On the live machine the option is understood, whatever the machine is: a verdict, or one sentence."""
    done = radiocheck("check", "--guest", files["hearth"])
    assert done.returncode in (0, 1, 2, 3, 4)
    assert b"Traceback" not in done.stderr
    if done.returncode == 2:
        one_sentence(done)
