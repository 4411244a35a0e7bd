"""The machine itself: kernel, distribution, boot time, virtualisation."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap, Host
from radiocheck.sources import host
from radiocheck.sources.machine import Machine, Ran, ToolHung, ToolMissing

X86_FLAGS = "processor\t: 0\nflags\t\t: fpu vme de pse tsc msr {}nx lm\n"


def says(vm: str, container: str = "none") -> object:
    """A systemd-detect-virt that prints these words: its exit status is 1 with `none` (man page)."""

    def run(argv: Sequence[str], limit: float = 8.0) -> Ran:
        assert argv[0] == "systemd-detect-virt"
        word = {"--vm": vm, "--container": container}[argv[1]]
        return Ran(1 if word == "none" else 0, word + "\n", "")

    return run


def missing(argv: Sequence[str], limit: float = 8.0) -> Ran:
    raise ToolMissing(argv[0])


def hung(argv: Sequence[str], limit: float = 8.0) -> Ran:
    raise ToolHung(argv[0])


def write(root: Path, path: str, text: str) -> None:
    (root / path.lstrip("/")).parent.mkdir(parents=True, exist_ok=True)
    (root / path.lstrip("/")).write_text(text)


def look(root: Path, run: object = missing) -> tuple[Host, tuple[Gap, ...]]:
    seen = host.collect(Machine(root=str(root), run=run))
    return seen.facts["host"], seen.gaps


def test_this_machine() -> None:
    """On the running machine kernel and architecture are those of uname(2), and the boot lies where uptime says."""
    seen = host.collect(Machine()).facts["host"]
    assert (seen.kernel, seen.machine) == (os.uname().release, os.uname().machine)
    up = float(Path("/proc/uptime").read_text().split()[0])
    assert abs(time.time() - up - seen.booted) < 5
    assert seen.udev_running is os.path.exists("/run/udev/control")


@pytest.mark.skipif(shutil.which("systemd-detect-virt") is None, reason="systemd-detect-virt is absent")
def test_this_machine_is_what_systemd_detects() -> None:
    """The words are those of systemd-detect-virt itself; `none` is null."""
    import subprocess

    seen = host.collect(Machine()).facts["host"]
    word = subprocess.run(["systemd-detect-virt", "--vm"], capture_output=True, text=True, check=False).stdout.strip()
    assert seen.virtualisation == (None if word == "none" else word)


def test_every_field(tmp_path: Path) -> None:
    """Each field from its file: proc_sys_kernel(5), os-release(5), proc_stat(5), systemd-detect-virt(1)."""
    write(tmp_path, "/proc/sys/kernel/osrelease", "6.1.0-56-amd64\n")
    write(tmp_path, "/proc/sys/kernel/arch", "x86_64\n")
    write(tmp_path, "/etc/os-release", 'ID=debian\nPRETTY_NAME="Debian GNU/Linux 12 (bookworm)"\n')
    write(tmp_path, "/proc/stat", "cpu  1 2 3\nintr 5\nbtime 1700000000\nprocesses 7\n")
    write(tmp_path, "/run/udev/control", "")
    write(tmp_path, "/sys/class/dmi/id/product_uuid", "8C3C1D2E-1111-2222-3333-444455556666\n")
    assert look(tmp_path, says("none")) == (
        Host(
            kernel="6.1.0-56-amd64",
            machine="x86_64",
            distribution="Debian GNU/Linux 12 (bookworm)",
            booted=1.7e9,
            virtualisation=None,
            container=None,
            hypervisor=False,
            uuid="8c3c1d2e-1111-2222-3333-444455556666",
            udev_running=True,
        ),
        (),
    )


def test_a_guest(tmp_path: Path) -> None:
    """A machine that is itself a guest is told by the word of its hypervisor."""
    assert look(tmp_path, says("kvm"))[0].virtualisation == "kvm"


def test_nothing_to_read(tmp_path: Path) -> None:
    """Without any of the files each field is absent with a gap; no os-release at all means no name, which is null."""
    seen, gaps = look(tmp_path)
    assert (seen.kernel, seen.machine, seen.booted) == (UNSET, UNSET, UNSET)
    assert (seen.virtualisation, seen.container) == (UNSET, UNSET)
    assert (seen.distribution, seen.udev_running, seen.hypervisor) == (None, False, False)
    assert [(gap.what, gap.why) for gap in gaps] == [
        ("host.kernel", "not-here"),
        ("host.booted", "not-here"),
        ("host.virtualisation", "no-tool"),
        ("host.container", "no-tool"),
        ("host.uuid", "not-here"),
    ]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("PRETTY_NAME='Gable OS 3'\n", "Gable OS 3"),
        ("PRETTY_NAME=Gable\n", "Gable"),
        ('PRETTY_NAME="Gable \\"rolling\\""\n', 'Gable "rolling"'),
        ("NAME=Gable\n", None),
        ('PRETTY_NAME="Gable\n', UNSET),
    ],
)
def test_the_name_of_the_distribution(tmp_path: Path, text: str, name: object) -> None:
    """PRETTY_NAME is quoted like a shell variable (os-release(5)); an open quote is malformed, not a name."""
    write(tmp_path, "/usr/lib/os-release", text)
    seen, gaps = look(tmp_path)
    assert seen.distribution == name
    assert [gap.why for gap in gaps if gap.what == "host.distribution"] == (["malformed"] if name is UNSET else [])


def test_etc_goes_before_usr_lib(tmp_path: Path) -> None:
    """/etc/os-release takes precedence over /usr/lib/os-release (os-release(5))."""
    write(tmp_path, "/usr/lib/os-release", "PRETTY_NAME=vendor\n")
    write(tmp_path, "/etc/os-release", "PRETTY_NAME=local\n")
    assert look(tmp_path)[0].distribution == "local"


@pytest.mark.parametrize(
    ("files", "found"),
    [
        ({"/sys/class/dmi/id/sys_vendor": "QEMU\n"}, "qemu"),
        ({"/sys/class/dmi/id/product_name": "KVM Virtual Machine\n", "/sys/class/dmi/id/sys_vendor": "QEMU\n"}, "kvm"),
        ({"/proc/device-tree/hypervisor/compatible": "linux,kvm\0"}, "kvm"),
        ({"/proc/cpuinfo": X86_FLAGS.format("hypervisor ")}, "vm-other"),
        ({"/proc/cpuinfo": X86_FLAGS.format("")}, None),
        ({"/proc/cpuinfo": X86_FLAGS.format("hypervisor "), "/proc/xen/capabilities": "control_d\n"}, None),
        ({"/proc/cpuinfo": "processor\t: 0\nFeatures\t: fp asimd\n"}, UNSET),
    ],
)
@pytest.mark.parametrize("run", [missing, hung])
def test_without_the_tool(tmp_path: Path, files: dict[str, str], found: object, run: object) -> None:
    """DMI words, device tree, CPU flag and Xen's control domain as in systemd's src/basic/virt.c; else it is open."""
    for path, text in files.items():
        write(tmp_path, path, text)
    seen, gaps = look(tmp_path, run)
    assert seen.virtualisation == found
    assert ("host.virtualisation" in [gap.what for gap in gaps]) is (found is UNSET)


@pytest.mark.parametrize(
    ("path", "text", "word"),
    [
        ("/run/systemd/container", "lxc\n", "lxc"),
        ("/run/systemd/container", "", "container-other"),
        ("/run/.containerenv", 'engine="podman"\n', "podman"),
        ("/.dockerenv", "", "docker"),
    ],
)
def test_marks_of_a_container(tmp_path: Path, path: str, text: str, word: str) -> None:
    """/run/systemd/container names the manager (systemd's container interface); the others are known by their file."""
    write(tmp_path, path, text)
    assert look(tmp_path)[0].container == word


def test_a_booted_systemd_without_a_mark_is_no_container(tmp_path: Path) -> None:
    """systemd as PID 1 of a container writes /run/systemd/container, so its absence settles it without the tool
    (write_container_id() in src/core/main.c, from memory; sd_booted(3): /run/systemd/system)."""
    (tmp_path / "run/systemd/system").mkdir(parents=True)
    seen, gaps = look(tmp_path)
    assert seen.container is None
    assert "host.container" not in [gap.what for gap in gaps]


def test_no_btime_is_malformed(tmp_path: Path) -> None:
    """A /proc/stat without the line is not the kernel's: the time of the boot is absent, with a gap."""
    write(tmp_path, "/proc/stat", "cpu 1 2 3\nbtime soon\n")
    seen, gaps = look(tmp_path)
    assert seen.booted is UNSET
    assert ("host.booted", "malformed") in [(gap.what, gap.why) for gap in gaps]


@pytest.mark.parametrize(
    ("files", "found"),
    [
        (["/usr/bin/qemu-system-x86_64"], True),
        (["/usr/libexec/qemu-kvm"], True),
        (["/usr/bin/kvm"], True),
        (["/usr/sbin/xl"], True),
        (["/usr/sbin/libvirtd", "/etc/libvirt/qemu/hearth.xml"], True),
        (["/usr/sbin/libvirtd"], False),
        (["/etc/libvirt/qemu/hearth.xml"], False),
        (["/usr/bin/qemu-img", "/usr/bin/qemu-ga", "/usr/sbin/kvm-ok", "/usr/bin/virsh"], False),
    ],
)
def test_programs_that_run_virtual_machines(tmp_path: Path, files: list[str], found: bool) -> None:
    """An emulator, Xen's xl, or libvirt's daemon with its folder; an agent, an image tool or a client alone is none.

    File names: Debian's qemu-system-x86, xen-utils-common and libvirt-daemon; Fedora's qemu-kvm (from memory).
    """
    for file in files:
        write(tmp_path, file, "")
    assert look(tmp_path)[0].hypervisor is found


@pytest.mark.skipif(shutil.which("qemu-system-x86_64") is None, reason="Debian's qemu-system-x86 is not installed")
def test_this_machine_runs_virtual_machines() -> None:
    """Where Debian's QEMU is installed, it is found."""
    assert host.collect(Machine()).facts["host"].hypervisor is True


@pytest.mark.skipif(os.geteuid() == 0, reason="root may list every folder")
def test_a_folder_of_programs_that_may_not_be_listed(tmp_path: Path) -> None:
    """It may hold an emulator: absent, with a gap."""
    (tmp_path / "usr/bin").mkdir(parents=True, mode=0)
    seen, gaps = look(tmp_path)
    assert seen.hypervisor is UNSET
    assert "host.hypervisor" in [gap.what for gap in gaps]


@pytest.mark.parametrize(
    ("text", "uuid", "why"),
    [
        ("8C3C1D2E-1111-2222-3333-444455556666\n", "8c3c1d2e-1111-2222-3333-444455556666", None),
        (None, None, None),
        ("Not Settable\n", UNSET, "malformed"),
        ("\x1b[31m\n", UNSET, "malformed"),
    ],
)
def test_the_machines_own_uuid(tmp_path: Path, text: str | None, uuid: object, why: str | None) -> None:
    """Of the DMI table, lower-case; null where the kernel hides it, because the firmware gives none
    (drivers/firmware/dmi_scan.c, dmi_save_uuid; drivers/firmware/dmi-id.c)."""
    write(tmp_path, "/sys/class/dmi/id/sys_vendor", "QEMU\n")
    if text is not None:
        write(tmp_path, "/sys/class/dmi/id/product_uuid", text)
    seen, gaps = look(tmp_path)
    assert seen.uuid == uuid
    assert [gap.why for gap in gaps if gap.what == "host.uuid"] == ([why] if why else [])
