"""Run code under umockdev: sysfs, /dev and libudev then show a described machine.

A testbed is a text file in the format of umockdev-record(1), kept in `testbeds/`:

* `gable`: a sound host: xHCI with two root hubs that are peers, hub, adapter, SuperSpeed disk
* `refused`: another controller with an unconfigured device, an unauthorised one and a stuck port
* `platform`: a CDC ACM adapter on a virtual controller, its port as before Linux 6.0
* `given`: a controller that vfio-pci has
* `disks`: a SATA disk and a USB disk, each with a partition, and a device-mapper volume
* `captured-linux-6.1`: taken from a running Debian 12 kernel (QEMU's xHCI, and dummy_hcd with an
  ACM gadget), cut to the files that are read; `.lsusb` is what lsusb printed there and then

Three ways to use one or more of them together:

* `seen_under("usb", "gable.umockdev")` runs one source in a fresh Python under
  umockdev-run(1) and returns what it saw as an `Evidence`, typed by msgspec on the way.
* `python_under("gable.umockdev", code=…)` and `under("gable.umockdev", argv=[…])` run
  any code or program (lsusb, udevadm) there and return its output.
* `with laid_out("gable.umockdev") as root: collect(Machine(root=root))` lays the same
  files out in a folder for this process, which a test may then change or take away.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import msgspec
import pytest
from msgspec import field

from radiocheck.evidence.record import Evidence
from radiocheck.sources.machine import Machine

BEDS = Path(__file__).parent / "testbeds"
REPOSITORY = Path(__file__).parents[2]
LIMIT = 60.0  # seconds for one program under a testbed

needs_umockdev = pytest.mark.skipif(
    shutil.which("umockdev-run") is None, reason="umockdev-run is absent (Debian package umockdev)"
)

_SEEN = """
import importlib, sys
import msgspec
from radiocheck.evidence.record import FORMAT, Evidence, Taken
from radiocheck.sources.machine import Machine
seen = importlib.import_module("radiocheck.sources." + sys.argv[1]).collect(Machine())
paper = Evidence(radiocheck_evidence=FORMAT, taken=Taken(at=0, tool="test"), gaps=list(seen.gaps), **seen.facts)
sys.stdout.buffer.write(msgspec.json.encode(paper))
"""


class Eventful(Machine, frozen=True):
    """A machine that notes what is read, and on which something happens just before a file that ends so is read."""

    noted: list[str] = field(default_factory=list)
    happens: Mapping[str, Callable[[], None]] = field(default_factory=dict)

    def read_bytes(self, path: str) -> bytes:
        self.noted.append(path)
        for end, event in self.happens.items():
            if path.endswith(end):
                event()
        return super().read_bytes(path)


def refusing(number: int) -> Callable[[], None]:
    """An event for `Eventful`: the read fails with this error number."""

    def refuse() -> None:
        raise OSError(number, os.strerror(number))

    return refuse


def under(
    *beds: str | Path, argv: Sequence[str], env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """The finished run of a program under testbeds; bare names are looked up in `testbeds/`.

    The repository is on `PYTHONPATH`.  The exit status is the program's own.
    """
    return subprocess.run(
        _command(beds, argv),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
        timeout=LIMIT,
        env=_environment(env),
        check=False,
    )


def python_under(*beds: str | Path, code: str, args: Sequence[str] = (), env: Mapping[str, str] | None = None) -> str:
    """What this interpreter prints when it runs `code` under testbeds; fails the test on a traceback."""
    done = under(*beds, argv=[sys.executable, "-c", code, *args], env=env)
    assert done.returncode == 0, done.stderr
    return done.stdout


def seen_under(source: str, *beds: str | Path, env: Mapping[str, str] | None = None) -> Evidence:
    """What one source sees under testbeds, checked against the evidence's types."""
    return msgspec.json.decode(python_under(*beds, code=_SEEN, args=[source], env=env), type=Evidence)


@contextlib.contextmanager
def laid_out(*beds: str | Path) -> Iterator[str]:
    """A folder with the testbeds' `sys` and `dev`, for `Machine(root=…)`; gone at the end."""
    holder = subprocess.Popen(
        _command(beds, ["sh", "-c", 'echo "$UMOCKDEV_DIR"; cat >/dev/null']),  # cat ends when our end closes
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=_environment(None),
    )
    assert holder.stdin is not None
    assert holder.stdout is not None
    try:
        root = holder.stdout.readline().rstrip("\n")
        assert os.path.isdir(root), f"umockdev-run could not load {beds}"
        yield root
    finally:
        holder.stdin.close()
        holder.stdout.close()
        holder.wait(LIMIT)


def _command(beds: Sequence[str | Path], argv: Sequence[str]) -> list[str]:
    devices = [word for bed in beds for word in ("-d", str(BEDS / bed))]  # an absolute path stays itself
    return ["umockdev-run", *devices, "--", *argv]


def _environment(extra: Mapping[str, str] | None) -> dict[str, str]:
    path = os.pathsep.join(filter(None, (str(REPOSITORY), os.environ.get("PYTHONPATH"))))
    ours = {"PYTHONPATH": path, "LC_ALL": "C.UTF-8"}
    if os.access("/dev/shm", os.W_OK):
        ours["TMPDIR"] = "/dev/shm"  # hundreds of small files: in memory twenty times as fast as on a busy disk
    return {**os.environ, **ours, **(extra or {})}
