"""When a line of a log says that it was written, in the frames of dmesg, journalctl, syslog and OpenWrt's logread.

Clocks: `uptime` (seconds since boot), `date` (Unix seconds), `day` (seconds since the first
of January of a year that is not told, in a time zone that is not told).

Formats: util-linux 2.38 dmesg (default, -x, -d, -T, -H, -r, --time-format=iso, delta),
systemd 252 journalctl (-o short, short-full, short-iso, short-precise, short-monotonic,
short-unix), rsyslog (RFC 3164 and RFC 5424), busybox syslogd.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

_HEAD = 160  # characters in which a stamp must stand
YEAR = 366 * 86_400.0

# dmesg -d has the difference behind the time, --time-format=delta only the difference.
_UPTIME = re.compile(r"\[ *(?P<uptime>\d{1,9}\.\d{3,9})(?: *< *[\d.]{1,20}>)?\]")
_ISO = re.compile(
    r"(?P<date>\d{4}-\d\d-\d\d)[T ](?P<clock>\d\d:\d\d:\d\d)(?P<fraction>[.,]\d{1,9})?"
    r"(?P<zone> ?[+-]\d\d:?\d\d\b|Z\b| UTC\b| GMT\b)?"
)
_UNIX = re.compile(r"^\s*(?P<unix>\d{10}\.\d{3,9})\s")
_CLOCK = re.compile(r"(?P<hour>[0-2]?\d):(?P<minute>[0-5]\d):(?P<second>[0-5]\d)(?:[.,]\d{1,9})?")
_DAY = re.compile(r"(?<![\d.:])(?P<day>[0-3]?\d)(?:\.|일|日)?(?![\d.:])")
_ASIAN = re.compile(r"(?<!\d)(?P<month>1[0-2]|0?[1-9])(?:月|월)\s?(?P<day>[0-3]?\d)")
_SHORT = re.compile(r"\[(?P<month>[^\W\d]{2,9})\.? ?(?P<day>[0-3]?\d) (?P<hour>[0-2]\d):(?P<minute>[0-5]\d)\]")
_SINCE = re.compile(r"\[ *\+(?P<since>\d{1,7}\.\d{3,9})\]")

# The beginnings of abbreviated month names (glibc 2.36, `date +%b`): en de fr es it pt nl pl cs sv da nb hu tr fi ru uk
_MONTHS: tuple[tuple[str, ...], ...] = (
    ("jan", "ene", "gen", "sty", "led", "oca", "tammi", "янв", "січ"),
    ("feb", "fév", "fev", "lut", "úno", "şub", "helmi", "фев", "лют"),
    ("mar", "mär", "mrt", "mrz", "bře", "márc", "maalis", "мар", "бер"),
    ("apr", "avr", "abr", "kwi", "dub", "ápr", "nis", "huhti", "апр", "кві"),
    ("may", "mai", "maj", "mag", "mei", "kvě", "máj", "touko", "мая", "май", "тра"),
    ("jun", "juin", "giu", "cze", "čen", "jún", "haz", "kesä", "июн", "чер"),
    ("jul", "juil", "lug", "lip", "čec", "júl", "tem", "heinä", "июл", "лип"),
    ("aug", "aoû", "ago", "sie", "srp", "ağu", "elo", "авг", "сер"),
    ("sep", "set", "wrz", "zář", "szept", "eyl", "syys", "сен", "вер"),
    ("oct", "okt", "ott", "out", "paź", "říj", "eki", "loka", "окт", "жов"),
    ("nov", "lis", "kas", "marras", "ноя", "лис"),
    ("dec", "dez", "déc", "dic", "gru", "pro", "des", "ara", "joulu", "дек", "гру"),
)
# Longer beginnings first: "marras" is not March.
_BY_NAME = sorted(
    ((name, number) for number, names in enumerate(_MONTHS) for name in names), key=lambda one: -len(one[0])
)
_WORD = re.compile(r"[^\W\d_]{3,9}")


def stamp(head: str) -> tuple[str, float] | None:
    """The clock and the seconds on it, in the text that stands before a message; None when it has no usual stamp."""
    head = head[:_HEAD]
    if match := _UPTIME.search(head):
        return "uptime", float(match["uptime"])
    if match := _ISO.search(head):
        return _iso(match)
    if match := _UNIX.match(head):
        return "date", float(match["unix"])
    clock = _CLOCK.search(head)
    if clock is None:
        return None
    seconds = int(clock["hour"]) * 3600.0 + int(clock["minute"]) * 60 + int(clock["second"])
    before = head[: clock.start()].lower()
    if match := _ASIAN.search(before):
        return _on(int(match["month"]) - 1, int(match["day"]), seconds)
    month = _month(before)
    day = _DAY.search(before)
    return None if month is None or day is None else _on(month, int(day["day"]), seconds)


def uptime(head: str) -> float | None:
    """The seconds since boot in the text that stands before a message."""
    match = _UPTIME.search(head[:_HEAD])
    return float(match["uptime"]) if match else None


def without_uptime(line: str) -> str:
    """What stands before the seconds since boot in a line: another stamp, when syslog wrote both."""
    match = _UPTIME.search(line[:_HEAD])
    return line[: match.start()] if match else line[:_HEAD]


def short(head: str) -> tuple[str, float] | None:
    """`[Nov25 12:00]` of dmesg -H, a whole minute; the lines after it count from it."""
    match = _SHORT.search(head[:_HEAD])
    month = _month(match["month"].lower()) if match else None
    if match is None or month is None:
        return None
    return _on(month, int(match["day"]), int(match["hour"]) * 3600.0 + int(match["minute"]) * 60)


def since(head: str) -> float | None:
    """`[  +0.000004]` of dmesg -H: seconds since the line before."""
    match = _SINCE.search(head[:_HEAD])
    return float(match["since"]) if match else None


def _month(text: str) -> int | None:
    """The month that the last word names which names one: before it stands the day of the week, "mar" in French."""
    for word in reversed(_WORD.findall(text)):
        for name, number in _BY_NAME:
            if word.startswith(name):
                return number
    return None


def _on(month: int, day: int, seconds: float) -> tuple[str, float] | None:
    """Seconds since the first of January, as in a leap year."""
    try:
        return "day", (datetime(2000, month + 1, day, tzinfo=UTC).timetuple().tm_yday - 1) * 86_400 + seconds
    except ValueError:
        return None


def _iso(match: re.Match[str]) -> tuple[str, float] | None:
    """A time with a zone is a date; without one it is as good as one that lacks the year, too."""
    zone = (match["zone"] or "").strip()
    fraction = (match["fraction"] or "").replace(",", ".")[:7]
    try:
        zoned = {"": "+00:00", "Z": "+00:00", "UTC": "+00:00", "GMT": "+00:00"}.get(zone, zone)
        at = datetime.fromisoformat(f"{match['date']}T{match['clock']}{fraction}{zoned}")
        if zone:
            return "date", at.timestamp()
        told = _on(at.month - 1, at.day, at.hour * 3600.0 + at.minute * 60 + at.second)
        return None if told is None else (told[0], told[1] + at.microsecond / 1e6)
    except (ValueError, OverflowError, OSError):
        return None
