"""Writing a file completely or not at all."""

from __future__ import annotations

import errno
import os
import stat

from .status import Unusable

MODE = 0o600  # evidence names accounts and serial numbers


def may_save(file: str, replace: bool) -> None:
    """Complain before the work is done about what cannot be saved to.  Raises `Unusable`."""
    try:
        found = os.lstat(file)
    except FileNotFoundError:
        folder = os.path.dirname(file) or "."
        if not os.path.isdir(folder):
            raise Unusable(f"{file}: there is no folder {folder}") from None
        return
    except OSError as error:
        raise Unusable(f"{file}: cannot be written: {error.strerror}") from None
    except ValueError:
        raise Unusable(f"{file}: is no file name") from None
    if not stat.S_ISREG(found.st_mode):
        raise Unusable(f"{file}: is not a regular file; name a new file, or - for standard output")
    if not replace:
        raise Unusable(_exists(file))


def save_file(file: str, data: bytes, replace: bool) -> None:
    """Write the file beside its place, then put it there in one move.  Raises `Unusable`.

    Without `replace` a file that appeared meanwhile is kept and nothing is written.
    """
    part = os.path.join(os.path.dirname(file), f".radiocheck-{os.getpid()}.part")
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, MODE)
        try:
            with os.fdopen(descriptor, "wb") as opened:
                opened.write(data)
                opened.flush()
                os.fsync(opened.fileno())
            _put(part, file, replace)
        finally:
            if os.path.lexists(part):
                os.unlink(part)
    except FileExistsError as error:
        raise Unusable(_exists(file if error.filename2 else part)) from None
    except OSError as error:
        raise Unusable(f"{file}: cannot be written: {error.strerror}") from None


def _put(part: str, file: str, replace: bool) -> None:
    if replace:
        os.replace(part, file)
        return
    try:
        os.link(part, file)  # unlike a rename, it fails when there is such a file
    except OSError as error:
        if error.errno not in (errno.EPERM, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK):
            raise
        if os.path.lexists(file):  # a file system without hard links (vfat)
            raise Unusable(_exists(file)) from None
        os.rename(part, file)


def _exists(file: str) -> str:
    return f"{file}: exists; name another file, or add --replace"
