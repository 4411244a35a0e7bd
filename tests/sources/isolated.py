"""Programs that write to /run and /dev, run where nothing of it stays."""

from __future__ import annotations

import os
import subprocess

import pytest

from .umock import REPOSITORY

# A /run and a /dev of its own, so that udevadm(8) leaves no trace on this machine
_OWN_FOLDERS = """set -e
mount -t tmpfs none /run
mkdir -p /run/dev/pts /run/udev/rules.d
mount --bind /dev/pts /run/dev/pts
for node in "null 1 3" "zero 1 5" "urandom 1 9" "ptmx 5 2" "tty 5 0"; do
  set -- $node; mknod -m 666 /run/dev/$1 c $2 $3
done
mount --rbind /run/dev /dev
"""


def isolated(script: str) -> str:
    """What a shell script prints in a mount namespace with its own /run and /dev."""
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", _OWN_FOLDERS + script],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY), "LC_ALL": "C.UTF-8"},
        check=False,
    )
    if done.returncode and "unshare failed" in done.stderr:
        pytest.skip("mount namespaces are not allowed here")
    assert done.returncode == 0, done.stderr
    return done.stdout
