"""Wordings of kernels that the live reader's table does not hold: older ones, and those of other drivers.

`sources.kernel_formats` has the formats of Linux 6.1 and 6.12.  People paste logs of
Linux 2.6 to 5.x, whose hub driver numbered ports in the message instead of naming them,
and logs of host controllers and serial drivers that the table leaves out.  The words here
are from memory of those sources (drivers/usb/core/hub.c before and after 3.12, which made
ports devices; drivers/usb/host; drivers/usb/serial), not taken from their files.
Kinds and data are those of the live reader.  What people type off a screen has its letters and
commas wrong; such wordings are marked as retyped.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from radiocheck.evidence.record import Event

TEXT_LIMIT = 400  # characters of a message that are kept, as in sources.kernel_log

_DEVICE = r"usb (?P<device>\d{1,3}-\d{1,2}(?:\.\d{1,2}){0,6}): "
_HUB = r"hub (?P<hub>\d{1,3}-[\d.]{1,20}):1\.0: "
_INTERFACE = r"(?P<drv>[\w-]{1,40}) (?P<interface>\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3}): "
_TTY = r"(?P<drv>[\w-]{1,40}) (?P<tty>tty(?:USB|ACM)\d{1,4}): "
_CONTROLLER = r"(?P<drv>(?:[eoux]hci|dwc|musb|isp1|fotg|sl811)[\w-]{0,30}) (?P<controller>[\w:.-]{3,40}): "
_PORT = r"(?P<number>\d{1,3})"
_ERR = r"(?P<err>-?\d{1,5})"


class Older(NamedTuple):
    """One wording: its kind, its expression for the whole message, and the kernels that print it."""

    kind: str
    shape: str
    kernels: str


_ADDRESS = r"using (?P<hcd>\S{1,40}) and address (?P<num>\d{1,3})"
_NUMBER = r"(?:number (?P<num>\d{1,3}) )?using (?P<hcd>\S{1,40})"

OLDER: tuple[Older, ...] = (
    Older(
        "new-device",
        _DEVICE + r"new (?P<speed>(?:low|full|high|super|variable)[ -]speed) USB device " + _ADDRESS,
        "–2.6.38",
    ),
    Older("new-device", _DEVICE + r"new (?P<speed>(?:low|full|high|super) speed) USB device " + _NUMBER, "2.6.39–3.2"),
    Older(
        "new-device",
        _DEVICE + r"new (?P<speed>SuperSpeed\S{0,20}|super-speed) USB device " + _NUMBER,
        "2.6.31–",
    ),
    Older("reset", _DEVICE + r"reset (?P<speed>(?:low|full|high|super)[ -]speed) USB device " + _ADDRESS, "–2.6.38"),
    Older("reset", _DEVICE + r"reset (?P<speed>(?:low|full|high|super) speed) USB device " + _NUMBER, "2.6.39–3.2"),
    Older(
        "found",
        _DEVICE + r"New USB device found, idVendor=(?P<vid>[0-9a-f]{4}), idProduct=(?P<pid>[0-9a-f]{4})",
        "–4.19",
    ),
    # Typed off a photo of the screen
    Older(
        "found",
        _DEVICE
        + r"New USB device found[,:]? {1,3}idVendor ?= ?(?P<vid>[0-9a-f]{4}),? {1,3}idProduct ?= ?(?P<pid>[0-9a-f]{4})"
        r"(?:,? .{0,40})?",
        "retyped",
    ),
    Older(
        "bus-power",
        _DEVICE + r"rejected (?P<n>\d{1,3}) config\w{1,12} due to ins?\w{6,14} (?:\w{5,12} )?bus power",
        "retyped",
    ),
    Older("disconnect", _DEVICE + r"USB disconnect, address (?P<num>\d{1,3})", "–2.6.38"),
    Older("config-unreadable", _DEVICE + r"unable to read config index (?P<i>\d+) descriptor", "–2.6.29"),
    Older("gave-up", _HUB + rf"unable to enumerate USB device on port {_PORT}", "–3.11"),
    Older("cannot-enable", _HUB + rf"Cannot enable port {_PORT}\. +Maybe the USB cable is bad\?", "–3.11"),
    Older("cannot-reset", _HUB + rf"cannot (?:warm )?reset port {_PORT} \(err = {_ERR}\)", "–3.11"),
    Older("cannot-reset", _HUB + rf"port_wait_reset: err = {_ERR}", "2.6–3.11"),
    Older("noise", _HUB + rf"port {_PORT} disabled by hub \(EMI\?\), re-enabling\.\.\.", "–3.11"),
    Older("debounce-failed", _HUB + rf"connect-debounce failed, port {_PORT} disabled", "–3.11"),
    Older("over-current", _HUB + rf"over-current (?:change|condition) on port {_PORT}", "–3.11"),
    Older("over-current", _HUB + r"over-current (?:change|condition)", "–"),
    Older(
        "over-current",
        r"usb (?P<port>(?:usb\d{1,3}|\d{1,3}-[\d.]{1,20})-port\d{1,3}): "
        r"over-current (?:change|condition)(?: #\d{1,6})?",
        "3.12–",
    ),
    # The firmware driver of boards said so itself before it had a hwmon device; its device's name varies.
    Older(
        "undervoltage", r"(?:[\w-]{1,40} [\w:.-]{1,60}: )?[Uu]nder-?voltage detected!(?: \(0x[0-9a-f]{1,8}\))?", "–4.19"
    ),
    Older("hub-power-short", _HUB + rf"(?P<ma>\d+)mA over power budget!?(?: on port {_PORT})?", "–3.11"),
    Older("hub-power-short", _HUB + r"power budget exceeded", "–2.6"),
    Older("controller-dead", _CONTROLLER + r"HC died", "–"),
    Older("controller-dead", _CONTROLLER + r"host controller halted, very bad!", "uhci_hcd"),
    Older("controller-dead", _CONTROLLER + r"host controller process error, something bad happened!", "uhci_hcd"),
    Older("controller-dead", _CONTROLLER + r"OHCI Unrecoverable Error, disabled", "ohci_hcd"),
    Older("controller-dead", _CONTROLLER + r"HcDoneHead not written back; disabled", "ohci_hcd"),
    Older("controller-dead", _CONTROLLER + r"Host controller not responding, assume dead", "xhci_hcd"),
    Older(
        "controller-dead",
        _CONTROLLER + r"xHCI host not responding to stop endpoint command(?:[.,].{0,40})?",
        "xhci_hcd",
    ),
    Older("controller-dead", _CONTROLLER + rf"Host halt failed, {_ERR}", "xhci_hcd 4.17–"),
    Older("controller-dead", _CONTROLLER + r"fatal error", "ehci_hcd"),
    Older(
        "out-of-resources",
        _DEVICE + r"(?:Not|not) enough bandwidth for (?:new device state|altsetting (?P<alt>\d+))\.?",
        "2.6.35–",
    ),
    Older(
        "attached",
        r"usb (?P<device>[\d.-]{3,24}): (?P<desc>.{1,80}) converter now attached to (?P<tty>ttyUSB\d{1,4})(?: .*)?",
        "–",
    ),
    # The SCSI host that the storage driver made (drivers/scsi/hosts.c; `scsi7 : ` until 3.15 or so), and what is in it
    Older(
        "storage", r"scsi(?P<host>\d{1,4}) : usb-storage (?P<interface>\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3})", "–3.14"
    ),
    Older(
        "storage",
        r"scsi host(?P<host>\d{1,4}): usb-storage (?P<interface>\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3})",
        "3.15–",
    ),
    Older("storage", r"scsi(?P<host>\d{1,4}) : SCSI emulation for USB Mass Storage devices", "–3.2"),
    Older("cd-drive", r"scsi (?P<host>\d{1,4}):\d{1,4}:\d{1,4}:\d{1,4}: CD-ROM {1,16}(?P<model>\S.{1,80}?)", "–"),
    Older(
        "converter-detected",
        _INTERFACE + r"usblp\d{1,3}: USB (?P<desc>\w{3,20} printer) dev (?P<num>\d{1,3}) if \d{1,3} alt \d{1,3} "
        r"proto \d{1,3} vid 0x(?P<vid>[0-9A-F]{4}) pid 0x(?P<pid>[0-9A-F]{4})",
        "drivers/usb/class/usblp.c",
    ),
    Older(
        "chip-request-error",
        _TTY + rf"(?P<fn>\w{{1,60}}) - Unable to send config request, "
        rf"request=(?P<req>\S{{1,12}}) size=(?P<sz>\d+) result={_ERR}",
        "cp210x –4.5",
    ),
    Older(
        "chip-request-error",
        _TTY + rf"(?P<fn>\w{{1,60}}) - Unable to send request .{{0,60}}?(?:result|status)={_ERR}",
        "cp210x –4.5",
    ),
    Older("chip-control-error", _TTY + r"(?P<fn>\w{1,60}) FAILED to (?P<what>.{1,60})", "ftdi_sio"),
    Older("chip-control-error", _TTY + r"(?P<fn>\w{1,60}) urb failed to (?P<what>.{1,60})", "ftdi_sio"),
    Older("chip-control-error", _TTY + rf"(?P<fn>\w{{1,60}}) - failed: {_ERR}", "pl2303"),
    Older("chip-control-error", _TTY + rf"error sending break = {_ERR}", "pl2303 –"),
    Older("chip-control-error", _INTERFACE + r"failed to set dtr/rts", "cdc_acm 2.6–"),
    Older(
        "urb-stopped",
        _TTY + rf"(?P<fn>\w{{1,60}})(?: -|:) "
        rf"(?:urb stopped|nonzero (?:urb )?(?:\w+ )?status(?: received)?): ?{_ERR}(?: .{{0,40}})?",
        "–, usb_wwan",
    ),
    Older(
        "urb-stopped",
        _TTY + rf"(?P<fn>\w{{1,60}}) - "
        rf"(?:error submitting|failed submitting|failed resubmitting) .{{0,20}}urb[,:] (?:error )?{_ERR}",
        "–",
    ),
    Older("urb-stopped", _INTERFACE + rf"(?P<fn>acm_\w{{1,60}}) - usb_submit_urb failed: {_ERR}", "cdc_acm"),
)

_SPEEDS = {
    "low speed": "low-speed",
    "full speed": "full-speed",
    "high speed": "high-speed",
    "super speed": "super-speed",
}
_WORDS = re.compile(
    r"[sS]peed USB device|nonzero|New USB device found|disconnect|config|enumerate|Cannot enable|reset|EMI|debounce"
    r"|over-current|over power|power budget|HC died|very bad|something bad|Unrecoverable|not written back|assume dead"
    r"|not responding|halt failed|fatal error|bandwidth|attached to|request|FAILED to|urb|sending break"
    r"|dtr/rts|usb-storage|USB Mass Storage|CD-ROM|voltage detected| - failed: | printer dev "
)
_COMPILED: dict[str, re.Pattern[str]] = {}


def read_older(text: str) -> Event | None:
    """The event in one kernel message in an older wording; None for other messages.  Raises nothing."""
    text = text[:2000]
    if not _WORDS.search(text):
        return None
    for entry in OLDER:
        pattern = _COMPILED.get(entry.shape)
        if pattern is None:
            pattern = _COMPILED[entry.shape] = re.compile(entry.shape)
        if match := pattern.fullmatch(text):
            return _event(entry.kind, text, {key: value for key, value in match.groupdict().items() if value})
    return None


def _event(kind: str, text: str, values: dict[str, str]) -> Event:
    fields: dict[str, str] = {}
    hub, number = values.pop("hub", None), values.pop("number", None)
    if hub is not None:
        # The interface of a root hub is called 1-0:1.0, the root hub itself usb1.
        name = f"usb{hub[:-2]}" if hub.endswith("-0") else hub
        if number is not None:
            fields["port"] = f"{name}-port{number}"
        else:
            fields["device"] = name
            values["interface"] = f"{hub}:1.0"
    if "interface" in values and "device" not in values and hub is None:
        fields["device"] = values["interface"].partition(":")[0]
    for key in ("device", "port", "tty", "controller"):
        if key in values:
            fields[key] = values.pop(key)
    for key in ("vid", "pid"):
        if key in values:
            values[key] = values[key].lower()
    if "speed" in values:
        values["speed"] = _SPEEDS.get(values["speed"], values["speed"])
    return Event(kind=kind, data=values, text=text[:TEXT_LIMIT], **fields)  # type: ignore[arg-type]  # the fields left are texts
