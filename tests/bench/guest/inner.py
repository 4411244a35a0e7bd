"""Wake the real guest that was saved outside, and talk to the program in it.

inner.py wake          feed the saved state to a QEMU that waits for it
inner.py scan          let the guest look for its USB controller, as at a boot
inner.py shell LINE    run a line in the guest
"""

import json
import socket
import sys
import time
from pathlib import Path
from typing import Any

# Where the VM's sockets are, and its state.
FOLDER = Path("/run/bench-inner")
STATE = Path("/bench/inner.state")
# Seconds for one answer; a scan takes the longest, for all its code is new to the emulation.
PATIENCE = 400


def connected(path: Path, patience: float = PATIENCE) -> socket.socket:
    """Connect to a socket that QEMU is about to open; `patience`: seconds for what is then asked."""
    end = time.monotonic() + 60
    while True:
        found = socket.socket(socket.AF_UNIX)
        found.settimeout(patience)
        try:
            found.connect(str(path))
        except OSError:
            found.close()
            if time.monotonic() > end:
                raise
            time.sleep(0.2)
        else:
            return found


def wake() -> None:
    """Give the waiting QEMU the state; it runs from then on."""
    with connected(FOLDER / "state") as sock, STATE.open("rb") as state:
        sock.sendfile(state)
        # QEMU closes the stream when it has all.
        sock.shutdown(socket.SHUT_WR)
        sock.recv(1)


def ask(**question: Any) -> dict[str, Any]:
    """Ask the guest's program one thing."""
    with connected(FOLDER / "agent") as sock, sock.makefile("rw", encoding="utf-8") as lines:
        lines.write(json.dumps({"now": time.time(), **question}) + "\n")
        lines.flush()
        return json.loads(lines.readline())


def main(verb: str, *words: str) -> int:
    """Do one thing; its status."""
    if verb == "wake":
        wake()
        return 0
    said = ask(**{verb: " ".join(words)})
    print(said["out"])
    return int(said["code"])


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
