"""Modules that interfaces ask for: against a Debian kernel's own lists, and against kmod itself.

`linux-image-….modules.*` beside the testbeds are lines of the files that depmod made
for the Debian package of that name and version (all patterns for any vendor, and those
of some serial bridge chips).
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.usb import Module
from radiocheck.sources import modules
from radiocheck.sources.machine import Machine

from .umock import BEDS, laid_out, needs_umockdev

RELEASE = "6.1.0-56-amd64"
KERNEL = BEDS / "linux-image-6.1.0-56-amd64_6.1.192-2"
BRIDGE = "usb:v10C4pEA60d0100dc00dsc00dp00icFFisc00ip00in00"  # an ID of the table in drivers/usb/serial/cp210x.c
STICK = "1-2.3:1.0"
ACM = "5-1:1.0"
ACM_DATA = "5-1:1.1"

pytestmark = needs_umockdev
needs_kmod = pytest.mark.skipif(
    not all(shutil.which(tool) for tool in ("gcc", "depmod", "modprobe")),
    reason="gcc, depmod or modprobe is absent (Debian packages gcc, kmod)",
)


@pytest.fixture
def root() -> Iterator[str]:
    """The testbeds' devices, on a machine that runs the Debian kernel."""
    with laid_out("gable.umockdev", "platform.umockdev") as folder:
        write(folder, "/proc/sys/kernel/osrelease", RELEASE + "\n")
        write(folder, "/proc/cmdline", "BOOT_IMAGE=/vmlinuz root=/dev/sda1 ro quiet\n")
        for name in ("modules.alias", "modules.dep", "modules.builtin"):
            write(folder, f"/lib/modules/{RELEASE}/{name}", Path(f"{KERNEL}.{name}").read_text())
        for file in Path(f"{KERNEL}.modules.dep").read_text().splitlines():
            write(folder, f"/lib/modules/{RELEASE}/{file.partition(':')[0]}", "")
        yield folder


def write(root: str, path: str, text: str) -> None:
    Path(root + path).parent.mkdir(parents=True, exist_ok=True)
    Path(root + path).write_text(text)


def bridge(root: str) -> None:
    """Give the stick the identity of a serial bridge that a driver of this kernel lists."""
    write(root, f"/sys/bus/usb/devices/{STICK}/modalias", BRIDGE + "\n")


def by_name(root: str) -> dict[str, Module]:
    return {module.name: module for module in modules.collect(Machine(root=root)).facts["modules"]}


def test_modules_of_the_interfaces_that_are_serial_by_class(root: str) -> None:
    """Vendor-specific and communications interfaces are matched; the bound disk and the hubs are not asked about."""
    bridge(root)
    seen = by_name(root)
    assert seen == {
        "cdc_acm": Module(name="cdc_acm", interfaces=[ACM], loaded=False, available=True, blocked_by=None),
        "cp210x": Module(name="cp210x", interfaces=[STICK], loaded=False, available=True, blocked_by=None),
    }


def test_a_module_that_is_listed_but_whose_file_is_gone(root: str) -> None:
    """An upgrade that went half way leaves modules.dep, and modprobe(8) then fails: the module is not available."""
    bridge(root)
    os.unlink(f"{root}/lib/modules/{RELEASE}/kernel/drivers/usb/serial/cp210x.ko")
    seen = by_name(root)
    assert (seen["cp210x"].available, seen["cdc_acm"].available) == (False, True)


def test_an_absolute_file_name_in_the_list(root: str) -> None:
    """depmod(8) writes a whole path when a module lies outside the kernel's folder."""
    bridge(root)
    write(root, f"/lib/modules/{RELEASE}/modules.dep", "/srv/own/cp210x.ko.xz: kernel/usbserial.ko\n")
    assert by_name(root)["cp210x"].available is False
    write(root, "/srv/own/cp210x.ko.xz", "")
    assert by_name(root)["cp210x"].available is True


def test_an_id_that_no_driver_lists(root: str) -> None:
    """A vendor-specific interface of an unlisted ID matches nothing: no generic module takes any vendor's (usbserial
    has no aliases of its own), so the only module is that of the other interface."""
    assert [(module.name, module.interfaces) for module in by_name(root).values()] == [("cdc_acm", [ACM])]


