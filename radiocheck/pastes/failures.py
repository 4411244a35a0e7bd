"""How programs say that they could not use a port or a device: phrases by kind, in the order in which they are tried.

Kinds are those of `AppMessage`.  Words of strerror(3) come from pastes/strerror; `errno`
numbers are Linux's (asm-generic/errno-base.h), libusb's names and numbers those of libusb.h.
The others are from memory of the programs that print them: pyserial, Node's, Go's, Rust's,
.NET's and Java's serial libraries, libusb-0.1, programmers, UPS, GPS and modem daemons.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from radiocheck.pastes.strerror import ERRORS


class Phrase(NamedTuple):
    """One phrase: a piece of it in small letters, whose absence refutes a line cheaply, and its expression."""

    kind: str
    needle: str
    shape: str


def _number(kind: str, *numbers: int) -> tuple[Phrase, ...]:
    """An error number, as Python, C and Rust programs print it."""
    either = "|".join(str(number) for number in numbers)
    return (
        Phrase(kind, "errno", rf"\b[eE](?:rrno|RRNO)[ =:]{{1,2}}(?:{either})\b(?!\.\d)"),
        Phrase(kind, "code: ", rf"\bcode: (?:{either})\b"),
    )


def _words(kind: str, *names: str) -> tuple[Phrase, ...]:
    """What strerror(3) says of some errors, and their names."""
    told = [word for name, _, found in ERRORS if name in names for word in found]
    return (
        *(Phrase(kind, word.lower(), re.escape(word)) for word in told),
        *(Phrase(kind, name.lower(), rf"\b{name}\b") for name in names),
    )


_NOT = r"(?:[Cc]ould not|[Cc]ouldn't|[Cc]annot|[Cc]an't|[Ff]ailed to|[Uu]nable to)"
_THING = r"(?:devices?|UPS|ports?|adapters?|dongles?|programmers?|probes?|modems?)"
_WHICH = r"(?:matching|such|suitable|supported|appropriate|compatible)"


def _of(kind: str, phrases: dict[str, str]) -> tuple[Phrase, ...]:
    return tuple(Phrase(kind, needle.rstrip("0123456789"), shape) for needle, shape in phrases.items())


# "Device %s is locked." as minicom 2.8 says it in other languages (its catalogues): a word of each, and its end.
_LOCKED = {
    "gesperrt": "ist gesperrt",
    "verrouill": "est verrouillé",
    "bloqueado": "está bloqueado",
    "ocupado": "ocupado",
    "zablokowane": "jest zablokowane",
    "заблокировано": "заблокировано",
    "låst": "(?:er|är) låst",
    "zamčeno": "je zamčeno",
    "lukittu": "on lukittu",
    "zárolva": "zárolva van",
    "terkunci": "terkunci",
    "este blocat": "este blocat",
    "закључан": "је закључан",
    "bị khóa": "bị khóa",
    "ロックされています": "はロックされています",
    "已锁定": "已锁定",
}

PHRASES: tuple[Phrase, ...] = (
    # systemd waits for a node until udev has it (src/core/job.c, job_start_timeout_message)
    *_of("missing", {"waiting for device": r"\bTimed out waiting for device\b"}),
    *_words("busy", "EBUSY", "EAGAIN"),
    *_number("busy", 16, 11),
    *_of(
        "busy",
        {
            "resource busy": r"\b[Rr]esource busy",
            "libusb_error_busy": r"LIBUSB_ERROR_BUSY",
            "error": r"(?:claim_interface|usb_open|claim) error:? -6\b",
            "lock": r"[Cc]annot lock (?:the )?port",
            "exclusively lock": r"[Cc]ould not exclusively lock",
            "port is already": r"port is already (?:open|in use)",
            "already in use by": r"already in use by",
            "is already open": r"is already open\b",
            "busy": r"\b[Pp]ort (?:is )?busy",
            "portinuse": r"PortInUse",
            "is locked": r"Device \S{1,80} is locked",
            "line in use": r"[Ll]ine in use",
            "already opened by": r"already opened by another",  # gpsd, gpsd/serial.c
            "device is claimed by": r"[Dd]evice is claimed by",
            "kernel driver is active": r"[Kk]ernel driver is active",
            "claimed by another": r"claimed by another",
            "is being used by": r"is being used by (?:another|PID)",
            "another pro": r"another (?:program|process) (?:is using|has)",
        },
    ),
    *_of("busy", {needle: rf"/dev/\S{{1,80}} {end}" for needle, end in _LOCKED.items()}),
    *_words("not-permitted", "EPERM"),
    *_number("not-permitted", 1),
    *_words("denied", "EACCES"),
    *_number("denied", 13),
    *_of(
        "denied",
        {
            "permission denied": r"\b[Pp]ermission denied",
            "libusb_error_access": r"LIBUSB_ERROR_ACCESS",
            "access denied": r"\b[Aa]ccess denied",
            "insufficient": r"\b[Ii]nsufficient (?:USB )?permissions?",
            "permissiondenied": r"PermissionDenied",
            "unauthorizedaccess": r"UnauthorizedAccess",
            "requires write access": r"requires write access to USB",
            "error": r"(?:usb_open|libusb_open\S{0,12}|\bopen) error:? -3\b",
            "no write permission": r"\bno write permission",
            "node acl": r"[Ee]rror setting USB device node ACL",  # spice-gtk, src/usb-device-manager.c
            "not have": r"not have (?:the )?(?:right )?permission",
        },
    ),
    *_of(
        "no-answer",
        {
            "libusb_error_timeout": r"LIBUSB_ERROR_TIMEOUT",
            "no re": r"\b[Nn]o (?:response|reply) (?:from|to|received)",
            "no answer": r"\b[Nn]o answer (?:from|to|received)",
            "respond": r"(?:did|does|is)(?: not|n't) respond|\bnot responding",
            "answer": r"(?:did|does|is)(?: not|n't) answer",
            " out ": r"\b[Tt]imed? out (?:waiting|while|reading|on|connecting|after)",
            "timed out": r"\b[Tt]imed out \d{1,5} (?:consecutive )?times",
            "read": r"\b[Rr]ead (?:\w{1,20} )?timed? ?out",
            "connection timed out": r"[Cc]onnection timed out",
            "failed to": r"[Ff]ailed to (?:sync|connect) (?:to|with) (?:the )?\S",
            "not in sync": r"\bnot in sync\b",
            "out of sync": r"\bout of sync\b",
            "getsync()": r"getsync\(\)",
            "no serial data received": r"No serial data received",
            "received": r"[Nn]o (?:valid )?(?:data|packets?|frames?|telegrams?) received",
            " with": _NOT + r" (?:communicate|talk|sync) with",
            "data stale": r"[Dd]ata stale",
            "communications with": r"Communications with \S{1,80} lost",
            " get ": _NOT + r" get (?:a )?(?:response|reply|answer)",
        },
    ),
    *_words("missing", "ENOENT", "ENXIO", "ENODEV"),
    *_number("missing", 2, 6, 19),
    *_of(
        "missing",
        {
            "no such": r"\b[Nn]o such (?:file|device)",
            "filenotfounderror": r"FileNotFoundError",
            "nosuchport": r"NoSuchPort",
            "kind: no": r"kind: (?:NoDevice|NotFound)",
            "libusb_error_no": r"LIBUSB_ERROR_(?:NO_DEVICE|NOT_FOUND)",
            "error": r"(?:usb_open|libusb_open\S{0,12}|\bopen) error:? -4\b",
            "does not exist": r"\bdoes not exist",
            "port not found": r"\b[Pp]ort not found",
            "no ": r"\b[Nn]o " + _WHICH + r" (?:\w{1,20} )?(?:USB |HID )?" + _THING,
            "no 2": r"\b[Nn]o (?:\w{1,20} )?" + _THING + r" (?:were |was )?(?:found|detected)",
            " find ": _NOT + r" find (?:\w{1,20} ){0,3}(?:USB )?" + _THING,
        },
    ),
    *_words("io-error", "EIO", "EPIPE"),
    *_number("io-error", 5, 32),
    *_of(
        "io-error",
        {
            "o error": r"\b[Ii]/[Oo] error",
            "input/output error": r"\b[Ii]nput/[Oo]utput [Ee]rror",
            "libusb_error_": r"LIBUSB_ERROR_(?:IO|PIPE|OVERFLOW)",
            "but returned no data": r"device reports readiness to read but returned no data",
            "device": r"[Dd]evice (?:was |has been |got )?disconnected",
            "port ": r"[Pp]ort (?:was |has been )?(?:closed unexpectedly|disconnected)",
            "broken pipe": r"Broken pipe",
            "serial connection": r"[Ss]erial connection (?:was )?lost",
            "forced close": r"forced close",
            "clearcommerror": r"ClearCommError",
            "ser_": r"(?:ser_recv|ser_send)\(\): (?:read|write) error",
            "usb_": r"usb_(?:bulk|control|interrupt)_(?:msg|read|write|transfer)\S{0,4} ?(?:failed|error)",
        },
    ),
    # What was tried and not why it failed: to claim an interface fails when somebody else has it.
    *_of(
        "busy",
        {
            "detach": _NOT + r" detach (?:the )?kernel driver",
            "claim": _NOT + r" claim (?:the )?(?:USB )?(?:device|interface)",
            "usb_claim_interface error": r"usb_claim_interface error",
        },
    ),
)
_ASCII = tuple(phrase for phrase in PHRASES if phrase.needle.isascii())
_COMPILED: dict[str, re.Pattern[str]] = {}


def failure(text: str) -> str | None:
    """The kind of failure that a line names; None when it names none."""
    small = text.lower()
    for phrase in _ASCII if text.isascii() else PHRASES:
        if phrase.needle in small:
            pattern = _COMPILED.get(phrase.shape)
            if pattern is None:
                pattern = _COMPILED[phrase.shape] = re.compile(phrase.shape)
            if pattern.search(text):
                return phrase.kind
    return None
