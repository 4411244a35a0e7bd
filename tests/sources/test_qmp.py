"""A QEMU tells on its monitor what it has; whatever else is behind a socket costs one sentence or one gap."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import time
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.vm import Monitor, MonitorUsb, UsbHostArg
from radiocheck.sources import qmp
from radiocheck.sources.machine import Machine
from radiocheck.sources.probe import sources
from radiocheck.sources.qmp import NoMonitor, ask

from .monitors import ANSWERS, GREETING, QEMU, RADIO, Client, acted, await_listener, running

pytest.importorskip("qemu.qmp", reason="the library qemu.qmp is not installed")
needs_qemu = pytest.mark.skipif(QEMU is None, reason="Debian's qemu-system-x86 is not installed")
HELLO = json.dumps(GREETING).encode() + b"\r\n"
IDS = UsbHostArg(id="radio", vid="1209", pid="7a01")


def one(path: Path, limit: float = 30.0) -> Monitor:
    """The only record of a socket that is asked, which answers everything."""
    seen = ask([str(path)], Machine(), limit)
    assert seen.gaps == ()
    (monitor,) = seen.facts["monitors"]
    assert isinstance(monitor, Monitor)
    return monitor


def refusal(path: Path | str) -> str:
    """The one sentence about a socket that cannot be asked."""
    with pytest.raises(NoMonitor) as raised:
        ask([str(path)], Machine(), 5)
    assert "\n" not in str(raised.value)
    return str(raised.value)


def test_the_probe_does_not_come_upon_it() -> None:
    """A monitor may belong to the VM's manager: only who names a socket has it asked."""
    assert "qmp" not in sources()
    assert not hasattr(qmp, "collect")


# --- real QEMUs


@needs_qemu
def test_what_the_command_line_gave(tmp_path: Path) -> None:
    """Each usb-host device with its selectors; what was not given, or given as the wildcard 0, is null."""
    devices = ["-device", RADIO, "-device", "usb-host,hostbus=9,hostport=1.2,vendorid=0", "-device", "usb-tablet"]
    with running(tmp_path, *devices) as path:
        monitor = one(path)
    assert (monitor.socket, monitor.name, monitor.uuid, monitor.status) == (str(path), "hearth", None, "running")
    assert (
        f"version {monitor.version} " in subprocess.run([str(QEMU), "--version"], capture_output=True, text=True).stdout
    )
    assert monitor.usb == [
        MonitorUsb(argument=IDS, attached=False, hot_plugged=False, product=None),
        MonitorUsb(argument=UsbHostArg(bus=9, port="1.2"), attached=False, hot_plugged=False, product=None),
    ]


@needs_qemu
def test_plugged_in_and_taken_out_while_it_runs(tmp_path: Path) -> None:
    """device_add brings a device that no command line shows, and device_del takes one away that it shows."""
    with running(tmp_path, "-device", RADIO) as path:
        client = Client(path)
        client.do("device_add", driver="usb-host", hostbus=9, hostport="2", id="late")
        client.do("device_del", id="radio")
        while any(child["name"] == "radio" for child in client.do("qom-list", path="/machine/peripheral")):
            time.sleep(0.05)
        client.leave()
        monitor = one(path)
    late = UsbHostArg(id="late", bus=9, port="2")
    assert monitor.usb == [MonitorUsb(argument=late, attached=False, hot_plugged=True, product=None)]


@needs_qemu
def test_who_it_is(tmp_path: Path) -> None:
    """Name, UUID, state, and the process that listens."""
    uuid = "8C3C1D2E-1111-2222-3333-444455556666"
    with running(tmp_path, "-uuid", uuid, "-S", name=None) as path:
        monitor = one(path)
        assert Path(f"/proc/{monitor.pid}/comm").read_text().startswith("qemu-system")
    assert (monitor.name, monitor.uuid, monitor.status) == (None, uuid.lower(), "prelaunch")
    assert monitor.usb == []


