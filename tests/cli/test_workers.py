"""Work on all cores."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from radiocheck.cli.workers import AHEAD, Job, cores, in_order

PIECES = [list(range(start, start + 5)) for start in range(0, 60, 5)]


def doubled(items: Sequence[int]) -> list[int]:
    """Twice each; the first takes longest, and 13 kills its process."""
    time.sleep(0.05 if items[0] == 0 else 0)
    if any(item == 13 for item in items):
        os.kill(os.getpid(), signal.SIGKILL)
    return [2 * item for item in items]


def wrong(items: Sequence[int]) -> list[int]:
    """Work with a bug."""
    raise LookupError(items[0])


def slow(items: Sequence[str]) -> list[str]:
    """Never done; says where it is worked on."""
    Path(items[0]).write_text(str(os.getpid()))
    time.sleep(60)
    return []


def lost(item: int) -> int:
    """The result of an item that a process died of."""
    return -item


def ready() -> None:
    """Nothing to prepare."""


def alive(process: int) -> bool:
    """Whether that process still runs (proc_pid_stat(5): Z is one that has ended)."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_order_is_that_of_the_work_and_a_death_costs_one_item() -> None:
    """A killed process loses only the item it died of; everything else comes, in order."""
    found = [result for results in in_order(Job(doubled, lost, ready), PIECES, 2) for result in results]
    assert found == [-item if item == 13 else 2 * item for item in range(60)]
    assert not multiprocessing.active_children()


@pytest.mark.parametrize("processes", [1, 2])
def test_little_is_handed_out_ahead(processes: int) -> None:
    """Work is taken as results are: memory does not depend on how much there is."""
    taken = 0

    def pieces() -> Iterator[list[int]]:
        nonlocal taken
        for number in range(100, 1000):
            taken += 1
            yield [number]

    results = in_order(Job(doubled, lost, ready), pieces(), processes)
    assert [next(results), next(results)] == [[200], [202]]
    assert taken <= 2 + AHEAD * processes
    results.close()
    assert not multiprocessing.active_children()


def test_a_bug_is_told_as_it_is() -> None:
    """An exception of the work reaches the caller, and no process stays."""
    with pytest.raises(LookupError):
        list(in_order(Job(wrong, lost, ready), PIECES, 2))
    assert not multiprocessing.active_children()


def test_who_wants_no_more_waits_for_nothing(tmp_path: Path) -> None:
    """Ctrl-C ends processes in the middle of their work at once."""
    file = tmp_path / "process"
    began = time.monotonic()

    def pieces() -> Iterator[list[str]]:
        yield [str(file)]
        while not file.exists() or not file.read_text():
            time.sleep(0.02)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(in_order(Job(slow, str, ready), pieces(), 2))
    process = int(file.read_text())
    while alive(process) and time.monotonic() - began < 20:
        time.sleep(0.02)
    assert time.monotonic() - began < 20


def test_cores() -> None:
    """At least one, and no more than the machine has."""
    assert 1 <= cores() <= (os.cpu_count() or 1)
