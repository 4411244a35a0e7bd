"""Build radiocheck's wheel and fetch those it needs, for the bench machine's Python."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

from tests.bench.image import cache_dir

ROOT = Path(__file__).resolve().parents[2]
# The machine is Debian 12 on x86-64, whatever this one is.
TARGET = ["--python-version=3.11", "--implementation=cp", "--only-binary=:all:"]
TARGET += [f"--abi={abi}" for abi in ("cp311", "abi3", "none")]
TARGET += [f"--platform=manylinux_2_{n}_x86_64" for n in (36, 35, 34, 31, 28, 27, 26, 24, 17, 12, 5)]
TARGET += [f"--platform={name}" for name in ("manylinux2014_x86_64", "linux_x86_64", "any")]


def build_wheel(into: Path) -> Path:
    """Build the wheel of this tree; it changes with every edit, so it is never kept."""
    # A fixed time makes the same tree give the same wheel.
    env = {**os.environ, "SOURCE_DATE_EPOCH": "1700000000"}
    _pip("wheel", "--no-deps", f"--wheel-dir={into}", str(ROOT), env=env)
    (wheel,) = into.glob("radiocheck-*.whl")
    return wheel


def needed_wheels(wheel: Path) -> list[Path]:
    """Fetch the wheels that radiocheck needs, once per list of dependencies."""
    recipe = (ROOT / "pyproject.toml").read_bytes() + " ".join(TARGET).encode()
    folder = cache_dir() / f"wheels-{hashlib.sha256(recipe).hexdigest()[:16]}"
    ready = folder / "complete"
    if not ready.exists():
        folder.mkdir(parents=True, exist_ok=True)
        print("bench: fetching the wheels that radiocheck needs …", flush=True)
        _pip("download", f"--dest={folder}", *TARGET, str(wheel))
        for own in folder.glob("radiocheck-*.whl"):
            own.unlink()
        ready.touch()
    return sorted(folder.glob("*.whl"))


def pack_site(into: Path) -> None:
    """Install radiocheck's wheel and those that it needs into a tar file for the machine.

    pip itself takes two minutes under emulation, and seconds here.
    """
    with tempfile.TemporaryDirectory() as work:
        wheel = build_wheel(Path(work))
        wanted = [*map(str, needed_wheels(wheel)), str(wheel)]
        # Compiled only when this Python makes what the machine's Python reads.
        compiled = "--compile" if sys.version_info[:2] == (3, 11) else "--no-compile"
        site = Path(work) / "site"
        _pip("install", "--no-index", "--no-deps", compiled, *TARGET, f"--target={site}", *wanted)
        with tarfile.open(into, "w") as tar:
            tar.add(site, arcname=".")


def _pip(*arguments: str, env: dict[str, str] | None = None) -> None:
    command = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", *arguments]
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"bench: pip {arguments[0]} failed:\n{done.stdout}{done.stderr}")
