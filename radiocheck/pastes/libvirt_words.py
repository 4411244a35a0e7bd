"""libvirt's words about host devices in the languages that its catalogues have, by their shape.

Translators keep the numbers and the order in which they stand, and nothing else.  Only what
a program reports is taken: its word for "error", or libvirt's own name, stands before it.
Messages: src/hypervisor/virhostdev.c, src/util/virusb.c.  A test holds the shapes against
the catalogues of Debian's libvirt-common.
"""

from __future__ import annotations

import re

from radiocheck.evidence.vm import VmMessage

TEXT_LIMIT = 400  # characters of a message that are kept
_READ = 600  # characters of a line that are looked at

# "error" in virsh (tools/vsh.c) and in "internal error: %s" (src/util/virerror.c)
ERROR = (
    r"(?:errors?|fehler|erreur|errore|erro|error interno|błąd|ошибка|помилка|chyba|pogreška|грешка|greška|fejl|feil"
    r"|fout|fel|virhe|hiba|kesalahan|ralat|lỗi|hata|错误|錯誤|エラー|오류|შეცდომა|त्रुटि|चूक|ভুল|ত্রুটি|ભૂલ|ದೋಷ"
    r"|പിശക്|ତୃଟି|ਗਲਤੀ|பிழை|దోషం|не(?:допустимая|припустима) операц\w{2,3})"
)
_FRAME = re.compile(
    rf"{ERROR}\s{{0,2}}[^\W\d]{{0,20}}\s{{0,2}}[:：]|libvirtd?(?:\[\d{{1,8}}\])?: |virtqemud\[", re.IGNORECASE
)
_USB = ("USB", "യുഎസ്ബി")
# "No free USB ports" (src/conf/domain_addr.c), which has no number
_NO_PORT = (
    "Žádné volné USB porty",
    "No hay puertos USB libres",
    "Ei vapaita USB-portteja",
    "Nessuna porta USB disponibile",
    "空き USB ポートがありません",
    "사용가능한 USB 포트가 없습니다",
    "Sem portas USB livres",
    "Нет свободных портов USB",
    "Inga fria USB-portar",
    "Немає вільних портів USB",
    "没有可用的 USB 端口",
)
_IDS = re.compile(r"(?<![\w:.])(?P<vid>[0-9a-f]{4}):(?P<pid>[0-9a-f]{4})(?![0-9a-z:]|\.\d)")
_SHORT_IDS = re.compile(r"(?<![\w:.])(?P<vid>[0-9a-f]{1,4}):(?P<pid>[0-9a-f]{1,4})(?![0-9a-z:]|\.\d)")
_ELEMENT = re.compile(r"<[^<>\s/=]{3,20}>")  # <address>, which some translate
_NAME = re.compile(r"(?<![\w:.])(?P<bus>\d{3}):(?P<address>\d{3})(?![\w:.]*\d)")
_HOLDER = re.compile(
    r"(?P<driver>QEMU|LXC|Xen|xenlight|BHYVE)\s?[,،、，]\s{0,3}[^\s\d,:]{1,30}[ :]['\"«„]?"
    r"(?P<domain>[A-Za-z0-9_.+-]{1,80})"
)
_PLACE = re.compile(r"[:：]\s?(?P<bus>\d{1,3})(?!\d)[^\d:：]{1,40}[:：]\s?(?P<address>\d{1,3})(?!\d)")
# "Failed to start domain %s", whatever the verb: a name in quotation marks behind the word, or the bare name.
_DOMAIN = re.compile(
    r"(?:\b(?:[Dd]oma(?:ins?|ine|inen|ene?)|[Dd]om[ií]nio|[Dd]om[ée]n[aeuoyiů]?\w{0,3}|[Dd]omän(?:en)?"
    r"|[Tt]oimialue(?:en)?|домен\w{0,3})|ドメイン|도메인|域) ?"
    r"(?:['\"«„](?P<quoted>[^'\"»“”]{1,80})['\"»“”]"
    r"|(?P<bare>[A-Za-z0-9_.+-]{1,80})(?=\s*$| (?:fehlgeschlagen|fallito|się nie|se nezda|mislukt)))"
)


def vm_named(text: str) -> str | None:
    """The domain that a translated "Failed to start domain" names."""
    if not _FRAME.search(text[:200]):
        return None
    match = _DOMAIN.search(text[:300])
    return (match["quoted"] or match["bare"]) if match else None


def read(text: str, vm: str | None = None, framed: bool = False) -> VmMessage | None:
    """A refusal in whatever language; `framed`: it is known to be libvirt's, whatever stands before it."""
    text = text[:_READ]
    if not any(word in text for word in _USB) or not (framed or _FRAME.search(text)):
        return None
    found = _shape(text)
    if found is None:
        return None
    kind, data = found
    return VmMessage(vm=vm, kind=kind, data=data, text=text[:TEXT_LIMIT])


def _shape(text: str) -> tuple[str, dict[str, str]] | None:
    if any(word in text for word in _NO_PORT):
        return "no-free-port", {}
    # What stands before the frame's last word for "error" is a time, a host or a process.
    frames = [match.end() for match in _FRAME.finditer(text)]
    body = text[frames[-1] :] if frames else text
    if _ELEMENT.search(body) and (match := _SHORT_IDS.search(body)):
        return "libvirt-several", _ids(match)
    if match := _NAME.search(body):
        data = {key: _plain(match[key]) for key in ("bus", "address")}
        if holder := _HOLDER.search(body, match.end()):
            data |= {"driver": holder["driver"], "domain": holder["domain"]}
        return "libvirt-in-use", data
    ids = _IDS.search(body)
    place = _PLACE.search(body, ids.end() if ids else 0)
    if ids is None and place is None:
        return None
    data = _ids(ids) if ids else {}
    if place:
        data |= {key: _plain(place[key]) for key in ("bus", "address")}
    return "libvirt-not-found", data


def _ids(match: re.Match[str]) -> dict[str, str]:
    return {key: match[key].zfill(4) for key in ("vid", "pid")}


def _plain(number: str) -> str:
    return number.lstrip("0") or "0"
