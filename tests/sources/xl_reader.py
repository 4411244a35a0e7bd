"""Xen's own reader of xl configurations (libxlutil), as a program: one JSON text in a line, one JSON answer.

In a process of its own, because the library ends it when an assertion of its own fails.
"""

from __future__ import annotations

import ctypes
import glob
import json
import subprocess
import sys
from typing import Any

LIBRARIES = sorted(glob.glob("/usr/lib/*/libxlutil.so.*"))  # Debian package libxenmisc4.17
NAMES = ("name", "usbdev", "pci", "serial", "a", "b")


class XlReader:
    """The running program."""

    def __init__(self) -> None:
        self.program = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )

    def read(self, text: str) -> dict[str, Any] | None:
        """The values of NAMES that it finds; None when it refuses the text."""
        assert self.program.stdin is not None
        assert self.program.stdout is not None
        self.program.stdin.write(json.dumps(text) + "\n")
        answer: dict[str, Any] | None = json.loads(self.program.stdout.readline())
        return answer

    def close(self) -> None:
        """End it."""
        self.program.communicate()


def _answer(library: Any, report: Any, data: bytes) -> dict[str, Any] | None:
    found: dict[str, Any] = {}
    config = library.xlu_cfg_init(report, b"text")
    if library.xlu_cfg_readdata(config, data, len(data)):
        return None
    for name in NAMES:
        value, items, count = ctypes.c_char_p(), ctypes.c_void_p(), ctypes.c_int()
        if library.xlu_cfg_get_string(config, name.encode(), ctypes.byref(value), 1) == 0:
            found[name] = (value.value or b"").decode("utf-8", "replace")
        elif library.xlu_cfg_get_list(config, name.encode(), ctypes.byref(items), ctypes.byref(count), 1) == 0:
            listed = [library.xlu_cfg_get_listitem(items, index) for index in range(count.value)]
            found[name] = [None if one is None else one.decode("utf-8", "replace") for one in listed]
    library.xlu_cfg_destroy(config)
    return found


def _main() -> None:
    library = ctypes.CDLL(LIBRARIES[0])
    c = ctypes.CDLL(None)
    c.fopen.restype = ctypes.c_void_p
    library.xlu_cfg_init.restype = ctypes.c_void_p
    library.xlu_cfg_init.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    library.xlu_cfg_readdata.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int]
    library.xlu_cfg_destroy.argtypes = [ctypes.c_void_p]
    library.xlu_cfg_get_string.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p, ctypes.c_int]
    library.xlu_cfg_get_list.argtypes = [
        ctypes.c_void_p,
        ctypes.c_char_p,
        ctypes.c_void_p,
        ctypes.c_void_p,
        ctypes.c_int,
    ]
    library.xlu_cfg_get_listitem.argtypes = [ctypes.c_void_p, ctypes.c_int]
    library.xlu_cfg_get_listitem.restype = ctypes.c_char_p
    report = c.fopen(b"/dev/null", b"w")
    for line in sys.stdin:
        print(json.dumps(_answer(library, report, json.loads(line).encode())), flush=True)


if __name__ == "__main__":
    _main()