def test_an_unbound_interface_of_any_class(root: str) -> None:
    """The disk is asked about once its driver is gone; two modules list its class, protocol 50 (bulk only)."""
    assert "usb_storage" not in by_name(root)
    os.unlink(f"{root}/sys/bus/usb/devices/2-3.1:1.0/driver")
    seen = by_name(root)
    assert {name for name, module in seen.items() if module.interfaces == ["2-3.1:1.0"]} == {"uas", "usb_storage"}


def test_loaded_and_built_in(root: str) -> None:
    """/sys/module tells what is loaded; what is built in is there without a file and needs no loading."""
    bridge(root)
    os.makedirs(f"{root}/sys/module/cp210x")
    write(root, f"/lib/modules/{RELEASE}/modules.builtin", "kernel/drivers/usb/class/cdc-acm.ko\n")
    write(root, f"/lib/modules/{RELEASE}/modules.dep", "")
    seen = by_name(root)
    assert (seen["cp210x"].loaded, seen["cp210x"].available) == (True, False)  # its file was taken away since
    assert (seen["cdc_acm"].loaded, seen["cdc_acm"].available) == (True, True)


def test_aliases_of_what_is_built_in(root: str) -> None:
    """Built-in modules have their aliases in modules.builtin.modinfo, NUL between entries (kernel's kbuild.rst)."""
    write(root, f"/lib/modules/{RELEASE}/modules.alias", "# Aliases extracted from modules themselves.\n")
    entry = "cdc_acm.license=GPL\0cdc_acm.alias=usb:v*p*d*dc*dsc*dp*ic02isc02ip01in*\0cp210x.license=GPL v2\0"
    write(root, f"/lib/modules/{RELEASE}/modules.builtin.modinfo", entry)
    write(root, f"/lib/modules/{RELEASE}/modules.builtin", "kernel/drivers/usb/class/cdc-acm.ko\n")
    assert list(by_name(root)) == ["cdc_acm"]
    assert by_name(root)["cdc_acm"].loaded is True


@pytest.mark.parametrize(
    ("path", "text", "blocked_by"),
    [
        ("/etc/modprobe.d/x.conf", "blacklist cp210x", "/etc/modprobe.d/x.conf: blacklist cp210x"),
        ("/run/modprobe.d/x.conf", "install cp210x /bin/false", "/run/modprobe.d/x.conf: install cp210x /bin/false"),
        (
            "/lib/modprobe.d/x.conf",
            " install\tcp210x \\\n /bin/true",
            "/lib/modprobe.d/x.conf: install cp210x /bin/true",
        ),
        # a module that cp210x needs: its install command runs too, while blacklist hides only its own aliases
        (
            "/etc/modprobe.d/x.conf",
            "install usbserial /bin/false",
            "/etc/modprobe.d/x.conf: install usbserial /bin/false",
        ),
        ("/etc/modprobe.d/x.conf", "blacklist usbserial", None),
        ("/etc/modprobe.d/x.conf", "# blacklist cp210x", None),
        ("/etc/modprobe.d/x.conf", "install cp210x /sbin/modprobe --ignore-install cp210x", None),
        ("/etc/modprobe.d/x.conf.dpkg-old", "blacklist cp210x", None),
        ("/etc/modprobe.d/x.conf", "options cp210x debug=1\nblacklist\ninstall cp210x", None),
        ("/proc/cmdline", "quiet module_blacklist=foo,cp210x", "/proc/cmdline: module_blacklist=cp210x"),
        ("/proc/cmdline", "module_blacklist=usbserial", "/proc/cmdline: module_blacklist=usbserial"),
        ("/proc/cmdline", "modprobe.blacklist=cp210x", "/proc/cmdline: modprobe.blacklist=cp210x"),
        ("/proc/sys/kernel/modules_disabled", "1\n", "/proc/sys/kernel/modules_disabled: 1"),
        ("/proc/sys/kernel/modules_disabled", "0\n", None),
    ],
)
def test_what_blocks_a_module(root: str, path: str, text: str, blocked_by: str | None) -> None:
    """Settings as in modprobe.d(5) and the kernel's kernel-parameters.txt; the text names file and line."""
    bridge(root)
    write(root, path, text)
    assert by_name(root)["cp210x"].blocked_by == blocked_by


