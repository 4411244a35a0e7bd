"""A hub with one adapter on its first port, for faults of power and of the port.

Keys (given with `hub-` before them): ports, current (what the hub itself takes, mA),
self (1: it has its own power supply).  Events:
  over-current        the port reports an over-current that passes
  over-current stays  … that stays: the port is off, the adapter gone
  noise               the port is disabled as by interference, the adapter stays plugged
  unplug, plug        the adapter leaves the port and comes back
  crowd               something is plugged into the second port (see below)

vhci_hcd chooses the device of a transfer by the number of the port that it is on,
and that of the adapter behind the hub is the hub's own: 1.  So both arrive here,
and are told apart by what is asked.  What is on the second port is, by the same quirk,
the device on the second port of the controller: plug one in there first.
"""

import struct

from device import Answer, Device, Node, Transfer, configuration, descriptor, endpoint, good, text

CONNECTED, ENABLED, OVER_CURRENT, RESET, POWER = 1, 2, 8, 16, 256
# Features of a port as ClearPortFeature and SetPortFeature number them.
FEATURES = {1: ENABLED, 4: RESET, 8: POWER}


class Hub:
    """State of the ports, and the adapter on the first."""

    def __init__(self, words: dict[str, str], child: Node) -> None:
        self.child = child
        self.ports = int(words.get("ports", "4"))
        self.own_power = words.get("self", "0") == "1"
        self.current = int(words.get("current", "100"))
        self.status = dict.fromkeys(range(1, self.ports + 1), 0)
        self.change = dict.fromkeys(range(1, self.ports + 1), 0)
        self.child_awake = False
        self.tripped = False
        self.plugged = True
        head = struct.pack("<HBBBBHHH", 0x0200, 9, 0, 0, 64, 0x1209, 0x7AF0, 0x0100)
        self.device = descriptor(1, head + bytes([1, 2, 0, 1]))
        self.strings = {0: descriptor(3, b"\x09\x04"), 1: text("Lindenhof"), 2: text("Desk hub")}
        interface = descriptor(4, bytes([0, 0, 1, 9, 0, 0, 0])) + endpoint(0x81, 3, 2, 12)
        attributes = 0xE0 if self.own_power else 0xA0
        self.config = configuration([interface], 1, 100, attributes)

    def control(self, transfer: Transfer) -> Answer | None:
        """Answer a request on endpoint 0 of the hub, or pass it to the adapter."""
        kind, request, value, index, _ = struct.unpack("<BBHHH", transfer.setup)
        if kind & 0x60 == 0x20 and kind & 0x1F in (0, 3):
            return self._class_request(kind, request, value, index, transfer)
        if self.child_awake:
            return self.child.control(transfer)
        if request == 6:
            known = {1: self.device, 2: self.config, 3: self.strings.get(value & 255)}
            data = known.get(value >> 8)
            return good(data, transfer) if data else (-32, b"", 0)
        if request == 0:
            return good(struct.pack("<H", 1 if self.own_power else 0), transfer)
        return good(b"", transfer)

    def _class_request(self, kind: int, request: int, value: int, index: int, transfer: Transfer) -> Answer:
        if request == 6:
            body = struct.pack("<BHBBBB", self.ports, 0x0009, 10, self.current, 0, 0xFF)
            return good(descriptor(0x29, body), transfer)
        if request == 0:
            if kind & 0x1F == 0:
                return good(b"\0\0\0\0", transfer)
            state = struct.pack("<HH", self.status[index], self.change[index])
            return good(state, transfer)
        if kind & 0x1F == 3:
            self._set(index, value) if request == 3 else self._clear(index, value)
        return good(b"", transfer)

    def _set(self, port: int, feature: int) -> None:
        if feature == 8:
            self.status[port] |= POWER
            if port == 1 and self.plugged and not self.tripped:
                self._connect()
        if feature == 4 and self.status[port] & CONNECTED:
            self.status[port] |= ENABLED
            self.change[port] |= RESET
            # From here on the standard requests are meant for the adapter.
            self.child_awake = True

    def _clear(self, port: int, feature: int) -> None:
        if feature >= 16:
            self.change[port] &= ~(1 << (feature - 16))
        else:
            self.status[port] &= ~FEATURES.get(feature, 0)
            if feature == 8:
                self.status[port] &= ~(CONNECTED | ENABLED)

    def _connect(self) -> None:
        if not self.status[1] & CONNECTED:
            self.status[1] |= CONNECTED
            self.change[1] |= CONNECTED

    def poll(self, transfer: Transfer) -> Answer | None:
        """Report changed ports on the hub's interrupt endpoint; the rest is the adapter's."""
        if transfer.endpoint != 1:
            return self.child.poll(transfer)
        bits = sum(1 << port for port, change in self.change.items() if change)
        return good(bytes([bits & 255, bits >> 8]), transfer) if bits else None

    def event(self, line: str) -> None:
        """Let something happen to the first port."""
        if line.startswith("over-current"):
            self.change[1] |= OVER_CURRENT
            if line.endswith("stays"):
                self.tripped = True
                self.status[1] = OVER_CURRENT
                self.change[1] |= CONNECTED | ENABLED
        elif line == "noise":
            self.status[1] &= ~ENABLED
            self.change[1] |= ENABLED
        elif line == "crowd":
            self.status[2] |= CONNECTED
            self.change[2] |= CONNECTED
        elif line == "unplug":
            self.plugged = False
            self.status[1] &= ~(CONNECTED | ENABLED)
            self.change[1] |= CONNECTED
        elif line == "plug":
            self.plugged = True
            self._connect()
        else:
            self.child.event(line)


__all__ = ["Device", "Hub"]
