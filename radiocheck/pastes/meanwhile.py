"""What a USB disk did while something was measured, and what had been changed before, by the words above it.

People write it as a heading, as a comment in the shell, or as the head of a column.  The
nearest line above that speaks of it counts; words of another paragraph are of something else,
but for the one line that leads to the measurement.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from .line import Line

BUSY, IDLE = "busy", "idle"
SAME, NEARER, CHANGED = "same", "nearer", "changed"
_READ = 200  # characters of a line that are looked at
_ABOVE = 12  # lines
_LEAD = 120  # characters of a line that leads to a measurement across a gap

_TRANSFER = (
    r"(?:rsync|dd|cp|fio|hdparm|badblocks|scrub(?:bing)?|backups?|copying|(?:file|big|large|during the|while the) copy"
    r"|transfers?|transferring|(?:file|disk|bulk|heavy) (?:writ|read)\w{1,4}|kopier(?:e|t|en|vorgang)"
    r"|(?:daten)?sicherung|sauvegarde|pendant la copie|copie en cours|transfert|copiando|respaldo|copia in corso"
    r"|durante la copia|trasferiment\w|copiar|kopiowani\w{1,3}|резервн\w{2,4} копи\w{1,5}|копиров\w{2,6}|zálohov\w{1,5}"
    r"|säkerhetskopi\w{1,6})"
)
_DISK = (
    r"(?:disks?|discs?|ssd|hdd|drive|usb[ -]?3(?:\.\d)?(?: \w{1,12})?|(?:fest)?platte|disque|disco|dysk\w{0,2}"
    r"|диск\w{0,3}|schijf)"
)
_REST = (
    r"(?:idle|asleep|sleep(?:s|ing)?|standby|spun down|quiet|unplugged|removed|disconnected|detached|off|unmounted"
    r"|inactive|ruht|schläft|im leerlauf|abgesteckt|ausgesteckt|débranché|au repos|desconectad\w|en reposo|a riposo"
    r"|bezczynny|odłączon\w|inactief|losgekoppeld)"
)
_WORK = (
    r"(?:busy|active|running|working|plugged in|connected|attached|in use|aktiv|läuft|arbeitet|angesteckt|branché"
    r"|conectad\w|collegat\w|podłączon\w|actief|aangesloten)"
)
# Before it, after it, or without it.
_NONE = re.compile(
    rf"\b(?:no|without|not|nothing|before(?: the| any)?|after(?: the)?) (?:{_TRANSFER}|{_DISK})\b"
    rf"|\b(?:kein\w{{0,2}}|ohne|vor (?:dem|der)|nach (?:dem|der)|sans|avant (?:la|le)|après (?:la|le)|sin|antes del?"
    rf"|senza|prima d\w{{1,4}}|dopo (?:il|la)|bez|przed|zonder|voor de|na de|без|до|после) (?:{_TRANSFER}|{_DISK})\b"
    rf"|\b{_TRANSFER}\b[^,;.]{{0,30}}"
    r"\b(?:not running|stopped|finished|done|paused|ended|over|beendet|fertig|terminée?)\b",
    re.IGNORECASE,
)
_RESTS = re.compile(rf"\b{_DISK}\b.{{0,40}}\b{_REST}\b", re.IGNORECASE)
_TRANSFERS = re.compile(rf"\b{_TRANSFER}\b", re.IGNORECASE)
_WORKS = re.compile(rf"\b{_DISK}\b.{{0,40}}\b{_WORK}\b", re.IGNORECASE)
_CALM = re.compile(
    r"\b(?:quiet|idle|baseline|nothing (?:is )?running|in ruhe|ruhig|au repos|en reposo)\b", re.IGNORECASE
)
# What else is loud, or carries the data elsewhere
_OTHER = re.compile(
    r"wi-?fi|wlan|\bnetwork\b|\bnfs\b|\bsmb\b|\bsamba\b|microwave|mikrowelle|micro-ondes|bluetooth"
    r"|\bemmc\b|\bsd[ -]?card|\bmmcblk|\bnvme",
    re.IGNORECASE,
)

_CABLES = re.compile(
    r"\b(?:extension|extender|leads?|cables?|cord|hub|shield\w{0,5}|ferrite|foil|verlängerung\w{0,8}|(?:usb-?)?kabel"
    r"|rallonge|câble|alargador|prolunga|cavo|przedłużacz\w{0,3}|verlengkabel)\b"
    r"|\b(?:other|another|different|usb ?2(?:\.0)?) (?:port|socket|side|connector)\b",
    re.IGNORECASE,
)
_NEAR = re.compile(
    r"\b(?:closer|nearer|next to|beside|näher|plus près|más cerca|più vicin\w|bliżej|dichterbij)\b|\b\d{1,3} ?cm\b",
    re.IGNORECASE,
)
_MOVED = re.compile(r"\b(?:moved|swapped|replaced|changed|umgesteckt|déplacé|movid\w|spostat\w)\b", re.IGNORECASE)
_OWN_SIDE = re.compile(
    r"\b(?:adapter|coordinator|dongle|transceiver|stick|receiver|gateway|antenna|disks?|ssd|hdd|drive)\b", re.IGNORECASE
)


def load(text: str) -> str | None:
    """Whether a disk was `busy` or `idle` by a line; None when it does not say so."""
    text = text[:_READ]
    if _OTHER.search(text):
        return None
    if _NONE.search(text) or _RESTS.search(text):
        return IDLE
    if _TRANSFERS.search(text) or _WORKS.search(text):
        return BUSY
    return IDLE if _CALM.search(text) else None


def setup(text: str) -> str:
    """What had been changed: the other device came `nearer`, or something on the adapter's side was `changed`."""
    text = text[:_READ]
    if _CABLES.search(text) or (_OWN_SIDE.search(text) and (_MOVED.search(text) or _NEAR.search(text))):
        return CHANGED
    return NEARER if _NEAR.search(text) else CHANGED if _MOVED.search(text) else SAME


def around(lines: Sequence[Line], at: int, after: int = -1) -> tuple[str | None, str]:
    """Load and setup of the measurement that begins at an index; `after`: the index at which the one before ended."""
    found: str | None = None
    changed = SAME
    paragraphs = 0
    for index in range(at - 1, max(after, at - 1 - _ABOVE), -1):
        text = lines[index].text
        if not text.strip():
            paragraphs += 1
            if paragraphs > 1:
                break
            continue
        if paragraphs and (found or len(text) > _LEAD):
            break  # prose
        found = found or load(text)
        changed = setup(text) if changed == SAME else changed
        if paragraphs:
            break
    return found, changed
