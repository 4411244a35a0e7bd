"""How programs say that they could not use a port or a device: phrases by kind, in the order in which they are tried.

Kinds are those of `AppMessage`.  Words of strerror(3) come from pastes/strerror; `errno`
numbers are Linux's (asm-generic/errno-base.h), libusb's names and numbers those of libusb.h.
The others are from memory of the programs that print them: pyserial, Node's, Go's, Rust's,
.NET's and Java's serial libraries, libusb-0.1, programmers, UPS, GPS and modem daemons.
"""

from __future__ import annotations

import re

from radiocheck.pastes.strerror import every_word, words


def _numbers(*numbers: int) -> str:
    """An error number, as Python, Rust, libusb and C programs print it."""
    either = "|".join(str(number) for number in numbers)
    return rf"\b[eE](?:rrno|RRNO)[ =:]{{1,2}}(?:{either})\b(?!\.\d)|\bcode: (?:{either})\b"


_NOT = r"(?:[Cc]ould not|[Cc]ouldn't|[Cc]annot|[Cc]an't|[Ff]ailed to|[Uu]nable to)"
_THING = r"(?:devices?|UPS|ports?|adapters?|dongles?|programmers?|probes?|modems?)"

FAILURES: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "busy",
        (
            words("EBUSY", "EAGAIN"),
            _numbers(16, 11),
            r"\bEBUSY\b",
            r"\b[Rr]esource busy",
            r"LIBUSB_ERROR_BUSY",
            r"(?:claim_interface|usb_open|claim) error:? -6\b",
            r"[Cc]annot lock (?:the )?port",
            r"[Cc]ould not exclusively lock",
            r"port is already (?:open|in use)",
            r"already in use by",
            r"is already open\b",
            r"\b[Pp]ort (?:is )?busy",
            r"PortInUse",
            r"multiple access on port",
            r"Device \S{1,80} is locked",
            r"[Ll]ine in use",
            r"[Dd]evice is claimed by",
            r"[Kk]ernel driver is active",
            r"claimed by another",
            r"is being used by (?:another|PID)",
            r"another (?:program|process) (?:is using|has)",
        ),
    ),
    ("not-permitted", (words("EPERM"), _numbers(1), r"\bEPERM\b")),
    (
        "denied",
        (
            words("EACCES"),
            _numbers(13),
            r"\b[Pp]ermission denied",
            r"\bEACCES\b",
            r"LIBUSB_ERROR_ACCESS",
            r"\b[Aa]ccess denied",
            r"\b[Ii]nsufficient (?:USB )?permissions?",
            r"PermissionDenied",
            r"UnauthorizedAccess",
            r"requires write access to USB",
            r"(?:usb_open|libusb_open\S{0,12}|\bopen) error:? -3\b",
            r"\bno write permission",
            r"not have (?:the )?(?:right )?permission",
        ),
    ),
    (
        "no-answer",
        (
            r"LIBUSB_ERROR_TIMEOUT",
            r"\b[Nn]o (?:response|reply|answer) (?:from|to|received)",
            r"(?:did|does|is)(?: not|n't) (?:respond|answer|reply)",
            r"\bnot responding",
            r"\b[Tt]ime(?:d )?out (?:waiting|while|reading|on|connecting|after)",
            r"\b[Tt]imed out (?:waiting|after|\d{1,5} (?:consecutive )?times)",
            r"\b[Rr]ead (?:\w{1,20} )?timed? ?out",
            r"[Cc]onnection timed out",
            r"[Ff]ailed to (?:sync|connect) (?:to|with) (?:the )?\S",
            r"\bnot in sync\b",
            r"\bout of sync\b",
            r"getsync\(\)",
            r"No serial data received",
            r"[Nn]o (?:valid )?(?:data|packets?|frames?|telegrams?) received",
            _NOT + r" (?:communicate|talk|sync) with",
            r"[Dd]ata stale",
            r"Communications with \S{1,80} lost",
            _NOT + r" get (?:a )?(?:response|reply|answer)",
        ),
    ),
    (
        "missing",
        (
            words("ENOENT", "ENXIO", "ENODEV"),
            _numbers(2, 6, 19),
            r"\b[Nn]o such (?:file|device)",
            r"\bENOENT\b|\bENXIO\b|\bENODEV\b",
            r"FileNotFoundError",
            r"NoSuchPort",
            r"kind: (?:NoDevice|NotFound)",
            r"LIBUSB_ERROR_(?:NO_DEVICE|NOT_FOUND)",
            r"(?:usb_open|libusb_open\S{0,12}|\bopen) error:? -4\b",
            r"\bdoes not exist",
            r"\b[Pp]ort not found",
            r"[Nn]o (?:matching|such|suitable|supported|appropriate|compatible) (?:\w{1,20} )?(?:USB |HID )?" + _THING,
            r"[Nn]o (?:\w{1,20} )?" + _THING + r" (?:were |was )?(?:found|detected)",
            _NOT + r" find (?:\w{1,20} ){0,3}(?:USB )?" + _THING,
        ),
    ),
    (
        "io-error",
        (
            words("EIO"),
            _numbers(5, 32),
            r"\b[Ii](?:nput)?/[Oo](?:utput)? error|\bInput/Output Error",
            r"\bEIO\b|\bEPIPE\b",
            r"LIBUSB_ERROR_(?:IO|PIPE|OVERFLOW)",
            r"device reports readiness to read but returned no data",
            r"[Dd]evice (?:was |has been |got )?disconnected",
            r"[Pp]ort (?:was |has been )?(?:closed unexpectedly|disconnected)",
            r"Broken pipe",
            r"[Ss]erial connection (?:was )?lost",
            r"forced close",
            r"ClearCommError",
            r"(?:ser_recv|ser_send)\(\): (?:read|write) error",
            r"usb_(?:bulk|control|interrupt)_(?:msg|read|write|transfer)\S{0,4} ?(?:failed|error)",
        ),
    ),
    # What was tried and not why it failed: to claim an interface fails when somebody else has it.
    (
        "busy",
        (
            _NOT + r" (?:detach (?:the )?kernel driver|claim (?:the )?(?:USB )?(?:device|interface))",
            r"usb_claim_interface error",
        ),
    ),
)
# Every phrase has one of these in it, in small letters: looked for first, since few lines have any.
_NEEDLES = (
    "busy lock errno code: ebusy eacces eperm enoent enxio enodev eio epipe error clai in\xa0use "
    "already portinuse multiple being\xa0used is\xa0using process\xa0has program\xa0has denied "
    "permission unauthorized write\xa0access timed time\xa0out timeout respon answer reply sync "
    "no\xa0serial received with stale lost no\xa0such no\xa0 found find exist nosuchport "
    "nodevice disconnected closed\xa0unexpectedly broken\xa0pipe forced detach failed "
    "driver\xa0is\xa0active returned\xa0no line"
).split(" ")
_FIXED = tuple(
    dict.fromkeys([needle.replace("\xa0", " ") for needle in _NEEDLES] + [word.lower() for word in every_word()])
)
_COMPILED: list[tuple[str, re.Pattern[str]]] = []


def failure(text: str) -> str | None:
    """The kind of failure that a line names; None when it names none."""
    small = text.lower()
    if not any(needle in small for needle in _FIXED):
        return None
    if not _COMPILED:
        _COMPILED.extend((kind, re.compile("|".join(phrases))) for kind, phrases in FAILURES)
    return next((kind for kind, pattern in _COMPILED if pattern.search(text)), None)
