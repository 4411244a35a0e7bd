"""What a refused start tells of the VM's configuration, and what is concluded from it."""

from __future__ import annotations

import pytest
from msgspec import structs

from radiocheck.chain.items import items
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.evidence.absent import known
from radiocheck.pastes.merge import read

RULES = load([shipped()])
START = "error: Failed to start domain 'hearth'\n"
# libvirt, src/hypervisor/virhostdev.c and src/util/virusb.c; QEMU, hw/usb/host-libusb.c, hw/usb/bus.c, hw/vfio
SAID = {
    "not-found-at-start": (START + "error: internal error: Did not find USB device 1209:7a01\n", "bus"),
    "number-not-found-at-start": (
        START + "error: internal error: Did not find USB device bus:3 device:7\n",
        "assignment",
    ),
    "used-by-other-vm-at-start": (
        START + "error: Requested operation is not valid: USB device 001:005 is in use by driver QEMU, domain attic\n",
        "assignment",
    ),
    "several-alike-at-start": (
        START + "error: operation failed: Multiple USB devices for 1209:7a01, use <address> to specify one\n",
        "assignment",
    ),
    "no-virtual-port-at-start": (
        "qemu-system-x86_64: -device usb-host,vendorid=0x1209,productid=0x7a01: No 'usb-bus' bus found for device "
        "'usb-host'\n",
        "assignment",
    ),
    "group-not-viable-at-start": (
        "qemu-system-x86_64: -device vfio-pci,host=00:14.0: vfio 0000:00:14.0: group 5 is not viable\n",
        "assignment",
    ),
    "hypervisor-was-refused": (
        "qemu-system-x86_64: -device usb-host,hostbus=3,hostaddr=4: failed to open /dev/bus/usb/003/004: "
        "Permission denied\n",
        "access",
    ),
}


@pytest.mark.parametrize("rule", SAID)
def test_the_refusal_alone_is_enough(rule: str) -> None:
    """Each refusal names its step by itself, with nothing else in the paste."""
    text, step = SAID[rule]
    report = judge(read(text.encode()).evidence, RULES)
    assert (report.verdict.state, report.verdict.step) == ("broken", step)
    found = {
        one.rule for each in report.chains for part in each.steps for one in part.findings if one.result == "found"
    }
    assert rule in found


def test_the_other_vm_is_not_the_refused_one() -> None:
    """`in use by … domain attic` is said to hearth, which asks for it."""
    given = read(SAID["used-by-other-vm-at-start"][0].encode()).evidence.given_vms
    assert known(given)
    assert [one.name for one in given] == ["hearth"]


def test_a_fragment_gets_the_name_of_the_refused_vm() -> None:
    """A <hostdev> without its domain, beside one VM's error, is that VM's."""
    text = SAID["not-found-at-start"][0] + (
        "<hostdev mode='subsystem' type='usb'>\n<source>\n<vendor id='0x1209'/>\n<product id='0x7a01'/>\n"
        "</source>\n</hostdev>\n"
    )
    given = read(text.encode()).evidence.given_vms
    assert known(given)
    assert [one.name for one in given] == ["hearth"]


def test_another_chip_in_the_list_blames_the_configuration() -> None:
    """Where the list of devices shows an adapter that nobody asks for, the IDs are wrong and not the bus."""
    text = SAID["not-found-at-start"][0] + (
        "$ lsusb\n"
        "Bus 001 Device 005: ID 10c4:ea60 Silicon Labs CP210x UART Bridge\n"
        "Bus 001 Device 001: ID 1d6b:0002 Linux Foundation 2.0 root hub\n"
    )
    report = judge(read(text.encode()).evidence, RULES)
    assert (report.verdict.state, report.verdict.step) == ("broken", "assignment")


@pytest.mark.parametrize("bus", ["usb.0", "xhci.0", "", "\u0663"])
def test_names_of_virtual_buses_are_no_numbers(bus: str) -> None:
    """A bus that QEMU named is not taken for one of the host."""
    text = (
        f'qemu-system-x86_64: Warning: speed mismatch trying to attach usb device "LTE" (high speed) to bus "{bus}", '
        'port "1" (full speed)\n'
    )
    assert read(text.encode()).evidence is not None


@pytest.mark.parametrize(
    "text",
    [
        "qemu-system-x86_64: failed to open /dev/bus/usb/003/004: Permission denied\n",
        'kernel: audit: type=1400 audit(1724955641.318:219): apparmor="DENIED" operation="open" '
        'profile="libvirt-7c2a60b5-1fd6-4a55-9a4e-0d2f0c7a6f11" name="/dev/bus/usb/003/004" pid=18820 '
        'comm="qemu-system-x86" requested_mask="wr" denied_mask="wr"\n',
    ],
)
def test_a_node_in_an_error_is_no_number_in_a_configuration(text: str) -> None:
    """It is where QEMU found the device, whatever it was told to look for."""
    evidence = read(text.encode()).evidence
    assert known(evidence.given_vms)
    assert [line.node for one in evidence.given_vms for line in one.arguments] == ["/dev/bus/usb/003/004"]
    (item,) = items(evidence)
    assert item.selector == "node"
    assert not item.pinned
    own = structs.replace(evidence, given_vms=[structs.replace(one, origin="paste") for one in evidence.given_vms])
    assert [one.pinned for one in items(own)] == [True]