def test_dash_and_underscore_are_one(root: str) -> None:
    """`blacklist cdc-acm` blocks cdc_acm: modprobe.d(5), both are interchangeable."""
    write(root, "/etc/modprobe.d/x.conf", "blacklist cdc-acm\n")
    assert by_name(root)["cdc_acm"].blocked_by == "/etc/modprobe.d/x.conf: blacklist cdc-acm"


def test_a_file_in_etc_hides_its_namesake(root: str) -> None:
    """Of files with one name only that of the first folder counts: /etc, /run, then /lib (kmod, libkmod-config.c)."""
    write(root, "/usr/lib/modprobe.d/serial.conf", "blacklist cdc_acm\n")
    assert by_name(root)["cdc_acm"].blocked_by == "/usr/lib/modprobe.d/serial.conf: blacklist cdc_acm"
    write(root, "/etc/modprobe.d/serial.conf", "# allowed here\n")
    assert by_name(root)["cdc_acm"].blocked_by is None


def test_a_settings_file_whose_name_is_no_text(root: str) -> None:
    """The evidence can be saved all the same: bytes that are not UTF-8 are marked as such."""
    write(root, "/etc/modprobe.d/x.conf", "blacklist cdc_acm\n")
    os.rename(f"{root}/etc/modprobe.d/x.conf", os.fsencode(f"{root}/etc/modprobe.d/") + b"\xff.conf")
    assert by_name(root)["cdc_acm"].blocked_by == "/etc/modprobe.d/\ufffd.conf: blacklist cdc_acm"


def test_settings_that_cannot_be_read_leave_it_open(root: str) -> None:
    """An unreadable settings file may hold anything: blocked or not is absent, and a gap says what would help."""

    class Denied(Machine):
        def read_bytes(self, path: str) -> bytes:
            if path == "/etc/modprobe.d/secret.conf":
                raise PermissionError(13, "Permission denied")
            return super().read_bytes(path)

    write(root, "/etc/modprobe.d/secret.conf", "")
    seen = modules.collect(Denied(root=root))
    assert [(module.name, module.blocked_by) for module in seen.facts["modules"]] == [("cdc_acm", UNSET)]
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("modules[].blocked_by", "denied")]


def test_a_kernel_whose_modules_are_gone(root: str) -> None:
    """After an upgrade without a reboot the running kernel's folder may be gone: absent, and the gap names it."""
    shutil.rmtree(f"{root}/lib/modules/{RELEASE}")
    seen = modules.collect(Machine(root=root))
    assert "modules" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("modules", "not-here")]
    assert RELEASE in seen.gaps[0].detail


@pytest.mark.parametrize("release", ["", "6.1\0", "../../tmp", "x" * 100])
def test_a_garbled_release_is_no_folder(root: str, release: str) -> None:
    """What uname(2) could not have said leads nowhere: absent, with a gap."""
    write(root, "/proc/sys/kernel/osrelease", release)
    seen = modules.collect(Machine(root=root))
    assert "modules" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("modules", "not-here")]


def test_nothing_serial_asks_for_nothing() -> None:
    """Without such an interface the list is complete and empty, whatever the kernel's lists hold."""
    with laid_out("refused.umockdev") as folder:
        seen = modules.collect(Machine(root=folder))
    assert (dict(seen.facts), seen.gaps) == ({"modules": []}, ())


def test_without_sys_nobody_could_look(tmp_path: Path) -> None:
    """No /sys: the field is absent and a gap says why."""
    seen = modules.collect(Machine(root=str(tmp_path)))
    assert "modules" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("modules", "not-here")]