@needs_qemu
def test_a_monitor_in_use(tmp_path: Path) -> None:
    """QEMU serves one client at a time: the second one gets no greeting, and does the first one no harm."""
    with running(tmp_path) as path:
        keeper = Client(path)
        seen = ask([str(path)], Machine(), limit=1.0)
        (gap,) = seen.gaps
        assert (gap.what, gap.why) == ("monitors", "timed-out")
        assert "one client at a time" in gap.detail
        assert "-qmp unix:" in gap.detail
        assert [monitor.usb for monitor in seen.facts["monitors"]] == [UNSET]
        assert keeper.do("query-status")["running"] is True
        keeper.leave()
        assert one(path).name == "hearth"


@needs_qemu
def test_a_monitor_that_others_wait_for(tmp_path: Path) -> None:
    """With a full queue the kernel refuses to wait (unix(7), EAGAIN), which means the same."""
    with running(tmp_path) as path:
        keeper, waiting = Client(path), []
        for _ in range(8):  # the length of the queue is QEMU's to choose
            client = socket.socket(socket.AF_UNIX)
            client.setblocking(False)
            waiting.append(client)
            try:
                client.connect(str(path))
            except BlockingIOError:
                break
        seen = ask([str(path)], Machine(), limit=1.0)
        assert [gap.why for gap in seen.gaps] == ["timed-out"]
        for client in waiting:
            client.close()
        keeper.leave()


def test_several_that_do_not_answer(tmp_path: Path) -> None:
    """One gap tells of all, and there is a record of each."""
    with acted(tmp_path / "a", None), acted(tmp_path / "b", HELLO, {**ANSWERS, "query-name": b""}):
        seen = ask([str(tmp_path / "a"), str(tmp_path / "b")], Machine(), limit=0.5)
    (gap,) = seen.gaps
    assert gap.why == "failed"
    assert f"{tmp_path}/a does not greet" in gap.detail
    assert f"{tmp_path}/b broke off" in gap.detail
    assert [monitor.usb for monitor in seen.facts["monitors"]] == [UNSET, UNSET]


@needs_qemu
def test_several(tmp_path: Path) -> None:
    """Each socket is asked once, whatever it is called."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    with running(tmp_path / "a") as first, running(tmp_path / "b", name="attic") as second:
        os.symlink(first, tmp_path / "other")
        seen = ask([str(first), str(tmp_path / "other"), str(second)], Machine())
    assert [monitor.name for monitor in seen.facts["monitors"]] == ["hearth", "attic"]


@needs_qemu
def test_the_monitor_for_people(tmp_path: Path) -> None:
    """QEMU's other monitor greets in English."""
    words = ["-monitor", f"unix:{tmp_path}/people,server=on,wait=off"]
    with running(tmp_path, *words):
        await_listener(tmp_path / "people")
        assert "does not speak QMP" in refusal(tmp_path / "people")


# --- what is no monitor


def test_no_socket(tmp_path: Path) -> None:
    """A file, nothing, a name that cannot be one, a socket without a listener, one of another kind."""
    (tmp_path / "file").write_text("text")
    assert "is no socket" in refusal(tmp_path / "file")
    assert "No such file" in refusal(tmp_path / "nothing")
    assert "is no file name" in refusal("a\0b")
    with socket.socket(socket.AF_UNIX) as left, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other:
        left.bind(str(tmp_path / "left"))
        other.bind(str(tmp_path / "other"))
        assert "nobody listens" in refusal(tmp_path / "left")
        assert "cannot be asked" in refusal(tmp_path / "other")


def test_denied() -> None:
    """unix(7): connecting takes the right to write to the socket's file."""
    own = os.geteuid()
    with TemporaryDirectory() as folder, socket.socket(socket.AF_UNIX) as server:
        os.chmod(folder, 0o755)
        server.bind(f"{folder}/monitor")
        server.listen(1)
        os.chmod(f"{folder}/monitor", 0)
        try:
            if own == 0:  # root is denied nothing
                os.seteuid(65534)
            assert "this user may not ask" in refusal(f"{folder}/monitor")
        finally:
            os.seteuid(own)


