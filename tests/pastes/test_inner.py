"""A paste of two machines: the VM's part is judged when the trouble is there, and the host shows none."""

from __future__ import annotations

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.pastes.merge import read

RULES = load([shipped()])
HOST = """root@gable:~# virsh list
 Id   Name     State
------------------------
 4    hearth   running

root@gable:~# dmesg | tail -3
[ 81.10] cp210x ttyUSB0: cp210x converter now disconnected from ttyUSB0
[ 81.11] cp210x 3-2:1.0: device disconnected
[ 81.61] usb 3-2: reset full-speed USB device number 4 using xhci_hcd
"""
SEEN = """mira@hearth:~$ lsusb
Bus 002 Device 001: ID 1d6b:0003 Linux Foundation 3.0 root hub
Bus 001 Device 003: ID 10c4:ea60 Silicon Labs CP210x UART Bridge
Bus 001 Device 001: ID 1d6b:0002 Linux Foundation 2.0 root hub
"""
LACKS = """mira@hearth:~$ sudo modprobe cp210x
modprobe: FATAL: Module cp210x not found in directory /lib/modules/6.1.0-22-cloud-amd64
"""
DENIED = """mira@hearth:~$ cat /dev/ttyUSB0
cat: /dev/ttyUSB0: Permission denied
mira@hearth:~$ ls -l /dev/ttyUSB0
crw-rw---- 1 root dialout 188, 0 Mar 12 16:20 /dev/ttyUSB0
mira@hearth:~$ id
uid=1000(mira) gid=1000(mira) groups=1000(mira),27(sudo)
"""
ERROR_71 = (
    "[ 99.10] usb 3-2: device descriptor read/64, error -71\n[ 99.90] usb usb3-port2: unable to enumerate USB device\n"
)
FAILED = """root@gable:~# virsh attach-device hearth a.xml
error: Failed to attach device from a.xml
error: operation failed: Did not find USB device 10c4:ea60
"""


def verdict(text: str) -> str:
    """State and step."""
    said = judge(read(text.encode(), now=0.0).evidence, RULES).verdict
    return f"{said.state}:{said.step}" if said.step else said.state


@pytest.mark.parametrize("inner", [SEEN + LACKS, DENIED])
def test_trouble_in_the_vm(inner: str) -> None:
    """A small kernel without the driver, or an account without the group; the host only hands the adapter over."""
    assert verdict(HOST + inner) == "broken:guest"


@pytest.mark.parametrize("trouble", [ERROR_71, FAILED])
def test_trouble_on_the_host_comes_first(trouble: str) -> None:
    """What the VM lacks may follow from it."""
    assert verdict(HOST + trouble + SEEN + LACKS) != "broken:guest"


@pytest.mark.parametrize(
    "inner",
    [
        SEEN,
        LACKS,  # and no device to need it
        SEEN
        + LACKS
        + "mira@hearth:~$ ls -l /dev/ttyUSB0\ncrw-rw---- 1 root dialout 188, 0 Mar 12 16:20 /dev/ttyUSB0\n",
        SEEN + LACKS.replace("cp210x", "nvidia"),
        SEEN + "mira@hearth:~$ cat /etc/shadow\ncat: /etc/shadow: Permission denied\n",
    ],
)
def test_nothing_wrong_in_the_vm(inner: str) -> None:
    """A port that is there needs no module, and other programs' troubles are none of the adapter's."""
    assert "broken" not in verdict(HOST + inner)
