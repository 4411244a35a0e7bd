"""`lsusb`: usbutils 014 run under testbeds, 013 and 018 recorded there."""

from __future__ import annotations

import pytest

from tests.sources.umock import needs_umockdev, seen_under

from .said import printed, said, sample, typed, values

GABLE = sample("lsusb_usbutils-018_gable")
ROWS = GABLE.splitlines()


@needs_umockdev
@pytest.mark.parametrize("bed", ["gable", "refused", "platform"])
def test_the_program_lists_what_sysfs_has(bed: str) -> None:
    """Bus, number and IDs of every device that the USB source collects from the same testbed."""
    listed = {
        (one["bus"], one["devnum"], one["vid"], one["pid"]) for one in values("lsusb", printed(bed, "lsusb"), "device")
    }
    seen = seen_under("usb", f"{bed}.umockdev").usb
    assert isinstance(seen, list)
    expected = {(one.bus, one.devnum, one.vid, one.pid) for one in seen}
    # libusb finds a device by its descriptors, which this testbed has for the adapter only
    assert listed == expected or (bed == "platform" and listed < expected)


@pytest.mark.parametrize("version", ["013", "018"])
@pytest.mark.parametrize(("bed", "count"), [("gable", 6), ("refused", 3)])
def test_every_version_is_read(version: str, bed: str, count: int) -> None:
    """Older ones list from the last to the first, later ones from the first to the last."""
    found = said("lsusb", sample(f"lsusb_usbutils-{version}_{bed}"))
    assert sum(piece.kind == "device" for piece in found) == count


@pytest.mark.parametrize("version", ["013", "018"])
def test_a_list_with_all_buses_is_whole(version: str) -> None:
    """Each bus has its root hub at the end where lsusb puts it, and no number of a bus is missing."""
    (whole,) = [piece for piece in said("lsusb", sample(f"lsusb_usbutils-{version}_gable")) if piece.kind == "whole"]
    assert (whole.value, len(whole.lines)) == ("usb", 6)


@pytest.mark.parametrize(
    ("why", "text"),
    [
        ("a bus is missing", "\n".join(ROWS[3:])),
        ("lines were left out", "\n".join([*ROWS[:1], "...", *ROWS[1:]])),
        ("lines were left out inside, and each half looks whole", "\n".join([ROWS[0], "[...]", ROWS[0]])),
        ("the command chose", typed("lsusb | grep 1209", GABLE)),
        ("the command chose", typed("lsusb -d 1209:", GABLE)),
        ("the command chose", typed("lsusb -s 1:", "\n".join(ROWS[:3]))),
        ("a root hub is missing", "\n".join(ROWS[1:])),
        ("the order is no order", "\n".join([ROWS[3], *ROWS[:3], *ROWS[4:]])),
        ("another bus is named elsewhere", GABLE + "\nand before that:\nBus 003 Device 002: ID 1209:7a01 Generic\n"),
        ("nothing", "Bus 001 Device 005: ID 1209:7a01 Generic Mesh stick"),
    ],
)
def test_a_part_is_no_whole(why: str, text: str) -> None:
    """What was chosen from, cut or edited is not taken for the complete list."""
    found = said("lsusb", text)
    assert [piece for piece in found if piece.kind == "device"], why
    assert not [piece for piece in found if piece.kind == "whole"], why


def test_behind_its_command_a_list_may_lack_numbers_of_buses() -> None:
    """A controller that a VM has takes its buses along."""
    text = typed("sudo lsusb", GABLE.replace("Bus 002", "Bus 004"))
    assert values("lsusb", text, "whole") == ["usb"]


def test_two_lists_are_two_moments() -> None:
    """Before and after a replug: each is whole, and the lines tell them apart."""
    later = GABLE.replace("Device 005", "Device 006")
    text = typed("lsusb", GABLE) + typed("lsusb", later)
    first, second = [piece.lines for piece in said("lsusb", text) if piece.kind == "whole"]
    assert max(first) < min(second)
    assert [one["devnum"] for one in values("lsusb", text, "device") if one["pid"] == "7a01"] == [5, 6]


def test_hubs_are_known() -> None:
    """A root hub is usbN and a hub; another hub by the words of the ID database."""
    found = values("lsusb", "Bus 003 Device 001: ID 1d6b:0002 Linux Foundation 2.0 root hub\n"
                   "Bus 003 Device 002: ID 0409:55aa NEC Corp. Hub\n", "device")  # fmt: skip
    assert [(one.get("name"), one["device_class"]) for one in found] == [("usb3", 9), (None, 9)]


@pytest.mark.parametrize(
    "row",
    [
        "> Bus 001 Device 005: ID 1209:7a01 Generic Mesh stick",
        "   12  Bus 001 Device 005: ID 1209:7a01",
        "bus 001 device 005: id 1209:7A01 Generic",
        "I have Bus 001 Device 005: ID 1209:7a01 here",
        "| Bus 001 Device 005: ID 1209:7a01 Generic |",
        "\x1b[01;31mBus 001\x1b[0m Device 005: ID 1209:7a01",
        "Bus 001 Device 005: ID 1209:7a01",
    ],
)
def test_a_row_is_found_in_any_frame(row: str) -> None:
    """Quoted, numbered, in prose, in a table, coloured, without words."""
    (found,) = values("lsusb", row, "device")
    assert (found["bus"], found["devnum"], found["vid"], found["pid"]) == (1, 5, "1209", "7a01")


@pytest.mark.parametrize("row", ["Bus 001 Device 005: ID 1209:7a", "Bus 001 Device 005:", "Bus 1 of 3", "ID 1209:7a01"])
def test_a_row_that_was_cut_is_no_device(row: str) -> None:
    """Half of the IDs is no value."""
    assert said("lsusb", row) == []


GUEST = (
    "Bus 001 Device 002: ID 0627:0001 Adomax Technology Co., Ltd QEMU Tablet\n"
    "Bus 001 Device 001: ID 1d6b:0001 Linux Foundation 1.1 root hub\n"
)
HOST = "Bus 001 Device 003: ID 1209:7a01 Lindenhof Mesh stick\nBus 001 Device 001: ID 1d6b:0002 Linux root hub\n"


@pytest.mark.parametrize(
    "text",
    [
        f"[hearth ~]$ lsusb\n{GUEST}root@gable:~# lsusb\n{HOST}",
        f"mira@hearth:~$ lsusb\n{GUEST}mira@gable:~$ lsusb\n{HOST}",
        f"On the host:\n$ lsusb\n{HOST}\nIn the guest:\n$ lsusb\n{GUEST}",
        f"Auf dem Wirt:\n$ lsusb\n{HOST}\nIm Gast:\n$ lsusb\n{GUEST}",
        f"mira@hearth:~$ lsusb\n{GUEST}mira@gable:~$ virsh list\n",
    ],
)
def test_two_machines_have_no_whole_list(text: str) -> None:
    """A VM's list says nothing of its host's buses, and neither counts as complete."""
    assert values("lsusb", text, "whole") == []
    elsewhere = {(one["vid"], "elsewhere" in one) for one in values("lsusb", text, "device") if one["vid"] != "1d6b"}
    assert elsewhere <= {("0627", True), ("1209", False)}
    assert ("0627", True) in elsewhere


def test_one_machine_keeps_its_list() -> None:
    """Whatever it is: nobody else speaks."""
    assert values("lsusb", f"mira@hearth:~$ lsusb\n{GUEST}mira@hearth:~$ dmesg\n", "whole") == ["usb"]
    assert not any("elsewhere" in one for one in values("lsusb", f"mira@hearth:~$ lsusb\n{GUEST}", "device"))
