"""The version of libvirt, by the name of its library."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.sources.libvirt_library import collect
from radiocheck.sources.machine import Machine


def installed(root: Path, folder: str, target: str) -> Machine:
    """A machine with that library in that folder."""
    path = root / folder.lstrip("/")
    path.mkdir(parents=True)
    os.symlink(target, path / "libvirt.so.0")
    return Machine(root=str(root))


@pytest.mark.parametrize(
    ("folder", "target", "version"),
    [
        ("/usr/lib/x86_64-linux-gnu", "libvirt.so.0.9000.0", "9.0.0"),  # Debian 12
        ("/usr/lib/aarch64-linux-gnu", "libvirt.so.0.11003.0", "11.3.0"),  # Debian 13
        ("/usr/lib/x86_64-linux-gnu", "libvirt.so.0.12008.0", "12.8.0"),  # Debian unstable, libvirt0 12.8.0-1
        ("/usr/lib64", "libvirt.so.0.10010.2", "10.10.2"),
        ("/usr/lib", "libvirt.so.0.6000.0", "6.0.0"),
    ],
)
def test_versions(tmp_path: Path, folder: str, target: str, version: str) -> None:
    """The file's revision is thousand times the major plus the minor number."""
    seen = collect(installed(tmp_path, folder, target))
    assert seen.facts == {"libvirt_version": version}
    assert seen.gaps == ()


def test_none(tmp_path: Path) -> None:
    """A machine without library and without configuration has none."""
    (tmp_path / "usr/lib/x86_64-linux-gnu").mkdir(parents=True)
    assert collect(Machine(root=str(tmp_path))).facts == {"libvirt_version": None}


@pytest.mark.parametrize("target", ["libvirt.so.0.1", "libvirt.so.0.9000.0; rm -rf", "elsewhere", "libvirt.so.0.x.y"])
def test_other_names(tmp_path: Path, target: str) -> None:
    """A name of another form is no version, and no absence either."""
    seen = collect(installed(tmp_path, "/usr/lib", target))
    assert seen.facts == {}
    assert [gap.why for gap in seen.gaps] == ["not-here"]


def test_a_library_elsewhere(tmp_path: Path) -> None:
    """A configured libvirt whose library is not in the usual folders leaves the version open."""
    (tmp_path / "etc/libvirt").mkdir(parents=True)
    seen = collect(Machine(root=str(tmp_path)))
    assert seen.facts.get("libvirt_version", UNSET) is UNSET
    assert seen.gaps[0].what == "libvirt_version.library"


@pytest.mark.skipif(shutil.which("virsh") is None, reason="virsh is absent (Debian package libvirt-clients)")
def test_this_machine() -> None:
    """On a machine with libvirt it is what virsh says of its own library."""
    said = subprocess.run(["virsh", "--version"], capture_output=True, text=True, check=True).stdout.strip()
    assert collect(Machine()).facts == {"libvirt_version": said}
