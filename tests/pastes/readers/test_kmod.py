"""kmod 30 and busybox 1.35 of a module that is not there (run here), uname(1)."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from .said import said, typed, values


@pytest.mark.parametrize(
    "line",
    [
        "modprobe: FATAL: Module cdc-acm not found in directory /lib/modules/6.1.0-18-cloud-amd64",
        "modinfo: ERROR: Module cdc_acm not found.",
        "FATAL: Module cdc_acm not found.\nmodprobe: FATAL: Module cdc_acm not found.",
        "modprobe: module cdc_acm not found in modules.dep",
        "modinfo: module 'cdc_acm' not found",
        "gable systemd-modules-load[300]: Failed to find module 'cdc_acm'",
    ],
)
def test_a_module_that_this_kernel_lacks(line: str) -> None:
    """Neither loaded nor built in; a hyphen is an underscore."""
    assert values("kmod", line, "module") == [{"name": "cdc_acm", "loaded": False, "available": False}]


@pytest.mark.parametrize(
    "line",
    [
        "modprobe: ERROR: could not insert 'cdc_acm': Operation not permitted",
        "modprobe: FATAL: Module cdc_acm is in use.",
        "Module cdc_acm not found anywhere, why?",
    ],
)
def test_what_says_nothing_of_the_file(line: str) -> None:
    """Refused, busy, a person's words."""
    assert said("kmod", line) == []


@pytest.mark.skipif(shutil.which("modinfo") is None, reason="Debian's kmod is not installed")
@pytest.mark.parametrize("program", ["modinfo", "modprobe"])
def test_kmod_itself(program: str) -> None:
    """What it says of a name that no module has."""
    path = shutil.which(program)
    assert path is not None
    ran = subprocess.run([path, "cdc_lindenhof"], capture_output=True, text=True, check=False)
    if "permitted" in ran.stderr or "not found" not in ran.stderr:
        pytest.skip(f"says something else here: {ran.stderr[:80]}")
    assert [one["name"] for one in values("kmod", ran.stderr, "module")] == ["cdc_lindenhof"]


def test_the_kernel_that_runs() -> None:
    """By `uname -r` only behind the command, by `uname -a` anywhere."""
    assert values("kmod", typed("uname -r", "6.1.0-18-cloud-amd64\n"), "host") == [{"kernel": "6.1.0-18-cloud-amd64"}]
    assert said("kmod", "6.1.0-18-cloud-amd64\n") == []
    line = "Linux gable 5.15.0-1052-kvm #57-Ubuntu SMP Wed Jan 17 18:41:20 UTC 2024 x86_64 GNU/Linux"
    assert values("kmod", line, "host") == [{"kernel": "5.15.0-1052-kvm"}]


def test_a_kernel_without_its_folder() -> None:
    """The kernel that runs, by `uname` or by where modprobe looked, is not among the folders."""
    listed = typed("ls /usr/lib/modules", "6.7.0-arch3-1\n")
    looked = typed(
        "modprobe ch341", "modprobe: FATAL: Module ch341 not found in directory /usr/lib/modules/6.6.10-arch1-1\n"
    )
    assert {"module_files": False} in values("kmod", looked + listed, "host")
    assert {"module_files": False} in values("kmod", typed("uname -r", "6.6.10-arch1-1\n") + listed, "host")
    assert values("kmod", typed("uname -r", "6.7.0-arch3-1\n") + listed, "host") == [{"kernel": "6.7.0-arch3-1"}]
    assert values("kmod", listed, "host") == []
