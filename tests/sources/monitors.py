"""QEMUs with a monitor, real ones and acted ones, for the tests that ask them."""

from __future__ import annotations

import contextlib
import json
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

QEMU = shutil.which("qemu-system-x86_64")
RADIO = "usb-host,vendorid=0x1209,productid=0x7a01,id=radio"  # matches nothing here, so it stays unattached
GREETING = {"QMP": {"version": {"qemu": {"major": 7, "minor": 2, "micro": 22}, "package": ""}, "capabilities": ["oob"]}}
# Answers of QEMU 7.2 with one unattached usb-host device.
ANSWERS: dict[str, Any] = {
    "qmp_capabilities": {},
    "query-name": {"name": "hearth"},
    "query-uuid": {"UUID": "8c3c1d2e-1111-2222-3333-444455556666"},
    "query-status": {"status": "running", "singlestep": False, "running": True},
    "query-version": GREETING["QMP"]["version"],
    "qom-list /machine/peripheral": [{"name": "type", "type": "string"}, {"name": "radio", "type": "child<usb-host>"}],
    "qom-list /machine/peripheral-anon": [{"name": "type", "type": "string"}],
    "x-query-usb": {
        "human-readable-text": "  Device 0.0, Port 1, Speed 1.5 Mb/s, Product USB Host Device, ID: radio\n"
    },
    "vendorid": 0x1209,
    "productid": 0x7A01,
    "hostbus": 0,
    "hostaddr": 0,
    "hostport": "",
    "hostdevice": "",
    "attached": False,
    "hotplugged": False,
}


@contextlib.contextmanager
def running(folder: Path, *words: str, name: str | None = "hearth") -> Iterator[Path]:
    """The socket of a QEMU that has a USB controller and the devices of `words`."""
    path = folder / "monitor"
    command = [str(QEMU), "-machine", "pc,accel=tcg", "-nodefaults", "-display", "none", "-m", "16"]
    command += ["-device", "qemu-xhci,id=usb", "-qmp", f"unix:{path},server=on,wait=off", *words]
    command += ["-name", name] if name else []
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        await_listener(path)
        yield path
    finally:
        process.terminate()
        process.wait(30)


def await_listener(path: Path) -> None:
    """Wait until somebody listens on a socket, without connecting to it.

    That is the flag __SO_ACCEPTCON in /proc/net/unix (Linux net/unix/af_unix.c, unix_seq_show).
    """
    deadline = time.monotonic() + 60
    while True:
        lines = (line.split() for line in Path("/proc/net/unix").read_text().splitlines())
        if any(len(line) == 8 and line[7] == str(path) and line[3] == "00010000" for line in lines):
            return
        assert time.monotonic() < deadline, f"nobody listens on {path}"
        time.sleep(0.05)


class Client:
    """A client as a VM's manager is one: it keeps the monitor for itself."""

    def __init__(self, path: Path) -> None:
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(30)
        self.socket.connect(str(path))
        self.stream = self.socket.makefile("rw")
        self.greeting = json.loads(self.stream.readline())
        self.do("qmp_capabilities")

    def do(self, command: str, **arguments: Any) -> Any:
        """QEMU's answer to a command."""
        self.stream.write(json.dumps({"execute": command, "arguments": arguments}) + "\n")
        self.stream.flush()
        while True:
            answer = json.loads(self.stream.readline())
            if "event" not in answer:
                assert "error" not in answer, answer
                return answer["return"]

    def leave(self) -> None:
        """Give the monitor back."""
        self.stream.close()
        self.socket.close()


@contextlib.contextmanager
def acted(path: Path, first: bytes | None, answers: Mapping[str, Any] | None = None) -> Iterator[list[Any]]:
    """A server that greets with `first` and answers from `answers`; gives the commands it was sent.

    None as greeting: it says nothing and waits; no bytes: it closes at once.  An answer
    that is bytes is sent as it is, and the connection closed; an exception is an error;
    `...` is no answer.
    """
    sent: list[Any] = []
    server = socket.socket(socket.AF_UNIX)
    server.bind(str(path))
    server.listen(1)
    server.settimeout(30)

    def serve() -> None:
        with contextlib.suppress(OSError), server.accept()[0] as connection:
            connection.sendall(first or b"")
            if first == b"":
                return
            for asked in _asked(connection):
                sent.append(asked)
                reply = _reply(asked, answers or {})
                connection.sendall(reply or b"")
                if reply is not None and not reply.endswith(b"\r\n"):
                    return

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield sent
    finally:
        server.close()
        thread.join(40)


def _asked(connection: socket.socket) -> Iterator[Any]:
    """The commands of a client; the protocol asks for no line break between them."""
    text, decoder = "", json.JSONDecoder()
    while part := connection.recv(65536):
        text += part.decode()
        while text := text.lstrip():
            try:
                asked, end = decoder.raw_decode(text)
            except ValueError:
                break
            yield asked
            text = text[end:]


def _reply(asked: Mapping[str, Any], answers: Mapping[str, Any]) -> bytes | None:
    command, arguments = asked["execute"], asked.get("arguments", {})
    for key in (f"{command} {arguments.get('path')}", arguments.get("property"), command):
        if key in answers:
            answer = answers[key]
            break
    else:
        answer = LookupError("The command has not been found")
    if answer is ...:
        return None
    if isinstance(answer, bytes):
        return answer
    told = (
        {"error": {"class": type(answer).__name__, "desc": str(answer)}}
        if isinstance(answer, Exception)
        else {"return": answer}
    )
    return json.dumps({**told, **{key: asked[key] for key in ("id",) if key in asked}}).encode() + b"\r\n"
