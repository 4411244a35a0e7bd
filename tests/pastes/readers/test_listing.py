"""`ls`: GNU coreutils 9.1 and busybox run here, with many options and in twenty languages."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from radiocheck.evidence.serial import Link, Node
from tests.pastes.languages import LOCALES

from .said import said, typed, values

LINKS = """/dev/serial:
total 0
drwxr-xr-x 2 root root 60 Nov 25 12:00 by-id
drwxr-xr-x 2 root root 60 Nov 25 12:00 by-path

/dev/serial/by-id:
total 0
lrwxrwxrwx 1 root root 13 Nov 25 12:00 usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0 -> ../../ttyUSB0

/dev/serial/by-path:
total 0
lrwxrwxrwx 1 root root 13 Nov 25 12:00 pci-0000:00:14.0-usb-0:2:1.0-port0 -> ../../ttyUSB0
"""
BY_ID = "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0"
ROW = "lrwxrwxrwx 1 root root 13 Nov 25 12:00 usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0 -> ../../ttyUSB0"
NODE = "crw-rw---- 1 root dialout 188, 0 Nov 25 12:00 /dev/ttyUSB0"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a link as udev makes it and a node of a serial tty, as far as this account may make one."""
    (tmp_path / "usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0").symlink_to("../../ttyUSB0")
    try:
        os.mknod(tmp_path / "ttyUSB0", stat.S_IFCHR | 0o660, os.makedev(188, 0))
    except PermissionError:
        pytest.skip("this account may make no nodes")
    (tmp_path / "ttyUSB0").chmod(0o660)
    return tmp_path


def ls(folder: Path, *options: str, program: tuple[str, ...] = ("ls",), env: dict[str, str] | None = None) -> str:
    """What `ls` prints of that folder."""
    argv = [*program, *options, str(folder)]
    return subprocess.run(argv, capture_output=True, text=True, check=False, env={**os.environ, **(env or {})}).stdout


@pytest.mark.parametrize(
    "options",
    [
        "-l",
        "-la",
        "-lh",
        "-li",
        "-ls",
        "-lZ",
        "-l --color=always",
        "-l --time-style=long-iso",
        "-l --time-style=full-iso",
        "-lQ",
        "-lF",
    ],
)
def test_the_program_with_any_options(folder: Path, options: str) -> None:
    """Mode, owner and numbers of the node; the link with its target, under the folder that was asked."""
    text = typed("ls -l /dev/serial/by-id", ls(folder, *options.split()))
    assert values("listing", text, "link") == [Link(path=BY_ID, target="ttyUSB0")]
    text = typed("ls -l /dev/", ls(folder, *options.split()))
    (tty,) = values("listing", text, "tty")
    told: Node = tty["node"]
    assert (told.path, told.mode, told.major, told.minor, told.owner, told.uid) == (
        "/dev/ttyUSB0",
        0o660,
        188,
        0,
        "root",
        0,
    )


def test_numbers_for_names(folder: Path) -> None:
    """-n: owner and group by number."""
    (tty,) = values("listing", typed("ls -n /dev/", ls(folder, "-n")), "tty")
    assert (tty["node"].uid, tty["node"].gid) == (0, 0)


@pytest.mark.skipif(shutil.which("busybox") is None, reason="Debian's busybox is not installed")
def test_busybox_prints_the_same(folder: Path) -> None:
    """Its columns are wider."""
    text = ls(folder, "-l", program=("busybox", "ls"))
    assert values("listing", typed("ls -l /dev/serial/by-id", text), "link") == [Link(path=BY_ID, target="ttyUSB0")]
    assert values("listing", typed("ls -l /dev/", text), "tty")[0]["node"].mode == 0o660


@pytest.mark.parametrize("name", LOCALES)
def test_any_language(folder: Path, locales: Path, name: str) -> None:
    """Months and the word for the total differ."""
    env = {"LC_ALL": f"{name}.UTF-8", "LOCPATH": str(locales)}
    text = typed("ls -l /dev/serial/by-id", ls(folder, "-l", env=env))
    assert values("listing", text, "link") == [Link(path=BY_ID, target="ttyUSB0")]


@pytest.mark.parametrize("name", LOCALES)
def test_no_names_at_all_in_any_language(locales: Path, name: str) -> None:
    """`ls: cannot access`: udev makes the folder with the first name, and takes it away with the last."""
    env = {**os.environ, "LC_ALL": f"{name}.UTF-8", "LOCPATH": str(locales)}
    ran = subprocess.run(["ls", "/dev/no-such-folder"], capture_output=True, text=True, env=env, check=False)
    text = ran.stderr.replace("no-such-folder", "serial/by-id")
    (piece,) = said("listing", text)
    assert (piece.kind, piece.value) == ("whole", "links")


