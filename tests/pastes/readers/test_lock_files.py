"""A lock file speaks for a process only as long as that process lives."""

from __future__ import annotations

from .said import said, typed, values

FILE = typed("cat /var/lock/LCK..ttyUSB0", "       874\n")
OWN = typed("cat /run/lock/LCK..ttyACM1", "      3122 minicom mira\n")
FULL = """UID        PID  PPID  C STIME TTY          TIME CMD
root       874     1  0 07:02 ?        00:00:00 /usr/sbin/mgetty -x 3 -s 38400 ttyUSB0
"""
SHORT = """    PID TTY          TIME CMD
   3122 pts/3    00:00:00 minicom
"""


def test_a_living_process() -> None:
    """`ps -fp` and `ps -p`; the lines of both outputs tell it."""
    (found,) = said("lock_files", FILE + typed("ps -fp 874", FULL))
    assert found.value == {"pid": 874, "path": "/dev/ttyUSB0", "command": "mgetty", "user": "root"}
    assert found.lines == (2, 5)
    (other,) = values("lock_files", OWN + typed("ps -p 3122", SHORT), "handle")
    assert (other["path"], other["command"]) == ("/dev/ttyACM1", "minicom")


def test_a_stale_file() -> None:
    """No process of that number, another one, or nobody looked."""
    head = SHORT.splitlines()[0]
    for text in (FILE, FILE + typed("ps -p 874", head), FILE + typed("ps -p 3122", SHORT)):
        assert values("lock_files", text, "handle") == []


def test_a_list_of_files() -> None:
    """`ls` shows the file, and not what is in it."""
    row = "-rw-r--r-- 1 root root 11 Mar 19 07:02 LCK..ttyUSB0\n"
    assert values("lock_files", typed("ls -l /var/lock/LCK..ttyUSB0", row) + typed("ps -fp 874", FULL), "handle") == []
