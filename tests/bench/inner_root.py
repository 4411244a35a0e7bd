"""Choose, from the machine's own packages, the files of the small VM that runs inside it.

That VM is a Linux of its own: the machine's kernel and some of its modules, udev, Python
and a shell, in one initial RAM disk (Linux, Documentation/driver-api/early-userspace/buffer-format.rst).
The same way the machine's QEMU is copied out, since a saved VM can only be trusted to the
program that saved it.  All is read from the tar file that mmdebstrap makes; root is not needed.
"""

from __future__ import annotations

import re
import stat
import tarfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

PACKAGES = ("python3", "udev", "kmod", "libc-bin", "busybox-static", "base-files")
# Needed by maintainer scripts, or by modules of Python that radiocheck does not import.
WITHOUT = {"adduser", "perl", "usrmerge", "coreutils", "util-linux", "debconf", "dpkg", "dash", "sed", "grep"}
WITHOUT |= {"libdb5.3", "libsqlite3-0", "libnsl2", "libtirpc3", "media-types", "readline-common"}
UNUSED = re.compile(
    r"usr/share/(?!python3$)|usr/lib/udev/hwdb|usr/lib/x86_64-linux-gnu/(perl|gconv)|usr/lib/systemd/(?!systemd-udevd)"
    r"|usr/lib/python3\.11/(test|lib2to3|ensurepip|idlelib|tkinter|pydoc_data|turtle|turtledemo|asyncio|unittest)"
)
# Made by maintainer scripts, so that no package lists them; the log's reader without its whole package.
ALSO = {"etc/passwd", "etc/group", "etc/ld.so.cache", "usr/bin/dmesg", "bin", "sbin", "lib", "lib64"}
MODULES = {"virtio_pci", "virtio_console", "xhci_pci", "cdc_acm", "ftdi_sio", "cp210x", "ch341", "pl2303"}

QEMU = ("qemu-system-x86",)
QEMU_FILES = re.compile(
    r"usr/bin/qemu-system-x86_64$|usr/lib/x86_64-linux-gnu/([^/]*\.so[^/]*$|(qemu|pulseaudio)/)"
    r"|usr/share/(qemu|seabios)/[^/]*\.(bin|rom)$"
)
MERGED = re.compile(r"(?:bin|sbin|lib|lib64)/")


class Tar:
    """The files of the machine by name, and what its packages say of each other."""

    def __init__(self, path: Path) -> None:
        self.tar = tarfile.open(path)  # noqa: SIM115 (it is read from for as long as this lives)
        self.members = {member.name.removeprefix("./"): member for member in self.tar}
        self.needs: dict[str, list[list[str]]] = {}
        for paragraph in self.text("var/lib/dpkg/status").split("\n\n"):
            fields = dict(re.findall(r"^([\w-]+): (.*)$", paragraph, re.M))
            lines = [fields[key] for key in ("Depends", "Pre-Depends") if key in fields]
            choices = [line.split("|") for line in ", ".join(lines).split(", ") if line]
            self.needs[fields.get("Package", "")] = [
                [re.split(r"[ :(]", one.strip())[0] for one in choice] for choice in choices
            ]

    def data(self, name: str) -> bytes:
        """A file's content."""
        file = self.tar.extractfile(self.members[name])
        assert file is not None, name
        return file.read()

    def text(self, name: str) -> str:
        """A file's content as text."""
        return self.data(name).decode("utf-8")

    def with_needs(self, packages: Iterable[str], without: set[str]) -> set[str]:
        """These packages and all that they depend on."""
        found: set[str] = set()
        todo = list(packages)
        while todo:
            package = todo.pop()
            if package in found or package in without:
                continue
            found.add(package)
            for choice in self.needs[package]:
                # A virtual package is none; what provides it here is not asked.
                todo += [one for one in choice if one in self.needs][:1]
        return found

    def files_of(self, package: str) -> Iterator[str]:
        """What a package lists, where usr-merge has put it."""
        for name in (f"var/lib/dpkg/info/{package}.list", f"var/lib/dpkg/info/{package}:amd64.list"):
            for line in self.text(name).splitlines() if name in self.members else []:
                path = line.lstrip("/")
                path = f"usr/{path}" if MERGED.match(path) else path
                if path in self.members:
                    yield path

    def modules(self, wanted: set[str]) -> set[str]:
        """Files of these kernel modules and of those that they need."""
        (index,) = [name for name in self.members if re.fullmatch(r"usr/lib/modules/[^/]+/modules\.dep", name)]
        folder = index.rpartition("/")[0]
        needs = {line.partition(":")[0]: line.partition(":")[2].split() for line in self.text(index).splitlines()}
        own = {path for path in needs if Path(path).name.partition(".")[0].replace("-", "_") in wanted}
        files = own | {path for each in own for path in needs[each]}
        # What is built in; the other lists are made for what is there, by depmod.
        lists = {"modules.order", "modules.builtin", "modules.builtin.modinfo"}
        return {f"{folder}/{path}" for path in files | lists}


