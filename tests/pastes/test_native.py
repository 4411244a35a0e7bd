"""On which machine a paste was made, by its words and its programs."""

from __future__ import annotations

import pytest

from radiocheck.pastes.merge import read

REFUSED = "PermissionError: [Errno 13] Permission denied: '/dev/ttyUSB0'\n"
ATTACHED = "[ 1433.366841] usb 1-3: ch341-uart converter now attached to ttyUSB0\n"


@pytest.mark.parametrize(
    ("text", "where"),
    [
        (ATTACHED, "native"),
        ("It runs in a docker container.\n" + REFUSED, "native"),
        ("This is for my VM.\n" + REFUSED, "native"),  # the port is on the machine that refused it
        ("This is for my VM.\n" + ATTACHED, None),
        ("dmesg in the guest:\n" + ATTACHED, "guest"),
        ("From inside the VM:\n" + ATTACHED, "guest"),
        ("Im Gast:\n" + ATTACHED, "guest"),
        ("guest:\n" + ATTACHED + "host:\n" + ATTACHED, None),
        ("On the host I see\n" + ATTACHED + "but nothing in the VM\n", None),
        ("(remote-viewer:2): usbredir: Error opening host USB device: Access denied\n" + ATTACHED, "native"),
        ("$ systemd-detect-virt\nkvm\n" + ATTACHED, "guest"),
        ("[    0.000000] Hypervisor detected: none\n" + ATTACHED, "native"),
        ("error: internal error: Did not find USB device 1209:7a01\n" + ATTACHED, None),
    ],
)
def test_where(text: str, where: str | None) -> None:
    """VM words alone leave it open; words about the guest, a program's failure or nothing of VMs settle it."""
    assert read(text.encode()).frame.where == where


def test_a_guest_is_judged_as_one() -> None:
    """What is wrong in the VM is a matter of the step `guest`."""
    from radiocheck.chain.judge import judge
    from radiocheck.chain.rules import load, shipped

    text = "In the guest:\n$ ls -l /dev/ttyUSB0\ncrw-rw---- 1 root dialout 188, 0 Nov  2 13:40 /dev/ttyUSB0\n"
    text += "$ id\nuid=1000(mira) gid=1000(mira) groups=1000(mira),4(adm)\n" + REFUSED
    report = judge(read(text.encode()).evidence, load([shipped()]))
    assert (report.verdict.state, report.verdict.step) == ("broken", "guest")
