"""Boot the VM inside the bench machine beforehand, outside of it, and save it running.

Emulation inside emulation takes minutes for a boot, and this one takes seconds.  Inside, a
scenario's QEMU continues from the saved state: the kernel, udev and Python are up, and what
is left to do is what the scenario is about.  The saved VM has no USB controller; the
restored one has one more PCI device, which its kernel finds when it looks again.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import tarfile
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.bench.guest.inner import connected
from tests.bench.image import Image
from tests.bench.inner_root import Archive

INNER = Path(__file__).resolve().parent / "inner"
FILES = ("inner.state", "inner.args")
# Seconds for the boot; it takes 20 of a processor core that is free.
PATIENCE = 600
# Where in memory the judging half would lie, which a capture does not import.
LEFT_OUT = ("cel_expr_python", "google", "bin")

# What a restored VM must be made of as well: the same machine, and devices at the same places.
# guest/domain.py says the same to libvirt.  The guest's clock counts instructions (-icount):
# by a real clock, the timer's interrupts alone would keep a processor as slow as this one busy.
MACHINE = [
    *("-uuid", "5f1b1a52-8c1e-4c7e-9e0a-3f6d1c2b7a01"),
    *("-machine", "pc-i440fx-7.2,accel=tcg", "-cpu", "qemu64", "-m", "256", "-icount", "shift=5"),
    *("-nodefaults", "-display", "none", "-no-reboot"),
    *("-chardev", "file,id=console,path=console.log", "-device", "isa-serial,chardev=console"),
    *("-chardev", "socket,id=agent,path=agent,server=on,wait=off"),
    *("-device", "virtio-serial-pci,id=ports,addr=0x03"),
    *("-device", "virtserialport,bus=ports.0,chardev=agent,name=bench.agent"),
]
# ACPI's interrupt routing alone is a minute of interpreted code inside; see README.md for the rest.
KERNEL = "console=ttyS0 quiet acpi=off mitigations=off init_on_alloc=0 panic=-1 rootfstype=ramfs"


def save(image: Image, site: Path, folder: Path) -> None:
    """Write the VM's state, and the words for QEMU that restore it, into a folder."""
    started = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="rcinner-") as name:
        work = Path(name)
        with (work / "initrd").open("wb") as out:
            # The kernel unpacks one archive after the other.
            out.write(image.inner.read_bytes())
            _write_tool(Archive(out), site)
        with _booted(image, work) as control:
            with connected(work / "agent", PATIENCE) as agent:
                # The VM's program says that all is up.
                if not agent.recv(100):
                    raise OSError("it ended")
            _migrate(control, folder / FILES[0])
    (folder / FILES[1]).write_text("\n".join(MACHINE) + "\n", encoding="utf-8")
    print(f"bench: the VM inside was booted and saved in {time.monotonic() - started:.0f} s", flush=True)


def _write_tool(archive: Archive, site: Path) -> None:
    """Add radiocheck, what it needs, and the program that serves the VM's port."""
    with tarfile.open(site) as tar:
        archive.folder("opt")
        for member in tar:
            path = member.name.removeprefix("./")
            if path.split("/")[0] in (".", *LEFT_OUT):
                continue
            name = f"usr/lib/python3/dist-packages/{path}"
            if member.isdir():
                archive.folder(name)
            elif (file := tar.extractfile(member)) is not None:
                archive.file(name, file.read(), member.mode, int(member.mtime))
    archive.file("init", (INNER / "init").read_bytes(), 0o755)
    archive.file("opt/agent.py", (INNER / "agent.py").read_bytes())
    archive.end()


@contextlib.contextmanager
def _booted(image: Image, work: Path) -> Iterator[socket.socket]:
    """Boot under the machine's own QEMU, and give out its control socket."""
    libraries = image.qemu / "usr/lib/x86_64-linux-gnu"
    share = image.qemu / "usr/share"
    command = [
        *(str(libraries / "ld-linux-x86-64.so.2"), "--library-path", f"{libraries}:{libraries}/pulseaudio"),
        *(str(image.qemu / "usr/bin/qemu-system-x86_64"), "-L", str(share / "seabios"), "-L", str(share / "qemu")),
        *MACHINE,
        *("-kernel", str(image.kernel), "-initrd", "initrd", "-append", KERNEL),
        *("-qmp", "unix:control,server=on,wait=off"),
    ]
    env = {**os.environ, "QEMU_MODULE_DIR": str(libraries / "qemu")}
    with (work / "qemu.log").open("wb") as log:
        process = subprocess.Popen(command, cwd=work, env=env, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
    try:
        with connected(work / "control", PATIENCE) as control:
            yield control
    except OSError as error:
        logs = "".join((work / name).read_text(errors="replace") for name in ("qemu.log", "console.log"))
        raise SystemExit(f"bench: the VM inside did not come up: {error}\n{logs[-3000:]}") from error
    finally:
        process.kill()
        process.wait()


def _migrate(control: socket.socket, state: Path) -> None:
    """Save the running VM.  It is not stopped first: then it would be restored stopped."""
    with control.makefile("rw", encoding="utf-8") as lines:
        _ask(lines, "qmp_capabilities")
        _ask(lines, "migrate-set-parameters", {"max-bandwidth": 1 << 40})
        _ask(lines, "migrate", {"uri": f"exec:cat >'{state}'"})
        while (status := _ask(lines, "query-migrate")["status"]) != "completed":
            if status == "failed":
                raise OSError("it could not be saved")
            time.sleep(0.1)


def _ask(lines: Any, command: str, arguments: dict[str, Any] | None = None) -> Any:
    """One command of the QEMU Machine Protocol, and its answer."""
    lines.write(json.dumps({"execute": command, **({"arguments": arguments} if arguments else {})}) + "\n")
    lines.flush()
    while True:
        said = json.loads(lines.readline())
        if "error" in said:
            raise OSError(said["error"]["desc"])
        if "return" in said:
            return said["return"]
