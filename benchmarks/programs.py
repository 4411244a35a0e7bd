"""Running programs with their wall time, processor time and peak memory.

Also a program of its own: `python programs.py ORDER` carries out an order (JSON, see
`Order`) and prints the `Run`s.  In that form it works below umockdev-run(1), whose own
start therefore counts for neither side.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import resource
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
import venv
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parent.parent
WORKED = (0, 1, 3, 4)  # verdicts of radiocheck; lsusb says 1 when a device does not answer
PR_SET_CHILD_SUBREAPER = 36  # Linux include/uapi/linux/prctl.h
Order = Mapping[str, Sequence[Sequence[str]]]  # a name, and the programs that it runs one after the other


class Run(NamedTuple):
    """What one name cost: sums of its programs' times in ms, and the largest peak memory in MB."""

    wall: float
    processor: float
    memory: float


@contextlib.contextmanager
def installed() -> Iterator[Path]:
    """The folder with the programs of a new environment that has a wheel of this tree, as a person would have it.

    An editable install would not do: it finds its modules another way and reads the
    rules from their sources.  Libraries are those of the present environment.
    """
    with tempfile.TemporaryDirectory(prefix="radiocheck-benchmark-") as folder:
        venv.create(folder, with_pip=False)
        programs, libraries = Path(folder, "bin"), next(Path(folder).glob("lib/python3*/site-packages"))
        (libraries / "present.pth").write_text(sysconfig.get_path("purelib") + "\n")
        options = ["--quiet", "--no-deps", "--no-index", "--no-build-isolation", "--disable-pip-version-check"]
        _pip(["wheel", *options, "--wheel-dir", folder, str(ROOT)])
        wheel = next(Path(folder).glob("*.whl"))
        _pip(["--python", str(programs / "python"), "install", *options, str(wheel)])
        yield programs


def _pip(words: Sequence[str]) -> None:
    command = [sys.executable, "-m", "pip", *words]
    if subprocess.run(command, stdin=subprocess.DEVNULL, env=environment(), check=False).returncode:
        raise SystemExit(f"cannot build and install a wheel here: {shlex.join(command)}")


def environment() -> dict[str, str]:
    """Ours, so that Python may keep its compiled files, as it may where a tool is installed."""
    left_out = ("PYTHONDONTWRITEBYTECODE", "PYTHONPATH", "PYTHONUNBUFFERED", "PYTHONPROFILEIMPORTTIME")
    return {name: value for name, value in os.environ.items() if name not in left_out}


def rounds(order: Order, number: int) -> dict[str, list[Run]]:
    """Every name in turn, `number` times, after one round that does not count.

    In turn, so that a change of the machine's load meets all names alike.
    """
    found: dict[str, list[Run]] = {name: [] for name in order}
    for turn in range(number + 1):
        for name, programs in order.items():
            wall = processor = 0.0
            for program in programs:
                began = time.perf_counter()
                usage = _ended(program, os.wait4(_spawn(program), 0))
                wall += time.perf_counter() - began
                processor += usage.ru_utime + usage.ru_stime
            if turn:
                found[name].append(Run(wall * 1e3, processor * 1e3, 0.0))
    for name, programs in order.items():
        memory = max(peak(program) for program in programs)
        found[name] = [run._replace(memory=memory) for run in found[name]]
    return found


def peak(program: Sequence[str]) -> float:
    """Peak resident memory of a program and of what it waits for, in MB, by wait4(2).

    The kernel counts the memory of the process that starts a program as the program's own
    peak (fs/exec.c, exec_mmap), which would be this interpreter's.  So a small shell starts
    it and leaves; what is orphaned then comes to us (prctl(2), child subreaper).
    """
    ctypes.CDLL(None).prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0)
    shell = _spawn(["/bin/sh", "-c", f"{shlex.join(program)} &"])
    os.waitpid(shell, 0)
    return _ended(program, os.wait4(-1, 0)).ru_maxrss / 1024


def below(testbeds: Sequence[Path], order: Order, number: int, scratch: str) -> dict[str, list[Run]]:
    """`rounds` on the machine that these descriptions show, which is made in the folder `scratch`."""
    own = [sys.executable, __file__, json.dumps({"order": order, "rounds": number})]
    env = {**environment(), "TMPDIR": scratch}
    ran = subprocess.run(umockdev(testbeds, own), check=False, stdout=subprocess.PIPE, env=env)
    if ran.returncode:
        raise SystemExit("the programs could not be measured below umockdev-run")  # they said why on standard error
    said = ran.stdout
    return {name: [Run(*run) for run in runs] for name, runs in json.loads(said).items()}


def umockdev(testbeds: Sequence[Path], program: Sequence[str]) -> list[str]:
    """The command that runs a program on the machine that these descriptions show."""
    return ["umockdev-run", *(word for bed in testbeds for word in ("-d", str(bed))), "--", *program]


def missing(*names: str) -> list[str]:
    """Those of the programs that are not installed."""
    return [name for name in names if shutil.which(name) is None]


def _spawn(program: Sequence[str]) -> int:
    null = [(os.POSIX_SPAWN_OPEN, number, os.devnull, os.O_RDWR, 0) for number in (0, 1, 2)]
    return os.posix_spawnp(program[0], list(program), environment(), file_actions=null)


def _ended(program: Sequence[str], waited: tuple[int, int, resource.struct_rusage]) -> resource.struct_rusage:
    """What an ended program used.  Raises `SystemExit` when it did not do its work: that cost tells nothing."""
    status = os.waitstatus_to_exitcode(waited[1])
    if status not in WORKED:
        raise SystemExit(f"{shlex.join(program)} ended with status {status}")
    return waited[2]


if __name__ == "__main__":
    asked = json.loads(sys.argv[1])
    json.dump(rounds(asked["order"], asked["rounds"]), sys.stdout)
