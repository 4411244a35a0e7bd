"""Answer the machine's questions while it plays: judging saved evidence is fast out here."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.bench.wheels import ROOT

# The longest that one scenario may take before the machine is taken to be stuck.
PATIENCE = 900


def serve(
    share: Path, qemu: subprocess.Popen[bytes], waiting: set[str], until: float
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Judge what is asked and give out each scenario's result, until all are there or QEMU has ended.

    `until`: the moment (monotonic seconds) from which on the machine is asked to begin no further scenario.
    """
    heard = time.monotonic()
    while waiting:
        if time.monotonic() > until:
            (share / "enough").touch()
        for ask in sorted(share.glob("ask/*.json")):
            _answer(share, ask)
            heard = time.monotonic()
        for path in sorted(share.glob("results/*.json")):
            if path.stem in waiting:
                waiting.remove(path.stem)
                heard = time.monotonic()
                yield path.stem, json.loads(path.read_text(encoding="utf-8"))
        if qemu.poll() is not None and not any(share.glob("results/*.json")):
            return
        if qemu.poll() is not None and waiting and time.monotonic() - heard > 5:
            return
        if time.monotonic() - heard > PATIENCE:
            print(f"bench: nothing heard of the machine for {PATIENCE} s; see {share}/console.log")
            return
        time.sleep(0.1)


def _answer(share: Path, ask: Path) -> None:
    evidence = share / "evidence" / json.loads(ask.read_text(encoding="utf-8"))["evidence"]
    ask.unlink()
    answer = share / "answer" / ask.name
    part = answer.with_suffix(".part")
    part.write_text(json.dumps(judge(evidence)), encoding="utf-8")
    part.rename(answer)


def guest_of(evidence: Path) -> Path | None:
    """The capture of the VM that belongs to it, if the scenario made one; without root it is the same."""
    path = evidence.with_name(evidence.name.replace(".person.", ".").replace(".json", ".guest.json"))
    return path if path.exists() else None


def tries(cache: Path, name: str) -> list[Path]:
    """The results of a scenario in the last run, the last try last: second ones are in folders that sort behind."""
    return sorted(cache.glob(f"last-*/results/{name}.json"))


def saved(result: Path, mark: str = "") -> Path:
    """The evidence beside a scenario's result; `mark`: `.person` or `.remedied`."""
    return result.parents[1] / "evidence" / f"{result.stem}{mark}.json"


def judge(evidence: Path) -> dict[str, Any]:
    """Let radiocheck judge saved evidence, and keep its report beside it."""
    done = _radiocheck(*_question(evidence), "--format", "json")
    answer: dict[str, Any] = {"code": done.returncode, "error": done.stderr}
    if done.returncode != 2:
        answer["report"] = json.loads(done.stdout)
        evidence.with_suffix(".report.json").write_text(done.stdout, encoding="utf-8")
    return answer


def write_texts(share: Path) -> None:
    """Write the text report of each scenario beside its evidence, once nobody waits any more."""
    for report in sorted(share.glob("evidence/*.report.json")):
        evidence = report.with_name(report.name.replace(".report", ""))
        text = _radiocheck(*_question(evidence)).stdout
        evidence.with_suffix(".txt").write_text(text, encoding="utf-8")


def _question(evidence: Path) -> list[str]:
    guest = guest_of(evidence)
    return ["judge", str(evidence), *(["--guest", str(guest)] if guest else [])]


def _radiocheck(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "radiocheck", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
