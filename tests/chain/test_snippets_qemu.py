"""A real QEMU understands the words that are made for it."""

from __future__ import annotations

import json
import shutil
import subprocess

import pytest

from radiocheck.chain.snippets import SNIPPETS, make

from .pasted import adapters

ADAPTERS = adapters()
MADE = {
    made.text: name
    for name in SNIPPETS
    for who in ADAPTERS
    if name.startswith("qemu-") and (made := make(name, ADAPTERS[who]))
}
PROPERTIES = ("vendorid", "productid", "hostbus", "hostport", "guest-reset")

pytestmark = pytest.mark.skipif(
    shutil.which("qemu-system-x86_64") is None, reason="QEMU is absent (Debian package qemu-system-x86)"
)


def asked(words: str) -> tuple[dict[str, object], str]:
    """A QEMU that is started with these words and runs nothing: its device's properties, and what it complained of."""
    base = "-machine pc,accel=tcg -m 16 -nodefaults -display none -S -qmp stdio -device qemu-xhci"
    path = {"path": "/machine/peripheral-anon/device[1]"}  # device[0] is the controller
    questions = [{"execute": "qmp_capabilities"}]
    questions += [{"execute": "qom-get", "arguments": {**path, "property": name}} for name in PROPERTIES]  # type: ignore[dict-item]  # JSON
    questions.append({"execute": "quit"})
    done = subprocess.run(
        ["qemu-system-x86_64", *base.split(), *words.split()],
        input="".join(json.dumps(one) + "\n" for one in questions),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    values = [one.get("return") for one in answers if "return" in one or "error" in one][1:-1]
    return dict(zip(PROPERTIES, values, strict=False)), done.stderr


@pytest.mark.parametrize("words", [words for words in MADE if "usb-host" in words])
def test_usb_host(words: str) -> None:
    """QEMU starts, and its usb-host has the properties that were written and the defaults else (usb_host_realize)."""
    properties, complaints = asked(words)
    written = dict(part.split("=") for part in words.removeprefix("-device usb-host,").split(","))
    assert complaints == ""
    assert properties["vendorid"] == int(written.get("vendorid", "0"), 16)
    assert properties["productid"] == int(written.get("productid", "0"), 16)
    assert properties["hostbus"] == int(written.get("hostbus", "0"))
    assert (properties["hostport"] or None) == written.get("hostport")
    assert properties["guest-reset"] is ("guest-reset" not in written)


@pytest.mark.parametrize("words", [words for words in MADE if "vfio-pci" in words])
def test_controller(words: str) -> None:
    """QEMU looks for exactly that PCI function; here is none, or none that may be given away (hw/vfio/pci.c)."""
    _, complaints = asked(words)
    assert f"vfio {words.partition('host=')[2]}" in complaints.replace("/sys/bus/pci/devices/", "")


@pytest.mark.parametrize("words", [words for words in MADE if "chardev" in words])
def test_serial(words: str) -> None:
    """QEMU opens exactly that name as a serial port; here it is not (chardev/char-serial.c)."""
    _, complaints = asked(words)
    name = words.partition("path=")[2].partition(" ")[0]
    assert f"'{name}': No such file or directory" in complaints
