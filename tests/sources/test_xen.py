"""Xen's domains by their files."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from msgspec import UNSET

from radiocheck.evidence.vm import HostdevUsb
from radiocheck.sources import xen
from radiocheck.sources.given import vm_xl
from radiocheck.sources.machine import Machine, Seen

from .umock import REPOSITORY

HEARTH = "name = 'hearth'\nusbdev = ['hostbus=1,hostaddr=5']\n"


def collect(root: Path, **files: str) -> Seen:
    """What is seen of a machine with these files; `__` in a name stands for a folder's slash, `_cfg` for its ending."""
    for name, text in files.items():
        file = root / name.replace("__", "/").replace("_cfg", ".cfg")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)
    return xen.collect(Machine(root=str(root)))


def autostart(seen: Seen) -> dict[str | None, object]:
    """The domains, and whether they start with the host."""
    return {vm.name: vm.autostart for vm in seen.facts["given_vms"]}


def test_a_host_without_xen_says_nothing(tmp_path: Path) -> None:
    """Neither a field nor a gap where /etc/xen is not, or holds no domain."""
    assert collect(tmp_path) == Seen()
    assert collect(tmp_path, etc__xen__xl="x", etc__xen__scripts__block="x") == Seen()


def test_files_are_domains(tmp_path: Path) -> None:
    """Each *.cfg with a name is a domain, and does not start with the host unless it is in the folder for that."""
    seen = collect(
        tmp_path, etc__xen__hearth_cfg=HEARTH, etc__xen__note="usbdev = []", etc__xen__pool_cfg="pci=['0:1.0']"
    )
    (vm,) = seen.facts["given_vms"]
    assert (vm.name, vm.manager, vm.origin, vm.autostart) == ("hearth", "xen", "/etc/xen/hearth.cfg", False)
    assert vm.hostdevs == [HostdevUsb(bus=1, address=5)]
    assert seen.gaps == ()


def test_autostart_is_the_folder_of_links(tmp_path: Path) -> None:
    """What /etc/xen/auto links to starts with the host (/etc/default/xendomains, XENDOMAINS_AUTO), told once."""
    collect(tmp_path, etc__xen__hearth_cfg=HEARTH, etc__xen__attic_cfg="name='attic'\n", srv__cellar="name='cellar'\n")
    (tmp_path / "etc/xen/auto").mkdir()
    os.symlink("../hearth.cfg", tmp_path / "etc/xen/auto/hearth")
    os.symlink("../../../srv/cellar", tmp_path / "etc/xen/auto/50-cellar")
    os.symlink("nowhere", tmp_path / "etc/xen/auto/gone")
    assert autostart(collect(tmp_path)) == {"attic": False, "hearth": True, "cellar": True}


@pytest.mark.parametrize(
    ("setting", "starts"),
    [
        ("XENDOMAINS_AUTO=/etc/xen/auto\n", True),
        ('# XENDOMAINS_AUTO=""\n', True),
        ('XENDOMAINS_AUTO="/srv/start"\n', False),
        ("XENDOMAINS_AUTO=\nXENDOMAINS_SAVE=/var/lib/xen/save\n", False),
    ],
)
def test_autostart_may_be_set_elsewhere(setting: str, starts: bool, tmp_path: Path) -> None:
    """The script's own setting says where the folder is; empty: nothing starts."""
    seen = collect(
        tmp_path, etc__xen__auto__hearth=HEARTH, etc__xen__hearth_cfg=HEARTH, etc__default__xendomains=setting
    )
    assert autostart(seen) == {"hearth": starts}


def test_what_xl_refuses_starts_nothing(tmp_path: Path) -> None:
    """A file that xl does not understand is told of, and the others count."""
    seen = collect(tmp_path, etc__xen__hearth_cfg=HEARTH, etc__xen__old_cfg="import os\n")
    assert autostart(seen) == {"hearth": False}
    (gap,) = seen.gaps
    assert (gap.what, gap.why) == ("given_vms[/etc/xen/old.cfg]", "malformed")
    assert "line 1" in gap.detail


AS_ANOTHER = """
import os, sys
from radiocheck.sources import xen
from radiocheck.sources.machine import Machine
os.setuid(65534)
print(xen.collect(Machine(root=sys.argv[1])))
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another account")
def test_a_closed_file_leaves_all_open() -> None:
    """A file that is not ours to read may hold anything: no list, and a gap that asks for root."""
    with tempfile.TemporaryDirectory() as root:
        os.chmod(root, 0o755)
        collect(Path(root), etc__xen__hearth_cfg=HEARTH, etc__xen__attic_cfg="name='attic'\n")
        os.chmod(f"{root}/etc/xen/hearth.cfg", 0o600)
        path = f"{REPOSITORY}:{os.environ.get('PYTHONPATH', '')}"
        done = subprocess.run(
            [sys.executable, "-c", AS_ANOTHER, root],
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONPATH": path},
            check=False,
        )
    assert "Gap(what='given_vms', why='denied'" in done.stdout, done.stderr
    assert "facts={}" in done.stdout


def test_only_the_host_knows_of_autostart(tmp_path: Path) -> None:
    """The same file, given by a person, does not say whether its domain starts with the host."""
    assert vm_xl(HEARTH.encode(), "hearth.cfg")[0].autostart is UNSET
    assert autostart(collect(tmp_path, etc__xen__hearth_cfg=HEARTH)) == {"hearth": False}
