"""Say one line to the monitor of the QEMU that the bench machine runs in.

The monitor is reached over a virtio port; it is how a scenario plugs a device into
a controller of the machine from the outside.
"""

import io
import json
import os
import sys
from pathlib import Path

PORT = Path("/dev/virtio-ports/bench.monitor")
FAILURES = ("rror", "not found", "uplicate", 'Try "help', "nvalid")


def ask(line: str) -> str:
    """Send a human-monitor line and return what the monitor printed."""
    fd = os.open(PORT, os.O_RDWR)
    try:
        with io.FileIO(fd, closefd=False) as reader:
            send(fd, {"execute": "qmp_capabilities"})
            read_reply(reader)
            arguments = {"command-line": line}
            send(fd, {"execute": "human-monitor-command", "arguments": arguments})
            return read_reply(reader)
    finally:
        os.close(fd)


def send(fd: int, message: dict[str, object]) -> None:
    """Write one QMP message."""
    os.write(fd, json.dumps(message).encode() + b"\n")


def read_reply(reader: io.FileIO) -> str:
    """Read up to the next answer, passing over the greeting and events."""
    while True:
        line = reader.readline()
        if not line:
            raise SystemExit("monitor: closed")
        message = json.loads(line)
        if "return" in message:
            return message["return"] if isinstance(message["return"], str) else ""
        # The capabilities are already agreed when an earlier call did that.
        if "error" in message:
            text = message["error"].get("desc", "")
            return "" if "qmp_capabilities" in text or "Capabilities" in text else text


if __name__ == "__main__":
    answer = ask(" ".join(sys.argv[1:])).strip()
    if answer:
        print(answer)
    # The monitor reports a failure as text only.
    sys.exit(1 if any(word in answer for word in FAILURES) else 0)