@pytest.mark.parametrize(
    "first",
    [
        b"",
        b"HTTP/1.1 400 Bad Request\r\n\r\n",
        b"{}\r\n",
        b"[]\r\n",
        b'{"QMP": 3}\r\n',
        b"\xff\r\n",
        b"[" * 200_000 + b"\n",
    ],
    ids=["nothing", "http", "empty", "list", "number", "bytes", "depth"],
)
def test_another_language(tmp_path: Path, first: bytes) -> None:
    """What does not greet as QEMU does is told so, and is sent nothing."""
    with acted(tmp_path / "monitor", first) as sent:
        assert "QMP" in refusal(tmp_path / "monitor")
    assert sent == []


def test_an_endless_greeting(tmp_path: Path) -> None:
    """A line longer than any answer of QEMU is no greeting."""
    with acted(tmp_path / "monitor", b" " * (qmp.LINE_LIMIT + 1)):
        assert "QMP" in refusal(tmp_path / "monitor")


def test_silence(tmp_path: Path) -> None:
    """Without a greeting nothing is sent; after the limit it is a gap."""
    with acted(tmp_path / "monitor", None) as sent:
        seen = ask([str(tmp_path / "monitor")], Machine(), limit=0.5)
    assert [gap.why for gap in seen.gaps] == ["timed-out"]
    assert sent == []


# --- a monitor that stops, or answers nonsense


def act(path: Path, changed: Mapping[str, Any], limit: float = 10.0) -> tuple[Monitor, list[str], list[Any]]:
    """The record of an acted QEMU with some other answers, the reasons of its gaps, and what it was sent."""
    with acted(path, HELLO, {**ANSWERS, **changed}) as sent:
        seen = ask([str(path)], Machine(), limit)
    return seen.facts["monitors"][0], [gap.why for gap in seen.gaps], sent


def test_only_questions_are_asked(tmp_path: Path) -> None:
    """Everything that is sent is a question, save the agreement to speak that the protocol asks for."""
    monitor, gaps, sent = act(tmp_path / "monitor", {})
    assert gaps == []
    assert monitor.usb == [MonitorUsb(argument=IDS, attached=False, hot_plugged=False, product=None)]
    assert {asked["execute"] for asked in sent} == {
        "qmp_capabilities",
        "query-name",
        "query-uuid",
        "query-status",
        "query-version",
        "qom-list",
        "qom-get",
        "x-query-usb",
    }


@pytest.mark.parametrize(
    "end",
    [b"", b'{"return": ', b"nonsense\n", b"[" * 200_000 + b"\n", b" " * (qmp.LINE_LIMIT + 1), b"9" * 10_000 + b"\n"],
    ids=["closed", "half", "nonsense", "depth", "endless", "digits"],
)
@pytest.mark.parametrize("command", ["query-status", "attached"])
def test_the_conversation_breaks_off(tmp_path: Path, command: str, end: bytes) -> None:
    """What was answered before is kept, the list of devices is not there, and a gap says why."""
    monitor, gaps, _ = act(tmp_path / "monitor", {command: end})
    assert monitor.name == "hearth"
    assert monitor.usb is UNSET
    assert gaps == ["failed"]


def test_a_question_is_refused(tmp_path: Path) -> None:
    """A QEMU that will not list its devices has told nothing about them."""
    with acted(tmp_path / "monitor", HELLO, {**ANSWERS, "qom-list /machine/peripheral": ValueError("no\0\ud800")}):
        seen = ask([str(tmp_path / "monitor")], Machine())
    assert [gap.detail for gap in seen.gaps] == [f"{tmp_path}/monitor refused a question: no?"]
    (monitor,) = seen.facts["monitors"]
    assert (monitor.status, monitor.usb) == ("running", UNSET)


@pytest.mark.parametrize("command", ["qmp_capabilities", "query-name", "query-uuid", "hostport"])
def test_no_answer(tmp_path: Path, command: str) -> None:
    """A monitor that greets and then hangs is given up after the limit."""
    monitor, gaps, _ = act(tmp_path / "monitor", {command: ...}, limit=0.5)
    assert gaps == ["timed-out"]
    assert monitor.usb is UNSET
