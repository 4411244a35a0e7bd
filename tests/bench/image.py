"""Build the bench machine's disk, kernel and initial RAM disk from Debian packages.

Nothing is mounted and no loop device is used, so that an ordinary user can build
it too: mmdebstrap makes a tar file, mke2fs turns the unpacked tree into a disk.
The result is kept under a name made from its recipe.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.bench import inner_root

HERE = Path(__file__).resolve().parent
RECIPE = HERE / "image"
SUITE = "bookworm"
DISK_SIZE = "3G"
KEPT = ("disk.img", "vmlinuz", "initrd.img", "inner.cpio", "qemu")
# A change to how the tar becomes a disk must rebuild it as well.
LAYOUT = "2"


class NoImage(Exception):
    """The machine's image cannot be made here: a package or the way to Debian's archive is missing."""


@dataclass(frozen=True)
class Image:
    """The three files that QEMU boots, and what the VM inside is made from."""

    disk: Path
    kernel: Path
    initrd: Path
    inner: Path  # its files, an archive
    qemu: Path  # the machine's own QEMU, to be run outside


def cache_dir() -> Path:
    """Say where images, wheels and saved evidence are kept between runs."""
    named = os.environ.get("RADIOCHECK_BENCH_CACHE")
    if named:
        return Path(named)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "radiocheck-bench"


def recipe_hash() -> str:
    """Hash everything that decides what is in the image."""
    digest = hashlib.sha256(f"{SUITE} {DISK_SIZE} {LAYOUT}".encode())
    for path in [*sorted(RECIPE.iterdir()), Path(inner_root.__file__)]:
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def ensure_image() -> Image:
    """Return the image of the present recipe, building it if it is not kept yet."""
    folder = cache_dir() / f"image-{recipe_hash()}"
    if not all((folder / name).exists() for name in KEPT):
        _build(folder)
    return Image(*(folder / name for name in KEPT))


def packages() -> list[str]:
    """Read the package list, without its comments."""
    lines = (RECIPE / "packages").read_text(encoding="utf-8").splitlines()
    return [line.strip() for line in lines if line.strip() and not line.startswith("#")]


def _build(folder: Path) -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="build-", dir=folder.parent) as work_name:
        work = Path(work_name)
        # The unshare mode's own root user must be able to walk through here.
        work.chmod(0o755)
        print(f"bench: building the machine's image in {folder} …", flush=True)
        _bootstrap(work)
        tar = inner_root.Tar(work / "rootfs.tar")
        inner_root.write_root(tar, work / "inner.cpio")
        inner_root.write_qemu(tar, work / "qemu")
        _make_disk(work)
        kept = work / "kept"
        kept.mkdir()
        for name in KEPT:
            (work / name).rename(kept / name)
        # Whole or not at all: an interrupted build must not look finished.
        if folder.exists():
            shutil.rmtree(folder)
        kept.rename(folder)


def _bootstrap(work: Path) -> None:
    """Make the machine's files as one tar file, with this machine's way to its packages."""
    options = work / "apt.conf"
    options.write_text(_apt_options(), encoding="utf-8")
    command = [
        "mmdebstrap",
        "--quiet",
        "--variant=minbase",
        f"--include={','.join(packages())}",
        f"--aptopt={options}",
        f'--customize-hook={RECIPE}/customize.sh "$1" {RECIPE}',
        "--customize-hook=rm -f $1/etc/apt/apt.conf.d/99mmdebstrap",
        SUITE,
        str(work / "rootfs.tar"),
        *_apt_sources(),
    ]
    _run(command, work / "mmdebstrap.log")


def _apt_options() -> str:
    """Take over how this machine reaches its package archive (proxies, certificates)."""
    try:
        dump = subprocess.run(["apt-config", "dump", '--format=%F "%v";%n'], capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        raise NoImage(f"bench: apt-config does not tell the way to packages ({error}); nothing can be played") from None
    wanted = ("Acquire::http", "Acquire::https", "Acquire::Retries", "Acquire::Check-Valid-Until")
    return "\n".join(line for line in dump.stdout.splitlines() if line.startswith(wanted)) + "\n"


def _apt_sources() -> list[str]:
    """Name the files that list this machine's Debian archive, if it is the same suite.

    On any other system the list is empty and mmdebstrap uses Debian's own archive.
    """
    found: list[str] = []
    candidates = [Path("/etc/apt/sources.list"), *Path("/etc/apt/sources.list.d").glob("*")]
    for path in sorted(candidates):
        if path.suffix not in (".list", ".sources") or not path.is_file():
            continue
        text = path.read_text(encoding="utf-8")
        if SUITE in text and "debian-archive-keyring" in text + "debian-archive-keyring" * (
            path.name == "sources.list"
        ):
            found.append(str(path))
    return found


def _make_disk(work: Path) -> None:
    """Turn the tar file into an ext4 disk, and take kernel and initial RAM disk out of it."""
    script = (
        "mkdir root && tar xpf rootfs.tar -C root --exclude='./dev/*' && rm rootfs.tar && "
        f"mke2fs -q -t ext4 -L bench -d root disk.img {DISK_SIZE} && "
        "cp root/boot/vmlinuz-* vmlinuz && cp root/boot/initrd.img-* initrd.img && "
        "chmod -R u+rwX root && rm -rf root"
    )
    command = ["sh", "-c", f"cd '{work}' && {script}"]
    if os.geteuid() != 0:
        # Ownership has to survive unpacking: fakeroot remembers it for mke2fs.
        command = ["fakeroot", *command]
    _run(command, work / "disk.log")


def _run(command: list[str], log: Path) -> None:
    try:
        with log.open("wb") as out:
            code = subprocess.run(command, stdout=out, stderr=subprocess.STDOUT, check=False).returncode
    except FileNotFoundError:
        raise NoImage(f"bench: {command[0]} is not installed, so there is no machine to play on") from None
    if code:
        tail = log.read_text(encoding="utf-8", errors="replace")[-3000:]
        raise NoImage(f"bench: {command[0]} failed ({code}), so there is no machine to play on:\n{tail}")
