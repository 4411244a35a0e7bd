"""Pastes about VMs that look alike: what is broken in one is innocent in the other."""

from __future__ import annotations

import pytest

from radiocheck.chain.rules import load, shipped
from radiocheck.cli.judging import answer

RULES = load([shipped()])


def found(text: str) -> set[str]:
    """The breaks and strains that a paste gives, by rule."""
    report = answer(text.encode(), "paste", RULES, reasons=False).report
    return {
        one.rule for chain in report.chains for step in chain.steps for one in step.findings if one.result == "found"
    }


def hostdev(ids: str, number: str = "", alias: bool = False) -> str:
    """A <hostdev> by IDs, as `virsh dumpxml` prints it; with an alias it is a running VM's."""
    vid, _, pid = ids.partition(":")
    bus, _, device = number.partition(":")
    return (
        "<hostdev mode='subsystem' type='usb' managed='yes'>\n  <source>\n"
        f"    <vendor id='0x{vid}'/>\n    <product id='0x{pid}'/>\n"
        + (f"    <address bus='{bus}' device='{device}'/>\n" if number else "")
        + "  </source>\n"
        + ("  <alias name='hostdev0'/>\n" if alias else "")
        + "</hostdev>\n"
    )


def log(*words: str) -> str:
    """Lines of a kernel log, one second apart, after a prompt."""
    return "# dmesg\n" + "".join(f"[ {100 + at}.000000] {one}\n" for at, one in enumerate(words)) + "\n"


LEFT = "usb 1-3: USB disconnect, device number 5"


def came(ids: str, number: int = 8, product: str = "Lindenhof meter") -> tuple[str, ...]:
    """A device comes to the port 1-3."""
    vid, _, pid = ids.partition(":")
    return (
        f"usb 1-3: new full-speed USB device number {number} using xhci_hcd",
        f"usb 1-3: New USB device found, idVendor={vid}, idProduct={pid}, bcdDevice= 1.00",
        f"usb 1-3: Product: {product}",
    )


@pytest.mark.parametrize("driver", ["pl2303", None])
def test_replugged_under_a_running_vm(driver: str | None) -> None:
    """The XML of the running VM has the number of before, and the host's log the replug; who has it now or not."""
    taken = (f"{driver} 1-3:1.0: {driver} converter detected", f"usb 1-3: {driver} converter now attached to ttyUSB0")
    text = hostdev("067b:2303", "1:5", alias=True) + log(LEFT, *came("067b:2303"), *(taken if driver else ()))
    assert "lost-by-replug" in found(text)


@pytest.mark.parametrize(
    "text",
    [
        hostdev("067b:2303", "1:8", alias=True) + log(LEFT, *came("067b:2303")),  # attached anew since
        hostdev("067b:2303", "1:5") + log(LEFT, *came("067b:2303")),  # a file: it tells of no running VM
        hostdev("067b:2303") + log(LEFT, *came("067b:2303")),
    ],
)
def test_no_replug_that_a_vm_missed(text: str) -> None:
    """The number of now, a file that somebody wrote, IDs alone."""
    assert "lost-by-replug" not in found(text)


@pytest.mark.parametrize(
    "text",
    [
        hostdev("1209:5740") + log(LEFT, *came("1209:5741")),  # the same maker
        hostdev("1209:5740", "1:5", alias=True) + log(LEFT, *came("0483:df11")),  # the chip's own boot loader
        hostdev("1209:5740") + log(*came("1209:5740", 5), LEFT, *came("1d50:6089", product="Board in DFU mode")),
    ],
)
def test_a_device_that_turned_into_another(text: str) -> None:
    """A modem that is switched over, boards in their boot loader."""
    assert "asks-for-former-ids" in found(text)


@pytest.mark.parametrize(
    "text",
    [
        hostdev("1209:5740") + log(*came("1209:5740", 5), LEFT, *came("046d:c077", product="Optical Mouse")),
        hostdev("1209:5740") + hostdev("1209:5741") + log(LEFT, *came("1209:5741")),  # both are asked for
        hostdev("1209:5740") + log(LEFT, *came("1209:5740")),
        hostdev("1209:5740") + log(LEFT),
        log(LEFT, *came("0483:df11")),  # no VM
    ],
)
def test_what_did_not_turn_into_another(text: str) -> None:
    """A mouse in the same socket, a VM that asks for both, the same again, nothing, and no VM at all."""
    assert "asks-for-former-ids" not in found(text)


