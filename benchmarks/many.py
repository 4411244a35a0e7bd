"""`radiocheck judge DIR` with many cases: cases per second and core, scaling with cores, memory by their number."""

from __future__ import annotations

import contextlib
import os
import re
import resource
import statistics
import subprocess
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from radiocheck.cli.many import WORTH

from .captures import captures
from .figures import Target, machine, show, told
from .memory import SERIAL
from .programs import environment, installed

START, NUMBER, MANY = 200, 1000, 4000  # the rate is that between the first two: without the start
ROUNDS = 3
FAIR = 1.25  # what a case may cost on all cores over what it costs on one: the hand-over, and shared memory and clock
LIMIT = 1.05  # "constant": what an allocator may keep back
SAMPLED = 0.1  # s between two looks at the memory
PEAK = re.compile(r"^VmHWM:\s+(\d+) kB", re.M)


class Judged(NamedTuple):
    """What judging a folder cost: s on the clock, s of processor time (of one process), MB of memory of all."""

    wall: float
    processor: float
    memory: float


def main() -> list[Target]:
    """Measure, print, and return the claims."""
    print(machine())
    cores = min(len(os.sched_getaffinity(0)), START // WORTH)  # judging few files takes no more
    with installed() as programs, tempfile.TemporaryDirectory(prefix="radiocheck-cases-") as folder:
        radiocheck = str(programs / "radiocheck")
        start, few, many = (_written(Path(folder, str(number)), number) for number in (START, NUMBER, MANY))
        rates: dict[int, float] = {}
        for jobs in sorted({1, *(2**power for power in range(1, 10) if 2**power < cores), cores}):
            runs = [(_judge(radiocheck, start, jobs), _judge(radiocheck, few, jobs)) for _ in range(ROUNDS)]
            each = [(more.wall - less.wall) * 1e3 / (NUMBER - START) for less, more in runs]
            rates[jobs] = 1e3 / statistics.median(each)
            print(f"  {jobs} process{'es' * (jobs > 1)}: {rates[jobs]:.0f} cases/s, {rates[jobs] / jobs:.0f} a core")
            print(f"    a case more {told(each)}")
            print(f"    {START} cases   {told([less.wall * 1e3 for less, _ in runs])}, with the start")
            if jobs == 1:  # nobody waits for the processes of several, so the kernel does not tell us theirs
                processor = [(more.processor - less.processor) * 1e3 / (NUMBER - START) for less, more in runs]
                print(f"    processor   {told(processor)}")
        targets = [Target(f"a case's core time on {cores} cores over 1", rates[1] * cores / rates[cores], FAIR)]
        sizes = {number: _judge(radiocheck, place, cores).memory for number, place in ((NUMBER, few), (MANY, many))}
        for number, size in sizes.items():
            print(f"  {number} cases on {cores} cores: peak memory of all processes together {size:.1f} MB")
        targets.append(Target(f"memory with {MANY} cases over {NUMBER}", sizes[MANY] / sizes[NUMBER], LIMIT))
    for target in targets:
        show(target)
    return targets


def _written(folder: Path, number: int) -> Path:
    """A folder with that many captures, each with serial numbers of its own."""
    folder.mkdir()
    kinds = list(captures().values())
    for each in range(number):
        data = SERIAL.sub(b"\\g<1>%06d\\2" % each, kinds[each % len(kinds)])
        (folder / f"{each:05}.json").write_bytes(data)
    return folder


def _judge(radiocheck: str, folder: Path, jobs: int) -> Judged:
    """Judge a folder.  The memory is the sum of what each process had at its peak."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [radiocheck, "judge", str(folder), "--jobs", str(jobs)]
    done = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment(), start_new_session=True)
    peaks: dict[int, float] = {}
    while done.poll() is None:
        peaks |= _peaks(done.pid)
        time.sleep(SAMPLED)
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)} ended with status {done.returncode}")
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Judged(wall, processor, sum(peaks.values()))


def _peaks(session: int) -> dict[int, float]:
    """The peak resident memory in MB of each process of a session (proc_pid_status(5), VmHWM)."""
    found: dict[int, float] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):  # it ended meanwhile
            if os.getsid(int(folder.name)) == session:
                peak = PEAK.search((folder / "status").read_text())
                found |= {int(folder.name): int(peak[1]) / 1024} if peak else {}
    return found