@pytest.mark.parametrize(
    "line",
    [
        "ls: cannot access '/dev/serial/by-id': No such file or directory",
        "ls: cannot access '/dev/serial/by-id/': No such file or directory",
        "ls: cannot access /dev/serial/by-id: No such file or directory",
        "ls: /dev/serial/by-id: No such file or directory",
        "ls: cannot access '/dev/serial': No such file or directory",
    ],
)
def test_no_names_at_all(line: str) -> None:
    """coreutils 9.1, older ones without quotes, busybox."""
    assert values("listing", line, "whole") == ["links"]


@pytest.mark.parametrize(
    "line",
    [
        "ls: cannot access '/dev/serial/by-path': No such file or directory",
        "cat: /dev/serial/by-id/usb-x-if00: No such file or directory",
        "could not open port /dev/serial/by-id/usb-x-if00-port0: [Errno 2] No such file or directory",
        "ls: cannot open directory '/dev/serial/by-id': Permission denied",
        "ls: cannot access '/dev/ttyUSB0': No such file or directory",
        "look into /dev/serial/by-id",
    ],
)
def test_less_than_no_names_at_all(line: str) -> None:
    """One name that is missing is not all of them."""
    assert values("listing", line, "whole") == []


@pytest.mark.parametrize(
    "text",
    [
        LINKS,
        typed("ls -lR /dev/serial", LINKS),
        typed("ls -l /dev/serial/*", LINKS),
        typed("ls -l /dev/serial/by-id /dev/serial/by-path", LINKS),
    ],
)
def test_both_folders_are_all_names(text: str) -> None:
    """by-id and by-path, each with its heading."""
    found = said("listing", text)
    assert [piece.value for piece in found if piece.kind == "whole"] == ["links"]
    assert [piece.value.target for piece in found if piece.kind == "link"] == ["ttyUSB0", "ttyUSB0"]


@pytest.mark.parametrize(
    "text",
    [
        LINKS.partition("/dev/serial/by-path:")[0],
        typed("ls -lR /dev/serial | grep -v foo", LINKS),
        LINKS.replace("\n/dev/serial/by-path:", "\n...\n/dev/serial/by-path:"),
        LINKS.replace("-port0 -> ../../ttyUSB0", "-po>", 1),
        typed("ls -l /dev/serial/by-id", ROW),
    ],
)
def test_a_part_is_no_whole(text: str) -> None:
    """One folder, a filter, lines left out, a line cut off."""
    assert "links" not in values("listing", text, "whole")


@pytest.mark.parametrize(
    "text",
    [
        LINKS.partition("/dev/serial/by-path:")[0],
        typed("ls -l /dev/serial/by-id", ROW),
        typed("ls -la /dev/serial/by-id/", f"total 0\n{ROW}"),
        f"total 0\n{ROW}",
        f"insgesamt 0\n{ROW}",
        f"итого 0\n{ROW}",
        f"合計 0\n{ROW}",
    ],
)
def test_the_folder_of_names_by_id(text: str) -> None:
    """Asked by its name, below its heading, or with the total that `ls` prints for folders only (GNU coreutils)."""
    assert values("listing", text, "whole") == ["by-id"]


@pytest.mark.parametrize(
    "text",
    [
        ROW,
        typed("ls -l /dev/serial/by-id | grep Mesh", ROW),
        typed("ls -l /dev/serial/by-id/*Mesh*", ROW),
        typed("ls -l /dev/serial/by-id", f"{ROW}\n[...]"),
        f"total 0\n{ROW.replace('ttyUSB0', '')}",
    ],
)
def test_a_part_of_the_folder_of_names_by_id(text: str) -> None:
    """A row alone, a filter, a pattern, lines left out, a target that was cut off."""
    assert values("listing", text, "whole") == []


@pytest.mark.parametrize(
    "command", ["ls -l /dev/ttyUSB* /dev/ttyACM*", "ls -la /dev/ttyACM* /dev/ttyUSB*", "ls /dev/tty[UA]*"]
)
def test_all_usb_ttys(command: str) -> None:
    """Both kinds were asked for, and what there is none of is said."""
    text = typed(command, f"ls: cannot access '/dev/ttyACM*': No such file or directory\n{NODE}\n")
    assert values("listing", text, "whole") == ["ttys"]
    assert values("listing", typed("ls -l /dev/ttyUSB*", NODE), "whole") == []


@pytest.mark.parametrize(
    "line",
    [
        "zsh: no matches found: /dev/tty{}*",
        "fish: No matches for wildcard '/dev/tty{}*'. See `help expand`.",
        "ls: /dev/tty{}*: No such file or directory",
    ],
)
def test_no_usb_tty_at_all(line: str) -> None:
    """Shells that refuse a pattern say so themselves (zsh and fish from memory)."""
    text = f"{line.format('USB')}\n{line.format('ACM')}\n"
    assert values("listing", text, "whole") == ["ttys"]
    assert values("listing", line.format("USB"), "whole") == []


def test_a_list_of_names_without_rights() -> None:
    """`ls` without -l: that they are there."""
    text = typed("ls /dev/ttyUSB*", "/dev/ttyUSB0  /dev/ttyUSB1\n") + typed(
        "ls /dev/serial/by-id", BY_ID.rpartition("/")[2]
    )
    assert values("listing", text, "tty") == [{"name": "ttyUSB0"}, {"name": "ttyUSB1"}]
    assert values("listing", text, "link") == [Link(path=BY_ID)]


