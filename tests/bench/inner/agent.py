"""The only program of the VM inside the bench machine: it does what is asked over a virtio port.

One JSON object a line in, one out.  radiocheck is imported, and has looked round once, when
the VM is saved: a restored one finds it in memory, as the code of a program that was used.
"""

import gc
import glob
import json
import os
import subprocess
import time
import traceback
from pathlib import Path
from typing import Any

import pyudev

from radiocheck.cli.main import run
from radiocheck.sources.machine import Machine
from radiocheck.sources.probe import probe

PORT = "/dev/virtio-ports/bench.agent"
CAPTURE = Path("/run/capture.json")


def shell(line: str) -> dict[str, Any]:
    """Run a shell line; what it prints and its status."""
    done = subprocess.run(
        ["/bin/sh", "-c", line],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return {"code": done.returncode, "out": done.stdout}


def scan() -> dict[str, Any]:
    """Find the USB controller that was not there when the VM was saved, as at a boot, and what hangs on it."""
    Path("/sys/bus/pci/rescan").write_text("1")
    end = time.monotonic() + 30
    while time.monotonic() < end:
        time.sleep(0.5)
        # An interface of anything but a root hub, and all its events done.
        interfaces = [name for name in glob.glob("/sys/bus/usb/devices/*:*") if "-0:" not in name]
        if interfaces and not os.path.exists("/run/udev/queue"):
            return {"code": 0, "out": " ".join(interfaces)}
    return {"code": 1, "out": "no device came"}


def capture(user: str) -> dict[str, Any]:
    """Capture as root, with that person's rights in question."""
    code = run(["capture", str(CAPTURE), "--user", user, "--replace"])
    return {"code": code, "out": CAPTURE.read_text(encoding="utf-8") if not code else ""}


def answer(question: dict[str, Any]) -> dict[str, Any]:
    """Do one thing."""
    # A restored VM believes that it is still the moment at which it was saved.
    time.clock_settime(time.CLOCK_REALTIME, question["now"])
    if "shell" in question:
        return shell(question["shell"])
    return scan() if "scan" in question else capture(question["capture"])


def warm_up() -> None:
    """Do once what every capture does, and leave free memory as zeros, which are not saved."""
    probe(Machine(user="mira"))
    # Left out for want of an adapter.
    list(pyudev.Context().list_devices(subsystem="tty"))
    # As on the machine around it: the log is short, and begins with the boot.
    log = subprocess.run(["/usr/bin/dmesg", "--notime", "--read-clear"], capture_output=True, text=True, check=True)
    Path("/dev/kmsg").write_text(next(line for line in log.stdout.splitlines() if line.startswith("Linux version")))
    gc.freeze()
    Path("/proc/sys/vm/drop_caches").write_text("3")
    free = os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    with open("/zeros", "wb") as zeros:
        for _ in range((free >> 20) - 8):
            zeros.write(bytes(1 << 20))
    os.unlink("/zeros")


def main() -> None:
    """Say that all is up, then serve for ever."""
    warm_up()
    with open(PORT, "r+b", buffering=0) as port:
        port.write(b'{"ready": true}\n')
        line = b""
        while True:
            # Nothing comes while nobody is connected at the other end.
            line += port.read(65536) or b""
            if not line.endswith(b"\n"):
                time.sleep(0.05)
                continue
            try:
                said = answer(json.loads(line))
            except Exception:
                said = {"code": 70, "out": traceback.format_exc()}
            port.write(json.dumps(said).encode() + b"\n")
            line = b""


if __name__ == "__main__":
    main()
