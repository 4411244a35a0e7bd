"""A USB device written in Python, plugged into the kernel's virtual host controller.

The gadget stack makes well-behaved devices only.  This program speaks the USB/IP
protocol straight to vhci_hcd over a socket pair, so that a device can refuse, lie,
fall silent, draw too much current or sit behind a hub whose port trips.  Everything
above the wire — enumeration, retries, drivers, messages — is the real kernel.

    vusb.py NAME [speed=full] [key=value…]        (see device.py and hub.py for keys)

It runs until it is ended, which unplugs the device.  Lines written to
/run/bench-NAME.ctl are events (`over-current`, `noise on`, …).
"""

import os
import selectors
import socket
import struct
import sys
import time
from pathlib import Path

import device
import hub

CONTROLLER = Path("/sys/devices/platform/vhci_hcd.0")
SPEEDS = {"low": 1, "full": 2, "high": 3}
# include/uapi/linux/usbip.h and Documentation/usb/usbip_protocol.rst
SUBMIT, UNLINK, SUBMITTED, UNLINKED = 1, 2, 3, 4
HEADER = 48
ECONNRESET = 104


def plug_in(port: int, speed: str) -> socket.socket:
    """Give one end of a socket pair to the kernel as a device on a port of its controller."""
    ours, kernels = socket.socketpair()
    device_id = 0x10000 | (port + 2)
    # The kernel takes the port, our number of the socket, and the device's id and speed.
    (CONTROLLER / "attach").write_text(f"{port} {kernels.fileno()} {device_id} {SPEEDS[speed]}")
    kernels.close()
    return ours


def read_exactly(sock: socket.socket, size: int) -> bytes:
    """Read that many bytes or end the program: the kernel has unplugged the device."""
    data = b""
    while len(data) < size:
        part = sock.recv(size - len(data))
        if not part:
            raise SystemExit(0)
        data += part
    return data


def reply(sock: socket.socket, seqnum: int, incoming: bool, answer: device.Answer) -> None:
    """Finish one transfer with a status and, on the way in, its data."""
    status, data, length = answer
    size = len(data) if incoming else length
    head = struct.pack(">5I", SUBMITTED, seqnum, 0, 0, 0)
    sock.sendall(head + struct.pack(">5i8x", status, size, 0, 0, 0) + (data if incoming else b""))


def serve(sock: socket.socket, events: int, node: device.Node) -> None:
    """Answer the kernel until it lets go of the device."""
    waiting: dict[int, device.Transfer] = {}
    chooser = selectors.DefaultSelector()
    chooser.register(sock, selectors.EVENT_READ)
    chooser.register(events, selectors.EVENT_READ)
    while True:
        ready = [key.fd for key, _ in chooser.select(timeout=0.5)]
        if events in ready:
            for line in os.read(events, 4096).decode().splitlines():
                node.event(line.strip())
        if sock.fileno() in ready:
            take_one(sock, node, waiting)
        for seqnum, transfer in list(waiting.items()):
            answer = node.poll(transfer)
            if answer is not None:
                del waiting[seqnum]
                reply(sock, seqnum, transfer.incoming, answer)


def take_one(sock: socket.socket, node: device.Node, waiting: dict[int, device.Transfer]) -> None:
    """Read one request of the kernel and answer it now, or later, or never."""
    raw = read_exactly(sock, HEADER)
    command, seqnum, _, direction, endpoint = struct.unpack(">5I", raw[:20])
    if command == UNLINK:
        # Zero says that the transfer had been finished already.
        known = waiting.pop(struct.unpack(">I", raw[20:24])[0], None)
        head = struct.pack(">5I", UNLINKED, seqnum, 0, 0, 0)
        sock.sendall(head + struct.pack(">i24x", -ECONNRESET if known else 0))
        return
    length = struct.unpack(">i", raw[24:28])[0]
    incoming = direction == 1
    data = b"" if incoming else read_exactly(sock, length)
    transfer = device.Transfer(endpoint, incoming, length, raw[40:48], data, time.monotonic())
    answer = node.control(transfer) if endpoint == 0 else node.poll(transfer)
    if answer is None:
        waiting[seqnum] = transfer
    else:
        reply(sock, seqnum, incoming, answer)


def main(arguments: list[str]) -> None:
    """Make the device that the words describe, plug it in and serve it."""
    name, words = arguments[0], dict(word.split("=", 1) for word in arguments[1:])
    speed = words.pop("speed", "full")
    port = int(words.pop("port", "0"))
    behind_hub = {k[4:]: words.pop(k) for k in list(words) if k.startswith("hub-")}
    node: device.Node = device.Device(words)
    if behind_hub:
        node = hub.Hub(behind_hub, node)
    fifo = f"/run/bench-{name}.ctl"
    Path(fifo).unlink(missing_ok=True)
    os.mkfifo(fifo)
    # Open for both ways, so that a writer's closing does not end the stream.
    events = os.open(fifo, os.O_RDWR | os.O_NONBLOCK)
    serve(plug_in(port, speed), events, node)


if __name__ == "__main__":
    main(sys.argv[1:])
