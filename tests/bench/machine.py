"""Boot the bench machine under QEMU's software emulation and wait until it has played."""

from __future__ import annotations

import contextlib
import os
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.bench.image import Image

# Kernel arguments by boot: a boot is for what cannot be switched at run time.
BOOTS: dict[str, str] = {
    "plain": "intel_iommu=on",
    "no-iommu": "intel_iommu=off",
    "crowded": "intel_iommu=on",
}


# Seconds for an orderly end after the last scenario.
POWER_OFF = 60


def qemu_command(image: Image, share: Path, sockets: Path, boot: str) -> list[str]:
    """Put together the emulated machine.

    It has three virtual USB controllers.  Scenarios plug devices into them through
    QEMU's own monitor, which the machine reaches over a virtio port.
    """
    monitor = sockets / "monitor"
    devices = [
        # An IOMMU, so that whole controllers can be passed on inside.
        "intel-iommu",
        "qemu-xhci,id=near,addr=0x05",
        "qemu-xhci,id=far,addr=0x06",
        # A controller that shares its IOMMU group with a neighbour: both behind an old bridge.
        "pcie-pci-bridge,id=oldbridge,addr=0x08",
        "qemu-xhci,id=shared,bus=oldbridge,addr=0x01",
        "virtio-rng-pci,disable-legacy=off,disable-modern=on,bus=oldbridge,addr=0x02",
        "virtio-serial-pci",
        "virtserialport,chardev=fromguest,name=bench.monitor",
    ]
    if boot == "crowded":
        devices += crowd()
    command = [
        "qemu-system-x86_64",
        *("-machine", "q35", "-accel", "tcg,thread=multi", "-cpu", "Nehalem"),
        *("-m", "2048", "-smp", "1", "-nographic", "-no-reboot", "-nodefaults"),
        *("-kernel", str(image.kernel), "-initrd", str(image.initrd)),
        *("-append", f"root=/dev/vda rw console=ttyS0 quiet mitigations=off iommu=pt {BOOTS[boot]}"),
        *("-drive", f"file={image.disk},if=virtio,format=raw,snapshot=on"),
        *("-virtfs", f"local,path={share},mount_tag=bench,security_model=none"),
        *("-serial", f"file:{share / 'console.log'}"),
        # The monitor listens on a socket, and the machine's virtio port is connected to it.
        *("-chardev", f"socket,id=monitor,path={monitor},server=on,wait=off"),
        *("-mon", "chardev=monitor,mode=control"),
        *("-chardev", f"socket,id=fromguest,path={monitor}"),
    ]
    for device in devices:
        command += ["-device", device]
    return command


def crowd() -> list[str]:
    """Devices that take all of a controller's 64 slots: hubs with hubs full of mice."""
    hubs = ["usb-hub,bus=crowd.0,port=1"] + [f"usb-hub,bus=crowd.0,port=1.{n}" for n in range(1, 8)]
    mice = [f"usb-mouse,bus=crowd.0,port=1.{n}.{m}" for n in range(1, 8) for m in range(1, 9)]
    return ["qemu-xhci,id=crowd,addr=0x07", *hubs, *mice]


@contextlib.contextmanager
def running(image: Image, share: Path, boot: str) -> Iterator[subprocess.Popen[bytes]]:
    """Boot, give the running QEMU out, and see to it that it has ended afterwards."""
    with tempfile.TemporaryDirectory(prefix="rcbench-") as sockets:
        command = qemu_command(image, share, Path(sockets), boot)
        # The temporary overlay of snapshot=on goes there as well.
        env = {**os.environ, "TMPDIR": sockets}
        with (share / "qemu.log").open("wb") as log:
            process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT, env=env)
            try:
                yield process
                process.wait(POWER_OFF)
            except subprocess.TimeoutExpired:
                print("bench: the machine did not power itself off", flush=True)
            finally:
                if process.poll() is None:
                    process.kill()
                    process.wait()
        if process.returncode:
            text = (share / "qemu.log").read_text(encoding="utf-8", errors="replace")
            print(f"bench: QEMU ended with {process.returncode}:\n{text[-3000:]}", flush=True)
