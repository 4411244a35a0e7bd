"""What a made-up serial adapter answers, well or badly.

Keys: vid, pid, maker, product, serial (empty: none), power (mA), chip (acm, cp210x, ch341 or none),
and fault, one of
  silent        no request of the kernel is ever answered (-110)
  noise         every descriptor request is garbled (-71)
  no-strings    the text descriptors stall
  chip          the chip's own questions fail (-110)
  no-endpoints  the data endpoints are missing
Events: `noise` garbles the data that is read, `stall` refuses it, `calm` ends both.
"""

import struct
from typing import NamedTuple, Protocol

EPIPE, EPROTO, ETIMEDOUT = 32, 71, 110

# status, data on the way in, how many bytes were taken on the way out
Answer = tuple[int, bytes, int]


class Transfer(NamedTuple):
    """One request of the kernel."""

    endpoint: int
    incoming: bool
    length: int
    setup: bytes
    data: bytes
    since: float


class Node(Protocol):
    """A device or a hub: what the server asks."""

    def control(self, transfer: Transfer) -> Answer | None: ...

    def poll(self, transfer: Transfer) -> Answer | None: ...

    def event(self, line: str) -> None: ...


def good(data: bytes, transfer: Transfer) -> Answer:
    """Finish a transfer well."""
    return 0, data[: transfer.length], transfer.length


def bad(error: int) -> Answer:
    """Finish a transfer with an error number."""
    return -error, b"", 0


def descriptor(kind: int, body: bytes) -> bytes:
    """Put length and type before a descriptor's body."""
    return bytes([len(body) + 2, kind]) + body


def text(value: str) -> bytes:
    """Make a string descriptor."""
    return descriptor(3, value.encode("utf-16-le"))


def endpoint(address: int, attributes: int, size: int, interval: int) -> bytes:
    """Make an endpoint descriptor."""
    return descriptor(5, struct.pack("<BBHB", address, attributes, size, interval))


def configuration(interfaces: list[bytes], count: int, milliamps: int, attributes: int) -> bytes:
    """Make a whole configuration descriptor; the current is counted in units of 2 mA."""
    body = b"".join(interfaces)
    head = struct.pack("<HBBBBB", len(body) + 9, count, 1, 0, attributes, milliamps // 2)
    return descriptor(2, head) + body


def acm_interfaces() -> list[bytes]:
    """A communication and a data interface, as a CDC ACM adapter has them."""
    functional = (
        descriptor(0x24, b"\x00\x10\x01")
        + descriptor(0x24, b"\x01\x00\x01")
        + descriptor(0x24, b"\x02\x02")
        + descriptor(0x24, b"\x06\x00\x01")
    )
    return [
        descriptor(4, bytes([0, 0, 1, 2, 2, 1, 0])) + functional + endpoint(0x82, 3, 8, 16),
        descriptor(4, bytes([1, 0, 2, 10, 0, 0, 0])) + endpoint(0x83, 2, 64, 0) + endpoint(3, 2, 64, 0),
    ]


def bridge_interfaces(with_endpoints: bool) -> list[bytes]:
    """The one vendor-specific interface of a serial bridge chip."""
    ends = endpoint(0x82, 2, 64, 0) + endpoint(2, 2, 64, 0) if with_endpoints else b""
    return [descriptor(4, bytes([0, 0, 2 if with_endpoints else 0, 255, 0, 0, 0])) + ends]


class Device:
    """A serial adapter; its state is only what events have switched."""

    def __init__(self, words: dict[str, str]) -> None:
        self.fault = words.get("fault", "")
        self.reads_fail = 0
        bridge = words.get("chip", "acm") != "acm"
        vid, pid = (int(words.get(k, d), 16) for k, d in (("vid", "1209"), ("pid", "7a01")))
        strings = [words.get("maker", "Lindenhof"), words.get("product", "Mesh stick")]
        strings.append(words.get("serial", "A1B2C3D4"))
        self.strings = {i + 1: text(s) for i, s in enumerate(strings) if s}
        numbers = [i + 1 if s else 0 for i, s in enumerate(strings)]
        device_class = 0 if bridge else 2
        head = struct.pack("<HBBBBHHH", 0x0200, device_class, 0, 0, 64, vid, pid, 0x0103)
        self.device = descriptor(1, head + bytes([*numbers, 1]))
        interfaces = bridge_interfaces(self.fault != "no-endpoints") if bridge else acm_interfaces()
        milliamps = int(words.get("power", "100"))
        self.config = configuration(interfaces, len(interfaces), milliamps, 0x80)

    def control(self, transfer: Transfer) -> Answer | None:
        """Answer a request on endpoint 0."""
        kind, request, value, _, length = struct.unpack("<BBHHH", transfer.setup)
        if self.fault == "silent":
            return bad(ETIMEDOUT)
        if kind & 0x60 == 0 and request == 6:
            return self._describe(value >> 8, value & 255, transfer)
        if kind & 0x60 == 0x40 and self.fault == "chip":
            return bad(ETIMEDOUT)
        # All else is accepted; what is asked for is zero, except the kind of bridge chip.
        filler = b"\x02" if (kind, request, value) == (0xC0, 0xFF, 0x370B) else b"\0" * length
        return good(filler, transfer)

    def _describe(self, kind: int, index: int, transfer: Transfer) -> Answer:
        if self.fault == "noise":
            return bad(EPROTO)
        if kind == 1:
            return good(self.device, transfer)
        if kind == 2:
            return good(self.config, transfer)
        if kind == 3 and self.fault != "no-strings":
            known = descriptor(3, b"\x09\x04") if index == 0 else self.strings.get(index)
            if known:
                return good(known, transfer)
        return bad(EPIPE)

    def poll(self, transfer: Transfer) -> Answer | None:
        """Take what is written; answer reads only when they are to fail."""
        if not transfer.incoming:
            return good(b"", transfer)
        return bad(self.reads_fail) if self.reads_fail and transfer.endpoint in (2, 3) else None

    def event(self, line: str) -> None:
        """Let reads fail from now on, or no more."""
        self.reads_fail = {"noise": EPROTO, "stall": EPIPE, "calm": 0}.get(line, self.reads_fail)
