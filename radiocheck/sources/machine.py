"""The live machine, as sources may touch it: read files, list folders, run readers.

Everything that a source needs from outside comes through this record, so that a test
gives it another root, another clock or another runner instead of patching modules.
"""

from __future__ import annotations

import errno
import os
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from msgspec import Struct, field

from radiocheck.evidence.record import Gap

READ_LIMIT = 16 << 20  # bytes; no file that a source reads is honestly larger
PIECE = 64 << 10  # bytes read at a time
OUTPUT_LIMIT = 64 << 20  # bytes of one program's output
TIME_LIMIT = 15.0  # seconds for one program; a busy small machine needs some
_AT_FDCWD, _AT_EACCESS = -100, 0x200  # Linux include/uapi/linux/fcntl.h


class Ran(Struct, frozen=True):
    """A program that ended: exit status and its output."""

    code: int
    out: str
    err: str


class ToolMissing(Exception):
    """The program is not installed."""


class ToolHung(Exception):
    """The program did not end within its time limit and was killed."""


class Seen(Struct, frozen=True):
    """What one source saw: fields of `Evidence` by name, and what it could not see."""

    facts: Mapping[str, Any] = field(default_factory=dict)
    gaps: tuple[Gap, ...] = ()


def run(argv: Sequence[str], limit: float = TIME_LIMIT) -> Ran:
    """Run a reading program without a shell, in the C locale.

    Raises `ToolMissing` or `ToolHung`.  Output is decoded as UTF-8, undecodable bytes
    replaced, and cut at `OUTPUT_LIMIT`.
    """
    environment = {**os.environ, "LC_ALL": "C.UTF-8", "LANGUAGE": "", "SYSTEMD_COLORS": "0", "PAGER": "cat"}
    try:
        done = subprocess.run(
            list(argv), stdin=subprocess.DEVNULL, capture_output=True, timeout=limit, env=environment, check=False
        )
    except (FileNotFoundError, PermissionError, NotADirectoryError) as error:
        raise ToolMissing(argv[0]) from error
    except subprocess.TimeoutExpired as error:
        raise ToolHung(argv[0]) from error
    return Ran(
        done.returncode,
        done.stdout[:OUTPUT_LIMIT].decode("utf-8", "replace"),
        done.stderr[:OUTPUT_LIMIT].decode("utf-8", "replace"),
    )


def access(path: str) -> str | None:
    """Whether the kernel would let this process open a file for reading and writing.  Opens nothing.

    None: it would; else the errno's name.  A file mode that shuts the process out gives
    EACCES, the device list of its control group EPERM: Linux fs/namei.c,
    inode_permission() asks the mode first, then devcgroup_inode_permission()
    (security/device_cgroup.c, both versions of control groups).  Raises nothing: where
    the C library cannot be asked, the answer is ENOSYS.
    """
    import ctypes  # only containers ask

    try:
        library = ctypes.CDLL(None, use_errno=True)
        calls = library.faccessat, library.access
    except (OSError, AttributeError, TypeError):
        return "ENOSYS"
    name = os.fsencode(path)

    def answer(failed: int) -> str | None:
        return errno.errorcode.get(ctypes.get_errno(), "EIO") if failed else None

    said = answer(calls[0](_AT_FDCWD, name, os.R_OK | os.W_OK, _AT_EACCESS))
    if said == "EPERM" and answer(calls[0](_AT_FDCWD, b"/", os.F_OK, _AT_EACCESS)) == "EPERM":
        # An engine's old system call filter that knows no faccessat2(2) refuses it with EPERM, whatever the file.
        said = answer(calls[1](name, os.R_OK | os.W_OK))
    return said


class Machine(Struct, frozen=True):
    """Where to read (`root`), what time it is, how programs are run, who we are."""

    root: str = "/"
    now: Callable[[], float] = time.time
    run: Callable[..., Ran] = run
    access: Callable[[str], str | None] = access  # of a real path
    euid: int = field(default_factory=os.geteuid)
    user: str | None = None  # --user: the account whose rights count

    def path(self, path: str) -> str:
        """The path below this machine's root."""
        return path if self.root == "/" else os.path.join(self.root, path.lstrip("/"))

    def read_bytes(self, path: str) -> bytes:
        """The file's content, at most `READ_LIMIT` bytes.  Raises `OSError`."""
        with open(self.path(path), "rb", buffering=0) as file:
            parts: list[bytes] = []
            left = READ_LIMIT
            # In small pieces: /proc/sys refuses one large read with ENOMEM (fs/proc/proc_sysctl.c).
            while left > 0 and (part := file.read(min(left, PIECE))):
                parts.append(part)
                left -= len(part)
            return b"".join(parts)

    def read(self, path: str) -> str:
        """The file's text without the trailing newline.  Raises `OSError`."""
        return self.read_bytes(path).decode("utf-8", "replace").rstrip("\n")

    def attribute(self, path: str) -> str | None:
        """A small file's text; None when it does not exist or goes away while being read.

        Other errors (denied, input/output) are raised as `OSError`.
        """
        try:
            return self.read(path)
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            if error.errno in (19, 6):  # ENODEV, ENXIO: the device left while we read
                return None
            raise

    def names(self, path: str) -> list[str]:
        """Sorted names in a folder; empty when there is none.  Raises `OSError` else."""
        try:
            return sorted(os.listdir(self.path(path)))
        except (FileNotFoundError, NotADirectoryError):
            return []

    def target(self, path: str) -> str | None:
        """The last part of what a link points to; None when there is no such link."""
        try:
            return os.path.basename(os.readlink(self.path(path)))
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            if error.errno == 22:  # EINVAL: not a link
                return None
            raise

    def exists(self, path: str) -> bool:
        """Whether there is anything at that path (a dangling link counts)."""
        return os.path.lexists(self.path(path))


def refused(what: str, error: OSError, provide: str = "run as root") -> Gap:
    """The gap for a file that the system would not let us read."""
    why = "denied" if error.errno in (1, 13) else "failed"
    return Gap(what=what, why=why, detail=os.strerror(error.errno or 0), provide=provide if why == "denied" else "")


def decoded(name: str) -> str:
    """A file name or link text of the system as text that can be saved and printed.

    Python carries undecodable bytes of names as lone surrogates, which no JSON or UTF-8
    writer takes; they become U+FFFD.  For records only: the system knows the raw name.
    """
    return os.fsencode(name).decode("utf-8", "replace")
