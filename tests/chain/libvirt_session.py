"""A real libvirt of an ordinary user, in folders of its own: it defines and edits VMs and starts none."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

NOBODY = 65534
LIMIT = 90.0  # seconds; the daemon asks QEMU what it can do when it first starts

needs_libvirt = pytest.mark.skipif(
    not all(shutil.which(tool) for tool in ("virsh", "qemu-system-x86_64", "setpriv"))
    or not any(Path(daemon).exists() for daemon in ("/usr/sbin/libvirtd", "/usr/sbin/virtqemud")),
    reason="no libvirt with QEMU (Debian packages libvirt-daemon-system, libvirt-clients, qemu-system-x86, util-linux)",
)


class Session:
    """Runs shell text as that user.  `sudo` is there and changes nobody; virsh means this session's libvirt."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.work = folder / "work"
        for name in ("run", "config", "cache", "data", "work", "bin"):
            (folder / name).mkdir()
        sudo = folder / "bin" / "sudo"
        sudo.write_text('#!/bin/sh\nexec "$@"\n')
        sudo.chmod(0o755)
        for path in (folder, *folder.rglob("*")):
            if os.geteuid() == 0:
                os.chown(path, NOBODY, NOBODY)

    def shell(self, text: str) -> subprocess.CompletedProcess[str]:
        """The finished run of some shell text, in the user's folder."""
        user = f"--reuid={NOBODY} --regid={NOBODY} --clear-groups".split() if os.geteuid() == 0 else []
        environment = {
            "PATH": f"{self.folder}/bin:/usr/sbin:/usr/bin:/sbin:/bin",
            "HOME": str(self.folder),
            "XDG_RUNTIME_DIR": f"{self.folder}/run",
            "XDG_CONFIG_HOME": f"{self.folder}/config",
            "XDG_CACHE_HOME": f"{self.folder}/cache",
            "XDG_DATA_HOME": f"{self.folder}/data",
            "LIBVIRT_DEFAULT_URI": "qemu:///session",
            "LC_ALL": "C.UTF-8",
        }
        return subprocess.run(
            ["setpriv", *user, "bash", "-c", text],
            cwd=self.work,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=LIMIT,
            check=False,
        )

    def define(self, xml: str) -> None:
        """Give libvirt a VM."""
        (self.work / "define.xml").write_text(xml)
        done = self.shell("virsh -q define define.xml")
        assert done.returncode == 0, done.stderr

    def kept(self, name: str) -> str:
        """What libvirt keeps of a VM for its next start."""
        done = self.shell(f"virsh dumpxml --inactive {name}")
        assert done.returncode == 0, done.stderr
        return done.stdout


@contextlib.contextmanager
def session() -> Iterator[Session]:
    """The session; its daemon, which virsh starts, is ended with it."""
    with tempfile.TemporaryDirectory(prefix="rc-", ignore_cleanup_errors=True) as folder:  # sockets want short paths
        one = Session(Path(folder))
        try:
            yield one
        finally:
            for file in (one.folder / "run").rglob("*d.pid"):
                with contextlib.suppress(ValueError, ProcessLookupError, OSError):
                    os.kill(int(file.read_text()), signal.SIGTERM)
