"""Keep a device node open until ended, as a program does that nobody remembers.

`hold.py PATH` opens it; `hold.py --claim PATH` also takes interface 0 away from its
driver and claims it through usbfs, as flashing tools and firmware updaters do.
"""

import ctypes
import fcntl
import os
import signal
import sys

# From linux/usbdevice_fs.h.
USBDEVFS_CLAIMINTERFACE = 0x8004550F
USBDEVFS_IOCTL = 0xC0105512
USBDEVFS_DISCONNECT = 0x5516


class UsbfsIoctl(ctypes.Structure):
    """struct usbdevfs_ioctl: an ioctl for the driver of one interface."""

    _fields_ = [("ifno", ctypes.c_int), ("code", ctypes.c_int), ("data", ctypes.c_void_p)]


def claim(fd: int) -> None:
    """Push the kernel's driver off interface 0 and take it."""
    fcntl.ioctl(fd, USBDEVFS_IOCTL, UsbfsIoctl(0, USBDEVFS_DISCONNECT, None))
    fcntl.ioctl(fd, USBDEVFS_CLAIMINTERFACE, ctypes.c_uint(0))


def main(arguments: list[str]) -> None:
    """Open, claim if asked, and wait."""
    node = arguments[-1]
    fd = os.open(node, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    if "--claim" in arguments:
        claim(fd)
    signal.pause()


if __name__ == "__main__":
    main(sys.argv[1:])
