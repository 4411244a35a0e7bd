"""What running QEMUs tell of themselves, each asked on a monitor socket that a person named.

There is no `collect` here, on purpose: a monitor serves one client at a time and may
belong to the VM's manager, so the probe must not come upon it by itself.  Only questions
are asked (`qmp_questions.py`), and nothing is sent before the other side has greeted as
a QEMU does.

The protocol is that of QEMU's docs/interop/qmp-spec (from memory; seen with QEMU 7.2),
spoken by the QEMU project's own library.
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from radiocheck.evidence.record import Gap
from radiocheck.evidence.vm import Monitor

from .machine import Machine, Seen, decoded
from .qmp_questions import Refusal, questions

if TYPE_CHECKING:
    import socket

    from qemu.qmp import QMPClient

ANSWER_LIMIT = 15.0  # seconds for one answer; a busy small machine needs some
WHOLE = 4  # times that long for one QEMU as a whole
LINE_LIMIT = 4 << 20  # bytes of one answer; a list of all devices has some ten thousand
INSTALL = "asking a QEMU needs the library qemu.qmp; install it with `pip install 'radiocheck[qmp]'`"
ONE_MORE = "-qmp unix:/run/ask.sock,server=on,wait=off"


class NoMonitor(Exception):
    """A socket that cannot be asked, or nothing to ask it with; one sentence."""


class _Told(Struct):
    """What was answered so far, and what was not."""

    facts: dict[str, Any]
    gap: Gap | None = None


def ask(sockets: Sequence[str], machine: Machine, limit: float = ANSWER_LIMIT) -> Seen:
    """`monitors`: one record per socket; a QEMU that does not answer leaves a gap.

    `limit` is in seconds for one answer.  Raises `NoMonitor` for what is no QEMU's
    monitor socket, and without the library that speaks the protocol.
    """
    try:
        import qemu.qmp  # noqa: F401 - looked for before any socket is touched
    except ImportError:
        raise NoMonitor(INSTALL) from None
    told: list[_Told] = []
    asked: set[tuple[int, int]] = set()
    for path in sockets:
        name = decoded(path)
        file = _file(machine.path(path), name)
        if file not in asked:
            asked.add(file)
            told.append(_one(machine.path(path), name, limit))
    gaps = [one.gap for one in told if one.gap is not None]
    return Seen({"monitors": [Monitor(**one.facts) for one in told]}, _joined(gaps))


def _joined(gaps: Sequence[Gap]) -> tuple[Gap, ...]:
    """One gap for all: a report tells each field of the evidence once."""
    if len(gaps) < 2:
        return tuple(gaps)
    why = gaps[0].why if len({gap.why for gap in gaps}) == 1 else "failed"
    return (Gap(what="monitors", why=why, detail="; ".join(gap.detail for gap in gaps)),)


def _file(path: str, name: str) -> tuple[int, int]:
    """Device and number of a socket's file.  Raises `NoMonitor` when it is something else."""
    try:
        found = os.stat(path)
    except OSError as error:
        raise NoMonitor(f"{name}: cannot be asked: {error.strerror}") from None
    except ValueError:  # a name with a zero byte
        raise NoMonitor(f"{name}: is no file name") from None
    if not stat.S_ISSOCK(found.st_mode):
        raise NoMonitor(f"{name}: is no socket; name the one that QEMU's option -qmp made")
    return found.st_dev, found.st_ino


def _one(path: str, name: str, limit: float) -> _Told:
    """One QEMU's answers."""
    import asyncio  # heavy, and few ask: the probe loads every module of this package
    import socket

    told = _Told({"socket": name})
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        connection.setblocking(False)
        try:
            connection.connect(path)
        except BlockingIOError:  # unix(7), EAGAIN: even the queue of those who wait is full
            told.gap = _in_use(name)
            return told
        except ConnectionRefusedError:
            raise NoMonitor(f"{name}: nobody listens on this socket; its QEMU has ended") from None
        except PermissionError:
            raise NoMonitor(f"{name}: this user may not ask on this socket; run as root") from None
        except OSError as error:
            raise NoMonitor(f"{name}: cannot be asked: {error.strerror or error}") from None
        if pid := _listener(connection):
            told.facts["pid"] = pid
        asyncio.run(_conversation(connection, name, limit, told))
    return told


def _listener(connection: socket.socket) -> int:
    """The process that listens, as the kernel tells it; 0 when it is in another PID namespace.

    unix(7), SO_PEERCRED: the credentials of the one who called listen(2), so for a
    socket that a manager made and handed to QEMU they are the manager's.
    """
    import socket
    import struct

    size = struct.calcsize("3i")
    pid: int = struct.unpack("3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size))[0]
    return pid


async def _conversation(connection: socket.socket, name: str, limit: float, told: _Told) -> None:
    """Connect, ask, leave.  What goes wrong after the greeting is a gap."""
    import asyncio

    from qemu.qmp import ExecuteError, QMPClient, QMPError

    client = QMPClient(readbuflen=LINE_LIMIT)

    async def asker(command: str, arguments: Mapping[str, str]) -> Any:
        try:
            return await asyncio.wait_for(client.execute(command, arguments or None), limit)
        except ExecuteError as error:
            raise Refusal(error.error_class, str(error)) from None

    try:
        if await _greeted(client, connection, name, limit):
            async with asyncio.timeout(WHOLE * limit):
                await questions(asker, told.facts)
        else:
            told.gap = _in_use(name)
    except TimeoutError:
        told.gap = Gap(what="monitors", why="timed-out", detail=f"{name} did not answer within {limit:g} s")
    except Refusal as error:
        told.gap = Gap(what="monitors", why="failed", detail=f"{name} refused a question: {error}"[:200])
    except (QMPError, OSError, EOFError, ValueError, RecursionError) as error:
        told.gap = Gap(
            what="monitors", why="failed", detail=f"{name} broke off the conversation ({type(error).__name__})"
        )
    finally:
        # What the library complains of when it leaves was noticed before.
        with contextlib.suppress(QMPError, OSError, EOFError, ValueError, RecursionError):
            await asyncio.wait_for(client.disconnect(), limit)


async def _greeted(client: QMPClient, connection: socket.socket, name: str, limit: float) -> bool:
    """Whether the greeting came in time.  Raises `NoMonitor` when it is another language."""
    import asyncio

    from qemu.qmp import ConnectError

    try:
        await asyncio.wait_for(client.connect(connection), limit)
    except TimeoutError:
        return False
    except ConnectError as error:
        if isinstance(error.exc, (EOFError, ConnectionError)):
            raise NoMonitor(f"{name}: was closed without a greeting; it is no QMP monitor, or QEMU ended") from None
        raise NoMonitor(
            f"{name}: does not speak QMP; name QEMU's monitor for programs (-qmp), not the one for people"
        ) from None
    return True


def _in_use(name: str) -> Gap:
    detail = (
        f"{name} does not greet, since a QEMU serves one client at a time and another one, most likely its "
        f"manager, has this monitor; a second one comes with QEMU's option `{ONE_MORE}`"
    )
    return Gap(what="monitors", why="timed-out", detail=detail)
