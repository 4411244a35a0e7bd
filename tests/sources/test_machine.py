"""The machine as sources touch it: what the kernel says of an access, asked of a real kernel."""

from __future__ import annotations

import errno
import os
import platform
import subprocess
import sys
from pathlib import Path

import pytest

from radiocheck.sources.machine import access

from .device_groups import python_in_group
from .umock import REPOSITORY

ASK = "import sys; from radiocheck.sources.machine import access; print([access(path) for path in sys.argv[1:]])"
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root may make device nodes and change the account")


def node(folder: Path, name: str, number: tuple[int, int], mode: int = 0o660) -> str:
    """A real character device node."""
    path = str(folder / name)
    try:
        os.mknod(path, 0o20600, os.makedev(*number))
    except PermissionError:
        pytest.skip("device nodes cannot be made here")
    os.chmod(path, mode)
    return path


def asked(*argv: str) -> str:
    """What a program prints, with the package within its reach."""
    done = subprocess.run(
        argv, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(REPOSITORY)}, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_an_allowed_file_and_a_missing_one(tmp_path: Path) -> None:
    """None: the kernel would let us; else the errno's name, also for names that are no text."""
    (tmp_path / "x").write_text("")
    assert access(str(tmp_path / "x")) is None
    assert access(str(tmp_path / "gone")) == "ENOENT"
    assert access(f"{tmp_path}/\udcff") == "ENOENT"


@needs_root
@pytest.mark.parametrize("version", [1, 2])
def test_the_device_list_gives_eperm(tmp_path: Path, version: int) -> None:
    """Linux inode_permission() asks the device list of the control group, and root is refused too (fs/namei.c)."""
    refused, allowed = node(tmp_path, "refused", (166, 7)), node(tmp_path, "allowed", (166, 8))
    assert access(refused) is None
    assert python_in_group(version, (166, 7), ASK, refused, allowed).strip() == "['EPERM', None]"


@needs_root
@pytest.mark.parametrize("version", [1, 2])
def test_opening_gives_the_same_error(tmp_path: Path, version: int) -> None:
    """What access(2) foretells is what open(2) gives: EPERM by the list, ENXIO where only the driver is missing."""
    code = (
        "import os, sys, errno\n"
        "for path in sys.argv[1:]:\n"
        "  try: os.open(path, os.O_RDWR | os.O_NONBLOCK)\n"
        "  except OSError as error: print(errno.errorcode[error.errno])\n"
    )
    paths = node(tmp_path, "refused", (166, 7)), node(tmp_path, "allowed", (166, 8))
    said = python_in_group(version, (166, 7), code, *paths).split()
    assert said[0] == "EPERM"
    assert said[1] in ("ENXIO", "ENODEV")


def as_account(uid: int, groups: list[int], path: str) -> str:
    """The answer to a process of that account; a fork, since the interpreter may be out of the account's reach."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.setgroups(groups)
            os.setgid(uid)
            os.setuid(uid)
            os.write(writing, str(access(path)).encode())
        finally:
            os._exit(0)
    os.close(writing)
    os.waitpid(child, 0)
    with open(reading) as answer:
        return answer.read()


@needs_root
def test_the_mode_gives_eacces_by_numbers() -> None:
    """The mode is asked with the process's own groups, whatever an account file says (path_resolution(7))."""
    path = node(Path("/dev/shm"), f"radiocheck-{os.getpid()}", (166, 7))
    try:
        os.chown(path, 0, 20)
        assert as_account(1000, [20], path) == "None"
        assert as_account(1000, [27], path) == "EACCES"
    finally:
        os.unlink(path)


@pytest.mark.skipif(platform.machine() != "x86_64", reason="the system call number in the filter is that of x86_64")
def test_an_old_filter_is_not_taken_for_a_device_list(tmp_path: Path) -> None:
    """Engines whose filter knew no faccessat2(2) refused it with EPERM (from memory); access(2) then tells.

    The filter: seccomp(2), number 439 gives EPERM, everything else passes.
    """
    (tmp_path / "x").write_text("")
    code = f"""
import ctypes, struct, sys
from radiocheck.sources.machine import access
steps = [(0x20, 0, 0, 0), (0x15, 0, 1, 439), (0x06, 0, 0, 0x00050000 | {errno.EPERM}), (0x06, 0, 0, 0x7FFF0000)]
text = ctypes.create_string_buffer(b"".join(struct.pack("<HBBI", *step) for step in steps))
program = ctypes.create_string_buffer(struct.pack("<HxxxxxxQ", len(steps), ctypes.addressof(text)))
library = ctypes.CDLL(None, use_errno=True)
assert library.prctl(38, 1, 0, 0, 0) == 0
if library.prctl(22, 2, program):
    print("no filters here")
else:
    blocked = library.syscall(439, -100, b"/", 0, 0x200)
    print(blocked, ctypes.get_errno(), access(sys.argv[1]), access("/nowhere"))
"""
    said = asked(sys.executable, "-c", code, str(tmp_path / "x"))
    if said == "no filters here":
        pytest.skip("the kernel takes no system call filter here")
    assert said == f"-1 {errno.EPERM} None ENOENT"