class Archive:
    """A cpio archive of the `newc` kind.  Everything in it is root's."""

    def __init__(self, out: BinaryIO) -> None:
        self.out = out
        self.count = 0

    def add(self, name: str, mode: int, data: bytes = b"", mtime: int = 0) -> None:
        """Add a file, folder or link; a link's data is its target."""
        self.count += 1
        title = name.encode() + b"\0"
        numbers = (self.count, mode, 0, 0, 1, mtime, len(data), 0, 0, 0, 0, len(title), 0)
        for part in (b"070701" + b"".join(b"%08x" % number for number in numbers) + title, data):
            self.out.write(part + b"\0" * (-len(part) % 4))

    def folder(self, name: str) -> None:
        """Add a folder."""
        self.add(name, stat.S_IFDIR | 0o755)

    def file(self, name: str, data: bytes, mode: int = 0o644, mtime: int = 0) -> None:
        """Add a file."""
        self.add(name, stat.S_IFREG | mode, data, mtime)

    def end(self) -> None:
        """Write the end mark."""
        self.add("TRAILER!!!", 0)


def root_files(tar: Tar) -> list[str]:
    """All names that go into the VM, folders before what is in them."""
    names = {name for package in tar.with_needs(PACKAGES, WITHOUT) for name in tar.files_of(package)}
    names = {name for name in names if not UNUSED.match(name)} | ALSO | tar.modules(MODULES)
    # Compiled beforehand, by a maintainer script; Python compares the time of the source.
    compiled = {re.sub(r"([^/]*)\.py$", r"__pycache__/\1.cpython-311.pyc", name) for name in names}
    names |= {name for name in compiled if name in tar.members}
    return sorted(names | {str(folder) for name in names for folder in Path(name).parents} - {"."})


def write_root(tar: Tar, into: Path) -> None:
    """Write the VM's files as one archive, which the kernel unpacks."""
    with into.open("wb") as out:
        archive = Archive(out)
        for name in root_files(tar):
            member = tar.members[name]
            if member.issym():
                archive.add(name, stat.S_IFLNK | 0o777, member.linkname.encode())
            elif member.isdir():
                archive.folder(name)
            else:
                archive.file(name, tar.data(name), member.mode, int(member.mtime))
        archive.end()


def write_qemu(tar: Tar, into: Path) -> None:
    """Copy out the machine's QEMU with its libraries and firmware."""
    for package in tar.with_needs(QEMU, WITHOUT):
        for name in filter(QEMU_FILES.match, tar.files_of(package)):
            member, path = tar.members[name], into / name
            path.parent.mkdir(parents=True, exist_ok=True)
            if member.issym():
                path.symlink_to(member.linkname)
            elif not member.isdir():
                path.write_bytes(tar.data(name))
                path.chmod(0o755)
