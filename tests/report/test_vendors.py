"""Vendor names from usb.ids."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from radiocheck.report.vendors import FILES, name
from tests.sources.umock import BEDS, needs_umockdev, under

needs_list = pytest.mark.skipif(
    not any(Path(file).exists() for file in FILES), reason="usb.ids is absent (Debian package usb.ids)"
)
needs_hwdb = pytest.mark.skipif(shutil.which("systemd-hwdb") is None, reason="systemd-hwdb is absent")
needs_lsusb = pytest.mark.skipif(shutil.which("lsusb") is None, reason="lsusb is absent (Debian package usbutils)")

# As assigned by USB-IF and listed in usb.ids: three makers of serial bridges, and pid.codes' shared one.
BRIDGES = ["0403", "10c4", "1a86", "1209"]


@needs_list
def test_every_vendor_of_the_list() -> None:
    """Each vendor line of the installed list is found under its ID (format: comment at the list's head)."""
    file = next(file for file in FILES if Path(file).exists())
    vendors = re.findall(r"^([0-9a-f]{4})  (.*)$", Path(file).read_text("utf-8", "replace"), re.MULTILINE)
    assert len(vendors) > 3000
    wrong = [vid for vid, vendor in vendors[::37] if name(vid) != vendor.strip()]
    assert wrong == []


@needs_list
@needs_hwdb
@pytest.mark.parametrize("vid", BRIDGES)
def test_agrees_with_udev(vid: str) -> None:
    """udev's hardware database, made from the same list (hwdb.d/20-usb-vendor-model.hwdb), says the same."""
    asked = subprocess.run(
        ["systemd-hwdb", "query", f"usb:v{vid.upper()}*"], capture_output=True, text=True, check=True, timeout=20
    )
    found = re.search("ID_VENDOR_FROM_DATABASE=(.*)", asked.stdout)
    if found is None:
        pytest.skip("the hardware database is not built on this machine")
    assert name(vid) == found.group(1)


@needs_list
@needs_lsusb
@needs_umockdev
@pytest.mark.parametrize("vid", BRIDGES)
def test_agrees_with_lsusb(vid: str, tmp_path: Path) -> None:
    """lsusb (usbutils) shows a device of that vendor with the same name."""
    bed = (BEDS / "gable.umockdev").read_text()
    swapped = f"{vid[2:]}{vid[:2]}".upper()  # in the descriptor, little-endian (USB 2.0, 8.1)
    (tmp_path / "bed.umockdev").write_text(bed.replace("idVendor=1209", f"idVendor={vid}").replace("0912", swapped))
    shown = under(tmp_path / "bed.umockdev", argv=["lsusb", "-d", f"{vid}:7a01"]).stdout
    vendor = name(vid)
    assert vendor is not None
    assert f"ID {vid}:7a01 {vendor} " in shown


def test_unknown_is_none(tmp_path: Path) -> None:
    """No list, no such vendor, no ID or nonsense: no name, and no guess."""
    ids = tmp_path / "usb.ids"
    ids.write_text("# 1209  not this\n0001  Fry\n1209  Generic\n\t7a01  stick\nC 00  (interface)\n")
    files = [str(tmp_path / "missing"), str(ids)]
    assert name("1209", files) == "Generic"
    assert name("0001", files) == "Fry"
    assert [name(vid, files) for vid in ("7a01", "ffff", "C 00", "120", "", "12.9", None)] == [None] * 7
    assert name("1209", files[:1]) is None


def test_a_damaged_list_is_no_crash(tmp_path: Path) -> None:
    """Bytes that are no UTF-8, an empty name, a folder in the list's place: a name or none."""
    ids = tmp_path / "usb.ids"
    ids.write_bytes(b"1209  Linden\xff\n1210  \n")
    assert name("1209", [str(tmp_path), str(ids)]) == "Linden\ufffd"
    assert name("1210", [str(ids)]) is None
