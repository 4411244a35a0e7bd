"""A control group whose device list refuses one number, of either version, for a child process.

Needs root and a control group tree that may be written; tests skip where it is not so.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import platform
import struct
import subprocess
import sys
from collections.abc import Iterator

import pytest

from radiocheck.sources.machine import Machine
from radiocheck.sources.mounts import mounts

from .umock import REPOSITORY

_BPF = {"x86_64": 321, "aarch64": 280}  # number of bpf(2)
_LOAD, _ATTACH, _PROGRAM_KIND, _ATTACH_KIND = 5, 8, 15, 6  # include/uapi/linux/bpf.h: …CGROUP_DEVICE


def python_in_group(version: int, refuse: tuple[int, int], code: str, *args: str) -> str:
    """What this interpreter prints in a control group that refuses the character device `refuse`."""
    with _group(version, refuse) as folder:
        enter = "import os, sys; open(sys.argv.pop(1), 'w').write(str(os.getpid()))\n"
        done = subprocess.run(
            [sys.executable, "-c", enter + code, f"{folder}/cgroup.procs", *args],
            capture_output=True,
            text=True,
            timeout=60,
            env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
            check=False,
        )
    assert done.returncode == 0, done.stderr
    return done.stdout


@contextlib.contextmanager
def _group(version: int, refuse: tuple[int, int]) -> Iterator[str]:
    parent = _tree(version)
    folder = f"{parent}/radiocheck-test-{os.getpid()}"
    try:
        os.mkdir(folder)
    except OSError as error:
        pytest.skip(f"no control group can be made in {parent}: {error.strerror}")
    try:
        (_refuse_by_list if version == 1 else _refuse_by_program)(folder, refuse)
        yield folder
    finally:
        os.rmdir(folder)


def _tree(version: int) -> str:
    """The folder of this process's own group."""
    machine = Machine()
    kind = "cgroup" if version == 1 else "cgroup2"
    tree = next(
        (one for one in mounts(machine) if one.kind == kind and (version == 2 or "devices" in one.super_options)), None
    )
    if tree is None:
        pytest.skip(f"no control group tree of version {version} with devices is mounted")
    rows = [line.split(":", 2) for line in machine.read("/proc/self/cgroup").split("\n")]
    own = next((row[2] for row in rows if ("devices" in row[1].split(",") if version == 1 else row[0] == "0")), "/")
    path = tree.point + own.removeprefix(tree.source.rstrip("/")).rstrip("/")
    return path if os.path.isdir(path) else tree.point


def _refuse_by_list(folder: str, refuse: tuple[int, int]) -> None:
    """All is denied first, then some numbers are allowed: what is left out stays refused (cgroup-v1/devices.rst)."""
    with open(f"{folder}/devices.deny", "w") as file:
        file.write("a")
    for allowed in ("c 1:* rwm", "c 5:* rwm", "c 136:* rwm", f"c {refuse[0]}:{refuse[1] + 1} rwm"):
        with open(f"{folder}/devices.allow", "w") as file:
            file.write(allowed)


def _refuse_by_program(folder: str, refuse: tuple[int, int]) -> None:
    """A program of five steps: is it this major and this minor, then 0 (refused), else 1."""

    def step(code: int, to: int = 0, source: int = 0, skip: int = 0, value: int = 0) -> bytes:
        return struct.pack("<BBhi", code, to | source << 4, skip, value)

    program = b"".join(
        [
            step(0x61, 2, 1, 4),  # r2 = context.major
            step(0x61, 3, 1, 8),  # r3 = context.minor
            step(0xB7, 0, value=1),
            step(0x55, 2, skip=2, value=refuse[0]),
            step(0x55, 3, skip=1, value=refuse[1]),
            step(0xB7, 0, value=0),
            step(0x95),
        ]
    )
    code, licence = ctypes.create_string_buffer(program), ctypes.create_string_buffer(b"GPL")
    load = struct.pack("<IIQQ", _PROGRAM_KIND, len(program) // 8, ctypes.addressof(code), ctypes.addressof(licence))
    loaded = _bpf(_LOAD, load)
    group = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        _bpf(_ATTACH, struct.pack("<IIII", group, loaded, _ATTACH_KIND, 0))
    finally:
        os.close(group)
        os.close(loaded)


def _bpf(command: int, attribute: bytes) -> int:
    if platform.machine() not in _BPF:
        pytest.skip(f"the number of bpf(2) on {platform.machine()} is not noted here")
    library = ctypes.CDLL(None, use_errno=True)
    buffer = ctypes.create_string_buffer(attribute, 128)
    result: int = library.syscall(_BPF[platform.machine()], command, buffer, 128)
    if result < 0:
        pytest.skip(f"bpf(2): {os.strerror(ctypes.get_errno())}")
    return result
