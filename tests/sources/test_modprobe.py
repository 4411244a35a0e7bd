"""Settings of kernel modules, from described files."""

from __future__ import annotations

from pathlib import Path

from radiocheck.sources.machine import Machine
from radiocheck.sources.modprobe import boot_options, commands, plain


def write(root: Path, path: str, text: str) -> None:
    """A file below the root."""
    file = root / path
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)


def test_files_of_one_name_hide_each_other(tmp_path: Path) -> None:
    """/etc before /run before /lib; only .conf files, in the order of their names (modprobe.d(5))."""
    write(tmp_path, "etc/modprobe.d/b.conf", "options vfio-pci ids=1b36:000d\n")
    write(tmp_path, "lib/modprobe.d/b.conf", "options vfio-pci ids=1033:0194\n")
    write(tmp_path, "run/modprobe.d/a.conf", "# a remark\n\nsoftdep xhci_pci pre: vfio-pci\n")
    write(tmp_path, "etc/modprobe.d/c.conf.bak", "options vfio-pci ids=ffff:ffff\n")
    assert list(commands(Machine(root=str(tmp_path)))) == [
        ("/run/modprobe.d/a.conf", ["softdep", "xhci_pci", "pre:", "vfio-pci"]),
        ("/etc/modprobe.d/b.conf", ["options", "vfio-pci", "ids=1b36:000d"]),
    ]


def test_a_line_that_goes_on(tmp_path: Path) -> None:
    """A backslash at the end of a line continues it (modprobe.d(5))."""
    write(tmp_path, "etc/modprobe.d/a.conf", "options vfio-pci \\\nids=1b36:000d\n")
    assert [words for _, words in commands(Machine(root=str(tmp_path)))] == [["options", "vfio-pci", "ids=1b36:000d"]]


def test_the_kernels_command_line(tmp_path: Path) -> None:
    """Words with and without a value; Debian's form."""
    write(tmp_path, "proc/cmdline", "BOOT_IMAGE=/vmlinuz root=/dev/sda2 ro quiet vfio-pci.ids=1b36:000d,1033:0194\n")
    assert list(boot_options(Machine(root=str(tmp_path))))[-2:] == [
        ("quiet", ""),
        ("vfio-pci.ids", "1b36:000d,1033:0194"),
    ]


def test_no_settings(tmp_path: Path) -> None:
    """Without any file there is nothing set."""
    machine = Machine(root=str(tmp_path))
    assert (list(commands(machine)), list(boot_options(machine))) == ([], [])


def test_one_form_of_a_name() -> None:
    """Dash and underscore are the same in a module's name."""
    assert plain("vfio-pci") == plain("vfio_pci") == "vfio_pci"
