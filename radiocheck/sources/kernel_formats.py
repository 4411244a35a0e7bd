"""The kernel messages that mean something for the path, by the kernel's own formats.

A `Format` is a printk format with names in it: `{err:d}` stands where the source has
`%d`.  The matching expression is derived from it, so a test can hold each one against
the source file it names.  Files and formats are those of Linux 6.1.192 and 6.12.117 as
packaged by Debian; a format that only one of them has says so.  No file is read here.

Syntax of a field: `{name:spec}` or `{name:spec|expression}`.  `spec` is a printk
conversion without its percent sign, or else text that stands in the source as it is;
`expression` narrows what is matched.  A field named `_` is not kept.
"""

from __future__ import annotations

import re
from functools import cached_property
from typing import NamedTuple

# Where the message hangs: what stands between the driver's name and the first colon.
DEVICE, PORT, INTERFACE, TTY, CONTROLLER, CORE = "device", "port", "interface", "tty", "controller", "core"

_FIELD = re.compile(r"\{(\w+):([^{}|]+)(?:\|([^{}]+))?\}")
_CONVERSIONS = {"d": r"-?\d+", "i": r"-?\d+", "u": r"\d+", "s": r".+?"}
_CONVERSIONS |= {"x": r"[0-9a-f]+", "02x": r"[0-9a-f]{2}", "04x": r"[0-9a-f]{4}"}


class _Format(NamedTuple):
    kind: str
    place: str
    shape: str  # the text after "driver name: "
    file: str  # where the kernel prints it
    only: str = ""  # the kernel version that has it, when not both do


class Format(_Format):
    """One message: its kind, its place, its text and the source file that prints it."""

    @cached_property
    def printk(self) -> str:
        """The format as the kernel's source has it."""
        return _FIELD.sub(lambda field: ("%" if field[2] in _CONVERSIONS else "") + field[2], self.shape)

    @cached_property
    def needle(self) -> str:
        """The longest fixed piece of the text: its absence refutes a line cheaply."""
        return max(_FIELD.sub("\0", self.shape).split("\0"), key=len)

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """The expression for the whole text; compiled on first use, for start-up's sake."""
        parts, last = [], 0
        for field in _FIELD.finditer(self.shape):
            name, spec, expression = field.groups()
            expression = expression or _CONVERSIONS.get(spec) or re.escape(spec)
            parts += [re.escape(self.shape[last : field.start()]), f"(?P<{name}>{expression})"]
            last = field.end()
        parts.append(re.escape(self.shape[last:]))
        return re.compile("".join(parts), re.DOTALL)  # a device's string may hold a line break: part of the value


_HUB, _HCD, _DEVIO = "drivers/usb/core/hub.c", "drivers/usb/core/hcd.c", "drivers/usb/core/devio.c"
_GENERIC, _CONFIG, _MESSAGE = "drivers/usb/core/generic.c", "drivers/usb/core/config.c", "drivers/usb/core/message.c"
_DRIVER, _XHCI, _RING = "drivers/usb/core/driver.c", "drivers/usb/host/xhci.c", "drivers/usb/host/xhci-ring.c"
_SERIAL, _BUS, _BULK = "drivers/usb/serial/usb-serial.c", "drivers/usb/serial/bus.c", "drivers/usb/serial/generic.c"
_CP210X, _FTDI = "drivers/usb/serial/cp210x.c", "drivers/usb/serial/ftdi_sio.c"
_CH341, _PL2303, _ACM = "drivers/usb/serial/ch341.c", "drivers/usb/serial/pl2303.c", "drivers/usb/class/cdc-acm.c"
_VFIO, _PCI, _CORE = "drivers/vfio/pci/vfio_pci_core.c", "drivers/pci/pci.c", "drivers/base/dd.c"
_VOLTAGE = "drivers/hwmon/raspberrypi-hwmon.c"
_STUB, _VHCI = "drivers/usb/usbip/stub_dev.c", "drivers/usb/usbip/vhci_sysfs.c"