QEMU = "$ cat run.sh\nqemu-system-x86_64 -m 2G -device qemu-xhci -device usb-host,{} -hda x.img\n"
CABLE = "$ lsusb | grep 0403\nBus 003 Device 009: ID 0403:6014 Future Technology Devices International, Ltd FT232H\n"


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        ("vendorid=0403,productid=6014", True),
        ("vendorid=0x0403,productid=6014", True),
        ("vendorid=0x0403,productid=0x6014", False),
        ("vendorid=0x0103,productid=0x177e", True),  # nobody can tell it from the first, and nothing has these IDs
        ("vendorid=0x1209,productid=0x7a01", False),
        ("hostbus=3,hostaddr=9", False),
    ],
)
def test_ids_without_0x(words: str, wrong: bool) -> None:
    """Read as C's numbers they are others."""
    assert ("ids-without-0x" in found(QEMU.format(words) + CABLE)) is wrong


def test_ids_that_are_no_numbers() -> None:
    """QEMU refuses letters, whether its command is shown or not."""
    said = "qemu-system-x86_64: -device usb-host,vendorid=10c4,productid=ea60: Parameter 'productid' expects integer\n"
    listed = "$ lsusb | grep CP\nBus 001 Device 004: ID 10c4:ea60 Silicon Labs CP210x UART Bridge\n"
    typed = QEMU.format("vendorid=10c4,productid=ea60")
    assert found(said + listed) == {"ids-without-0x"}
    assert found(typed + said + listed) == {"ids-without-0x"}


ATTACHED = "# virsh attach-device hearth meter.xml {}\nDevice attached successfully\n\n"
SHOWN = "# cat meter.xml\n" + hostdev("1209:7a01") + "# lsusb\nBus 002 Device 003: ID 1209:7a01 Lindenhof meter\n"
NONE = "# virsh dumpxml hearth | grep -c hostdev\n0\n"
STARTED = "# virsh start hearth\nDomain 'hearth' started\n\n"


@pytest.mark.parametrize(
    ("text", "lost"),
    [
        (ATTACHED.format("--live") + STARTED + NONE + SHOWN, True),
        (ATTACHED.format("") + STARTED + NONE + SHOWN, True),
        (ATTACHED.format("--config") + STARTED + NONE + SHOWN, False),
        (STARTED + ATTACHED.format("--live") + SHOWN, False),
        (ATTACHED.format("--live") + STARTED + SHOWN, False),  # what the VM has now is not shown
    ],
)
def test_attached_to_an_earlier_run(text: str, lost: bool) -> None:
    """Attached without --config, started anew since, and seen to be without it."""
    assert ("attached-to-an-earlier-run" in found(text)) is lost


READER = "0bda:0129 Realtek Semiconductor Corp. RTS5129 Card Reader Controller"
SMART = "076b:3021 OmniKey AG CardMan 3021 SmartCard reader"


@pytest.mark.parametrize(
    ("device", "other", "wrong"), [(READER, True, True), (READER, False, False), (SMART, True, False)]
)
def test_a_number_that_a_card_reader_has(device: str, other: bool, wrong: bool) -> None:
    """No VM is given a reader of memory cards; one of chip cards is, and without an adapter none was meant."""
    xml = hostdev("0000:0000", "2:4").replace("    <vendor id='0x0000'/>\n    <product id='0x0000'/>\n", "")
    port = "Bus 002 Device 003: ID 0483:5740 STMicroelectronics Virtual COM Port\n$ ls /dev/ttyACM*\n/dev/ttyACM0\n"
    assert ("address-picks-another" in found(f"{xml}$ lsusb\nBus 002 Device 004: ID {device}\n{port * other}")) is wrong


GONE = "red_channel_client_disconnect: rcc=0x55d0c43a2270 (channel=0x55d0c3b0f260 type=9 id=0)\n"
BACK = (
    "usb 3-9: reset full-speed USB device number 7 using xhci_hcd",
    "cp210x 3-9:1.0: cp210x converter detected",
    "usb 3-9: cp210x converter now attached to ttyUSB0",
)
ROOM = (
    "# virsh dumpxml hearth | grep -E 'redirdev|hostdev'\n    <redirdev bus='usb' type='spicevmc'>\n    </redirdev>\n"
)


@pytest.mark.parametrize(
    ("text", "ended"),
    [
        (GONE + log(*BACK) + ROOM, True),
        (log(*BACK) + ROOM, False),
        (GONE + log(*BACK), False),  # what the VM is configured to have is not shown
        (GONE + log(*came("10c4:ea60"), *BACK[1:]) + ROOM, False),  # plugged in, and not given back
    ],
)
def test_a_viewer_that_is_gone(text: str, ended: bool) -> None:
    """Its channels close with every viewer; only what goes back to the host's driver then was redirected."""
    assert ("redirection-ended" in found(text)) is ended