# Modules for kmod: depmod reads aliases from .modinfo, and who needs whom from symbols.
_SOURCES = {
    "usbserial": (
        'const char s[] __attribute__((section("__ksymtab_strings"), used)) = "usb_serial_register_drivers";',
        (),
    ),
    "cp210x": (
        "int usb_serial_register_drivers(void); int f(void) { return usb_serial_register_drivers(); }",
        ("usb:v10C4pEA60d*dc*dsc*dp*ic*isc*ip*in*",),
    ),
    "cdc-acm": ("int a;", ("usb:v*p*d*dc*dsc*dp*ic02isc02ip01in*", "usb:v*p*d*dc*dsc*dp*ic02isc02ip02in*")),
    "usb-storage": ("int b;", ("usb:v152Dp0567d011[4-7]dc*dsc*dp*ic*isc*ip*in*",)),
    "mesh-stick": (
        "int c;",
        ("usb:v1209p7A01d0[0-1]*dc*dsc*dp*icFFisc*ip*in*", "usb:v1209p*d*dc*dsc*dp*ic0Aisc*ip*in*"),
    ),
}
_ASKED = (
    BRIDGE,
    "usb:v1209p7A01d0100dc00dsc00dp00icFFisc00ip00in00",
    "usb:v1209p7A01d0200dc00dsc00dp00icFFisc00ip00in00",
    "usb:v1209p7A01d0609dc02dsc00dp00ic02isc02ip01in00",
    "usb:v1209p7A01d0609dc02dsc00dp00ic0Aisc00ip00in01",
    "usb:v152Dp0567d0115dc00dsc00dp00ic08isc06ip50in00",
    "usb:v152Dp0567d0118dc00dsc00dp00ic08isc06ip50in00",
)


@pytest.fixture(scope="module")
def kmod_tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A kernel's module folder as depmod makes it, from modules that hold nothing but their metadata."""
    base = tmp_path_factory.mktemp("kmod")
    folder = base / "lib" / "modules" / RELEASE
    folder.mkdir(parents=True)
    for name, (code, aliases) in _SOURCES.items():
        info = "\\0".join([*(f"alias={alias}" for alias in aliases), "license=GPL"])
        code += f'\nconst char info[] __attribute__((section(".modinfo"), used)) = "{info}";\n'
        object_file = str(folder / f"{name}.ko")
        subprocess.run(["gcc", "-x", "c", "-c", "-o", object_file, "-"], input=code, text=True, check=True)
    for name in ("modules.order", "modules.builtin"):
        (folder / name).write_text("")
    subprocess.run(["depmod", "-b", str(base), RELEASE], check=True, capture_output=True)
    return base


@needs_kmod
def test_matches_are_those_of_modprobe(root: str, kmod_tree: Path) -> None:
    """For each modalias our modules are those that `modprobe --resolve-alias` names, wildcards and ranges included."""
    shutil.rmtree(f"{root}/lib/modules")
    shutil.copytree(kmod_tree / "lib" / "modules", f"{root}/lib/modules")
    resolved: set[str] = set()
    for modalias in _ASKED:
        write(root, f"/sys/bus/usb/devices/{STICK}/modalias", modalias + "\n")
        ours = {name for name, module in by_name(root).items() if STICK in (module.interfaces or [])}
        theirs = _modprobe(kmod_tree, "--resolve-alias", modalias).split()
        assert ours == {name.replace("-", "_") for name in theirs}, modalias
        resolved |= ours
    assert resolved == {"cp210x", "cdc_acm", "usb_storage", "mesh_stick"}


@needs_kmod
@pytest.mark.parametrize(
    "line",
    ["", "blacklist cp210x", "install cp210x /bin/false", "install usbserial /bin/false", "blacklist usbserial"],
)
def test_blocks_are_those_of_modprobe(root: str, kmod_tree: Path, tmp_path: Path, line: str) -> None:
    """A module is blocked where a dry run of modprobe for the interface's alias would not insert its file."""
    bridge(root)
    shutil.rmtree(f"{root}/lib/modules")
    shutil.copytree(kmod_tree / "lib" / "modules", f"{root}/lib/modules")
    write(root, "/etc/modprobe.d/x.conf", line + "\n")
    settings = f"{root}/etc/modprobe.d"
    would = _modprobe(kmod_tree, "-C", settings, "--use-blacklist", "--dry-run", "--verbose", BRIDGE)
    goes_in = "cp210x.ko" in would and "install /bin/false" not in would
    assert (by_name(root)["cp210x"].blocked_by is None) == goes_in, would


def _modprobe(tree: Path, *words: str) -> str:
    done = subprocess.run(
        ["modprobe", "-d", str(tree), "-S", RELEASE, *words], capture_output=True, text=True, timeout=20, check=False
    )
    return done.stdout