_SPEED = "{speed:s|(?:low|full|high|super)-speed} USB device number {num:d} using {hcd:s}"
_SUPER = "{speed:SuperSpeed%s%s|SuperSpeed.*?} USB device number {num:d} using {hcd:s}"
_IDS = "idVendor={vid:04x}, idProduct={pid:04x}, bcdDevice={bcd:%2x.%02x| ?[0-9a-f]+[.][0-9a-f]+}"
_CLAIMED = "usbfs: interface {n:d} claimed by {drv:s} while '{comm:s}' "
_UNCLAIMED = "usbfs: process {pid:d} ({comm:s}) did not claim interface {n:u} before use"
_REJECTED = "rejected {n:d} configuration{_:s|s?} due to insufficient available bus power"
_BLOCKED = "No device request channel registered, blocked until released by user"
_PROBE = "probe with driver {drv:s} failed with error {err:d}"

# In order: the first that fits is the one.  A device's own string comes before all that
# begin with free text, so that a product called "x converter now attached to ttyUSB0" is
# a string and nothing else.
FORMATS: tuple[Format, ...] = (
    Format("string-value", DEVICE, "{k:s|Product|Manufacturer|SerialNumber}: {v:s|.*}", _HUB),
    Format("new-device", DEVICE, "{_:s|new} " + _SPEED, _HUB),
    Format("new-device", DEVICE, "{_:s|new} " + _SUPER, _HUB),
    Format("reset", DEVICE, "{_:s|reset} " + _SPEED, _HUB),
    Format("reset", DEVICE, "{_:s|reset} " + _SUPER, _HUB),
    Format("found", DEVICE, "New USB device found, " + _IDS, _HUB),
    Format("strings", DEVICE, "New USB device strings: Mfr={mfr:d}, Product={prod:d}, SerialNumber={ser:d}", _HUB),
    Format("disconnect", DEVICE, "USB disconnect, device number {num:d}", _HUB),
    Format("descriptor-error", DEVICE, "device descriptor read/{n:64}, error {err:d}", _HUB),
    Format("descriptor-error", DEVICE, "device descriptor read/{n:8}, error {err:d}", _HUB),
    Format("descriptor-error", DEVICE, "device descriptor read/{n:all}, error {err:d}", _HUB),
    Format("descriptor-error", DEVICE, "can't re-read device descriptor for authorization: {err:d}", _HUB, "6.1"),
    Format("address-error", DEVICE, "device not accepting address {num:d}, error {err:d}", _HUB),
    Format("no-setup-answer", DEVICE, "Device not responding to setup {act:s}.", _XHCI),
    Format("power-cycle", PORT, "attempt power cycle", _HUB),
    Format("gave-up", PORT, "unable to enumerate USB device", _HUB),
    Format("cannot-enable", PORT, "Cannot enable. Maybe the USB cable is bad?", _HUB),
    Format("cannot-enable", DEVICE, "hub failed to enable device, error {err:d}", _HUB),
    Format("cannot-reset", PORT, "cannot {_:s|(?:warm )?}reset (err = {err:d})", _HUB),
    Format("noise", PORT, "disabled by hub (EMI?), re-enabling...", _HUB),
    Format("debounce-failed", PORT, "connect-debounce failed", _HUB),
    Format("over-current", PORT, "over-current condition", _HUB),
    Format("over-current", INTERFACE, "over-current condition", _HUB),
    Format("undervoltage", CONTROLLER, "Undervoltage detected!", _VOLTAGE),
    Format("slow", DEVICE, "not running at top speed; connect to a high speed hub", _HUB),
    Format("bus-power", DEVICE, _REJECTED, _GENERIC),
    Format("no-configuration", DEVICE, "no configuration chosen from {n:d} choice{_:s|s?}", _GENERIC),
    Format("no-interfaces", DEVICE, "config {c:d} has no interfaces?", _CONFIG),
    Format("config-unreadable", DEVICE, "unable to read config index {i:d} descriptor/{n:s|start}: {err:d}", _CONFIG),
    Format("config-unreadable", DEVICE, "unable to read config index {i:d} descriptor/{n:s|all}", _CONFIG),
    Format("config-unreadable", DEVICE, "can't read configurations, error {err:d}", _HUB),
    Format("set-config-failed", DEVICE, "can't set config #{c:d}, error {err:d}", _GENERIC),
    Format("set-config-failed", DEVICE, "can't restore configuration #{c:d} (error={err:d})", _HUB),
    Format("strings-unreadable", DEVICE, "string descriptor 0 read error: {err:d}", _MESSAGE),
    Format("firmware-changed", DEVICE, "device firmware changed", _HUB),
    Format("not-authorised", DEVICE, "Device is not authorized for usage", _GENERIC),
    Format("not-authorised", INTERFACE, "Device is not authorized for usage", _DRIVER),
    Format("interface-not-authorised", INTERFACE, "Interface {n:d} is not authorized for usage", _DRIVER),
    Format("authorised", DEVICE, "authorized to connect", _HUB),
    Format("hub-power-short", PORT, "{ma:d}mA is over {budget:u}mA budget!", _HUB),
    Format("hub-power-short", INTERFACE, "{ma:d}mA over power budget!", _HUB),
    Format("hub-power-short", INTERFACE, "insufficient power available to use all downstream ports", _HUB),
    Format("hub-power-short", DEVICE, "can't connect bus-powered hub to this port", _HUB),
    Format("controller-dead", CONTROLLER, "xHCI host not responding to stop endpoint command", _RING),
    Format("controller-dead", CONTROLLER, "xHCI host controller not responding, assume dead", _RING),
    Format("controller-dead", CONTROLLER, "Abort failed to stop command ring: {err:d}", _RING),
    Format("controller-dead", CONTROLLER, "WARNING: Host System Error", _RING),
    Format("controller-dead", CONTROLLER, "HC died; cleaning up", _HCD),
    Format("controller-unbound", CONTROLLER, "remove, state {st:x}", _HCD),
    Format("controller-unbound", CONTROLLER, "USB bus {bus:d} deregistered", _HCD),
    Format("bus-registered", CONTROLLER, "new USB bus registered, assigned bus number {bus:d}", _HCD),
    Format("out-of-resources", DEVICE, "Not enough host controller resources for new device state.", _XHCI),
    Format("out-of-resources", DEVICE, "Not enough bandwidth for new device state.", _XHCI),
    Format("out-of-resources", DEVICE, "Not enough bandwidth for altsetting {alt:d}", _MESSAGE),
    Format("out-of-resources", DEVICE, "Busted HC?  Not enough HCD resources for old configuration.", _HUB),
    Format("out-of-resources", CONTROLLER, "Not enough bandwidth on HS bus for newly activated TT.", _XHCI),
    Format("out-of-resources", CONTROLLER, "Not enough bandwidth. Proposed: {want:u}, Max: {max:u}", _XHCI),
    Format("out-of-resources", CONTROLLER, "Not enough bandwidth", _XHCI),
    Format("out-of-resources", CONTROLLER, "Not enough host resources, active endpoint contexts = {eps:u}", _XHCI),
    Format("out-of-resources", CONTROLLER, "Error while assigning device slot ID: {code:s}", _XHCI),
    Format("out-of-resources", CONTROLLER, "Max number of devices this xHCI host supports is {max:u}.", _XHCI),
    Format("unclaimed-use", DEVICE, _UNCLAIMED, _DEVIO),
    Format("foreign-set-config", DEVICE, _CLAIMED + "sets config #{c:d}", _DEVIO),
    Format("foreign-set-config", DEVICE, _CLAIMED + "resets device", _DEVIO),
    Format("converter-detected", INTERFACE, "{desc:s} converter detected", _SERIAL),
    Format("attached", DEVICE, "{desc:s} converter now attached to {tty:ttyUSB%d|ttyUSB[0-9]+}", _BUS),
    Format("detached", TTY, "{desc:s} converter now disconnected from {tty:ttyUSB%d|ttyUSB[0-9]+}", _BUS),
    Format("converter-gone", INTERFACE, "device disconnected", _SERIAL),
    Format("endpoints-missing", INTERFACE, "required endpoints missing", _SERIAL),
    Format("endpoints-missing", INTERFACE, "required interrupt-in endpoint missing", _PL2303),
    Format("no-minor", INTERFACE, "No more free serial minor numbers", _SERIAL),
    Format("acm", INTERFACE, "{tty:ttyACM%d|ttyACM[0-9]+}: USB ACM device", _ACM),
    Format("urb-stopped", TTY, "{fn:s} - urb stopped: {err:d}", _BULK),
    Format("urb-stopped", TTY, "{fn:s} - nonzero urb status: {err:d}", _BULK),
    Format("urb-stopped", TTY, "{fn:s} - usb_submit_urb failed: {err:d}", _BULK),
    Format("chip-vendor-error", INTERFACE, "failed to get vendor val 0x{val:04x} size {sz:d}: {err:d}", _CP210X),
    Format("chip-vendor-error", INTERFACE, "failed to set vendor val 0x{val:04x} size {sz:d}: {err:d}", _CP210X),
    Format("chip-request-error", TTY, "failed get req 0x{req:x} size {sz:d} status: {err:d}", _CP210X),
    Format("chip-request-error", TTY, "failed set req 0x{req:x} size {sz:d} status: {err:d}", _CP210X),
    Format("chip-request-error", TTY, "failed set request 0x{req:x} status: {err:d}", _CP210X),
    Format("chip-request-error", TTY, "{fn:s} - Unable to enable UART", _CP210X),
    Format("chip-part-number", INTERFACE, "querying part number failed", _CP210X),
    Format("chip-control-error", DEVICE, "failed to send control message: {err:d}", _CH341),
    Format("chip-control-error", DEVICE, "failed to receive control message: {err:d}", _CH341),
    Format("chip-control-error", TTY, "failed to read break control: {err:d}", _CH341),
    Format("chip-control-error", TTY, "failed to read modem status: {err:d}", _CH341),
    Format("chip-control-error", TTY, "failed to submit interrupt urb: {err:d}", _CH341),
    Format("chip-control-error", TTY, "{fn:s} - failed to submit interrupt urb: {err:d}", _CH341),
    Format("chip-control-error", TTY, "Unable to read latency timer: {err:i}", _FTDI),
    Format("chip-control-error", TTY, "Unable to write latency timer: {err:i}", _FTDI),
    Format("chip-control-error", TTY, "failed to get modem status: {err:d}", _FTDI),
    Format("chip-control-error", TTY, "error from flowcontrol urb", _FTDI),
    Format("chip-control-error", INTERFACE, "GPIO initialisation failed: {err:d}", _CP210X),
    Format("chip-control-error", INTERFACE, "{fn:s} - failed to read [{val:04x}]: {err:d}", _PL2303),
    Format("chip-control-error", INTERFACE, "{fn:s} - failed to write [{val:04x}]: {err:d}", _PL2303),
    Format("chip-detected", DEVICE, "Detected {chip:s}", _FTDI),
    Format("probe-failed", CORE, r"{drv:s|\S+}: probe of {name:s|\S+} failed with error {err:d}", _CORE, "6.1"),
    Format("probe-failed", INTERFACE, _PROBE, _CORE, "6.12"),
    Format("probe-failed", DEVICE, _PROBE, _CORE, "6.12"),
    Format("probe-failed", TTY, _PROBE, _CORE, "6.12"),
    Format("probe-failed", CONTROLLER, _PROBE, _CORE, "6.12"),
    Format("probe-failed", TTY, "unknown device type: 0x{type:02x}", _FTDI),
    Format("probe-failed", INTERFACE, "unknown device type, please report to linux-usb@vger.kernel.org", _PL2303),
    Format("pci-not-ready", CONTROLLER, "not ready {ms:d}ms after {how:s}; {end:waiting}", _PCI),
    Format("pci-not-ready", CONTROLLER, "not ready {ms:d}ms after {how:s}; {end:giving up}", _PCI),
    Format("vfio-release-asked", CONTROLLER, "Relaying device request to user (#{n:u})", _VFIO),
    Format("vfio-release-asked", CONTROLLER, _BLOCKED, _VFIO),
    Format("storage", INTERFACE, "USB Mass Storage device detected", "drivers/usb/storage/usb.c"),
    Format("cd-drive", CONTROLLER, "Attached scsi CD-ROM {node:s}", "drivers/scsi/sr.c"),
    Format("usbip", DEVICE, "usbip-host: register new device (bus {bus:u} dev {num:u})", _STUB),
    Format("usbip", DEVICE, "stub up", _STUB),
    Format("usbip", DEVICE, "stub down", _STUB),
    Format("usbip", CONTROLLER, "pdev({pdev:u}) rhport({port:u}) sockfd({fd:d})", _VHCI),
)