@pytest.mark.parametrize(
    ("text", "target"),
    [
        (f"{ROW}", "ttyUSB0"),
        (f"   3\t{ROW}", "ttyUSB0"),
        (f"mira: {ROW}", "ttyUSB0"),
        (f"| {ROW}", "ttyUSB0"),
        (ROW.replace("ttyUSB0", "ttyACM12"), "ttyACM12"),
        (ROW.replace(" -> ", " ->\n"), "ttyUSB0"),
        (ROW.replace(" -> ../../ttyUSB0", " -\n> ../../ttyUSB0"), "ttyUSB0"),
        (ROW.replace("usb-Lind", f"{BY_ID[:22]}").replace("by-id/enhof", "by-id/usb-Lindenhof"), "ttyUSB0"),
    ],
)
def test_a_row_in_any_frame(text: str, target: str) -> None:
    """Numbered, quoted, in a table, wrapped by a terminal."""
    (link,) = values("listing", text, "link")
    assert link.target == target


def test_the_folder_by_the_form_of_a_name() -> None:
    """udev's names tell where they belong (60-serial.rules)."""
    row = "lrwxrwxrwx 1 root root 13 Nov 25 12:00 pci-0000:00:14.0-usb-0:2:1.0-port0 -> ../../ttyUSB0"
    assert values("listing", row, "link")[0].path.startswith("/dev/serial/by-path/")
    assert values("listing", row.replace("pci-0000:00:14.0-usb", "something"), "link") == []


@pytest.mark.parametrize(("mark", "told"), [("", True), ("+", False), (".", True)])
def test_a_plus_says_that_there_is_an_acl(mark: str, told: bool) -> None:
    """And not which (coreutils, "What information is listed")."""
    (tty,) = values("listing", NODE.replace("---- ", f"----{mark} "), "tty")
    assert (tty["node"].acl is None) == told


def test_nodes_of_usbfs() -> None:
    """`ls -l /dev/bus/usb/*/*`, and below a heading."""
    row = "crw-rw-r-- 1 root plugdev 189, 4 Nov 25 12:00 "
    for text in (f"{row}/dev/bus/usb/001/005", f"/dev/bus/usb/001:\ntotal 0\n{row}005"):
        (node,) = values("listing", text, "usb_node")
        assert (node.path, node.minor, node.group, node.mode) == ("/dev/bus/usb/001/005", 4, "plugdev", 0o664)


def test_links_of_sysfs() -> None:
    """Whose tty it is, and which driver has an interface or a controller."""
    row = "lrwxrwxrwx 1 root root 0 Nov 25 12:00 "
    tty = f"{row}/sys/class/tty/ttyUSB0 -> ../../devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/ttyUSB0/tty/ttyUSB0"
    assert values("listing", tty, "tty") == [{"name": "ttyUSB0", "interface": "1-2:1.0"}]
    driver = f"{row}/sys/bus/usb/devices/1-2:1.0/driver -> ../../../../bus/usb/drivers/cp210x"
    (device,) = values("listing", driver, "device")
    assert device == {"name": "1-2", "interfaces": [{"name": "1-2:1.0", "number": 0, "driver": "cp210x"}]}
    pci = f"{row}/sys/bus/pci/devices/0000:00:14.0/driver -> ../../../bus/pci/drivers/vfio-pci"
    assert values("listing", pci, "controller") == [{"address": "0000:00:14.0", "driver": "vfio-pci", "vfio": True}]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "total 0",
        "crw-rw---- 1 root tty 4, 64 Nov 25 12:00 /dev/ttyS0",
        NODE[:40],
        "-rw-r--r-- 1 a b 5 Nov 25 12:00 ttyUSB0",
    ],
)
def test_other_rows_say_nothing(text: str) -> None:
    """No USB tty, or half a row."""
    assert said("listing", text) == []


def test_no_driver_at_an_interface() -> None:
    """`ls` of a link that is not there: nobody drives the interface."""
    path = "/sys/bus/usb/devices/6-2:1.0/driver"
    text = typed(f"ls -l {path}", f"ls: cannot access '{path}': No such file or directory\n")
    (device,) = values("listing", text, "device")
    assert (device["name"], device["interfaces"][0]["driver"], device["all_interfaces"]) == ("6-2", None, True)


def test_prose_after_a_list_is_none() -> None:
    """A row of `ls` that has whole paths has nothing else."""
    text = typed("ls /usr/lib/modules", "6.9.9\nThere is no /dev/ttyACM0 since this morning\n")
    assert values("listing", text, "tty") == []
    assert [one["name"] for one in values("listing", typed("ls /dev/tty*", "/dev/ttyACM0 /dev/ttyUSB0\n"), "tty")] == [
        "ttyACM0",
        "ttyUSB0",
    ]