KINDS: dict[str, str] = {
    "new-device": "the hub port answers and the device gets a number",
    "reset": "a driver or a usbfs user (a hypervisor, a guest's reset) reset the device",
    "found": "the device descriptor was read",
    "strings": "which string descriptors the device has; 0 means none",
    "string-value": "a string descriptor of the device",
    "disconnect": "the device left the bus, as the host sees it",
    "descriptor-error": "the device's descriptor could not be read",
    "address-error": "the device did not take its address",
    "no-setup-answer": "the device did not answer the controller's set-up command",
    "power-cycle": "half of the tries failed; the port is switched off and on",
    "gave-up": "the kernel gave up; the port stays dead until the next plug-in",
    "cannot-enable": "the port could not be enabled after its reset",
    "cannot-reset": "the port could not be reset",
    "noise": "the hub switched the port off (noise, discharge, brown-out)",
    "debounce-failed": "the contact did not come to rest",
    "over-current": "a port or hub draws more than it may",
    "undervoltage": "the supply of the whole board sags, and that of its sockets with it",
    "slow": "a faster device runs at a slower hub",
    "bus-power": "configurations were refused because they ask for more power than the port gives",
    "no-configuration": "no configuration was chosen: no interfaces, no driver",
    "no-interfaces": "a configuration without interfaces",
    "config-unreadable": "a configuration descriptor could not be read",
    "set-config-failed": "the device refused its configuration; in a guest: the host could not claim the interfaces",
    "strings-unreadable": "the device's strings could not be read: its names will differ",
    "firmware-changed": "the descriptors differ after a reset: another firmware or mode",
    "not-authorised": "the device is locked out by the authorisation policy",
    "authorised": "the device was let in",
    "interface-not-authorised": "one interface is locked out by the authorisation policy",
    "hub-power-short": "the hub has less power than its ports ask for",
    "controller-dead": "the host controller stopped answering: every device on it is gone",
    "controller-unbound": "the controller was taken from its host driver",
    "bus-registered": "a controller was bound and its bus got a number",
    "out-of-resources": "the controller has no bandwidth, slot or endpoint left",
    "unclaimed-use": "a usbfs user used an interface that it had not claimed",
    "foreign-set-config": "a usbfs user wanted to configure or reset a device that a driver holds",
    "storage": "the storage driver took the interface",
    "cd-drive": "a drive for CDs was found, on whatever bus",
    "converter-detected": "a serial driver took the interface",
    "attached": "a serial tty was made",
    "detached": "a serial tty was taken away",
    "converter-gone": "a serial driver let go of the interface",
    "acm": "a CDC ACM tty was made",
    "urb-stopped": "transfers of an open tty stopped",
    "chip-vendor-error": "the bridge chip did not answer a vendor request",
    "chip-request-error": "the bridge chip refused or did not answer a port request",
    "chip-part-number": "the bridge chip does not tell its part number",
    "chip-control-error": "a control transfer to the bridge chip failed",
    "chip-detected": "the driver names the bridge chip",
    "pci-not-ready": "a PCI function does not come back after its reset",
    "vfio-release-asked": "somebody unbinds a PCI function that a virtual machine still uses",
    "probe-failed": "a driver could not start with the device, or does not know its chip",
    "endpoints-missing": "the interface lacks endpoints that the driver needs",
    "no-minor": "no serial minor number is free",
    "usbip": "the device is exported to, or imported from, another machine",
}
