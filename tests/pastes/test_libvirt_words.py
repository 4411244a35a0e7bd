"""libvirt's refusals in other languages, made of the catalogues of libvirt 9.0.0 (Debian's libvirt0)."""

from __future__ import annotations

import gettext
import glob
import re
from collections.abc import Iterator
from typing import Any

import pytest

from radiocheck.pastes.libvirt_words import read, vm_named

# message, what fills it, kind, what is read of it
MESSAGES: list[tuple[str, tuple[str, ...], str, dict[str, str]]] = [
    ("Did not find USB device bus:%u device:%u", ("3", "7"), "libvirt-not-found", {"bus": "3", "address": "7"}),
    ("Did not find USB device %04x:%04x", ("1209", "7a01"), "libvirt-not-found", {"vid": "1209", "pid": "7a01"}),
    ("Multiple USB devices for %x:%x, use <address> to specify one", ("403", "6001"), "libvirt-several",
     {"vid": "0403", "pid": "6001"}),
    ("USB device %s is in use by driver %s, domain %s", ("001:010", "QEMU", "attic-2"), "libvirt-in-use",
     {"bus": "1", "address": "10", "driver": "QEMU", "domain": "attic-2"}),
    ("USB device %s is already in use", ("001:010",), "libvirt-in-use", {"bus": "1", "address": "10"}),
    ("No free USB ports", (), "no-free-port", {}),
]  # fmt: skip
UNREADABLE = {"hi"}  # its catalogue tears the two numbers apart


def filled(text: str, values: tuple[str, ...]) -> str:
    """A format with its values in their places."""
    rest = iter(values)
    return re.sub(r"%(?:0?4?x|[us])", lambda _: next(rest), text)


def catalogues() -> Iterator[tuple[str, gettext.GNUTranslations]]:
    """libvirt's translations that are installed, by language."""
    for path in sorted(glob.glob("/usr/share/locale/*/LC_MESSAGES/libvirt.mo")):
        with open(path, "rb") as file:
            yield path.split("/")[4], gettext.GNUTranslations(file)


@pytest.mark.parametrize(("message", "values", "kind", "data"), MESSAGES)
def test_every_language_of_the_catalogues(
    message: str, values: tuple[str, ...], kind: str, data: dict[str, str]
) -> None:
    """Behind virsh's word for "error" in that language; languages that leave the message in English are passed over."""
    read_ = {}
    for language, catalogue in catalogues():
        told, error = catalogue.gettext(message), catalogue.gettext("error: ").strip()
        if told != message:
            found = read(f"{error} {filled(told, values)}", "hearth")
            read_[language] = (found.kind, found.data, found.vm) if found else None
    if not read_:
        pytest.skip("libvirt's catalogues are not installed, or leave this message in English")
    skipped = UNREADABLE if kind == "libvirt-several" else set()
    assert {one: told for one, told in read_.items() if told != (kind, data, "hearth")}.keys() <= skipped


KNOWN: list[tuple[str, str, dict[str, Any]]] = [
    ("Fehler: Interner Fehler: Konnte USB Einheit Bus:1 Einheit:5 nicht finden", "libvirt-not-found",
     {"bus": "1", "address": "5"}),
    ("ошибка: Недопустимая операция: USB-устройство 002:003 используется драйвером QEMU, домен attic",
     "libvirt-in-use", {"bus": "2", "address": "3", "driver": "QEMU", "domain": "attic"}),
    ("エラー: 内部エラー: USB デバイス 1209:7a01 を見つけられませんでした", "libvirt-not-found",
     {"vid": "1209", "pid": "7a01"}),
    ("错误： 内部错误：未找到 USB 设备总线：3 设备：7", "libvirt-not-found", {"bus": "3", "address": "7"}),
]  # fmt: skip


@pytest.mark.parametrize(("line", "kind", "data"), KNOWN)
def test_without_the_catalogues(line: str, kind: str, data: dict[str, str]) -> None:
    """As people paste them."""
    found = read(line)
    assert found is not None
    assert (found.kind, found.data) == (kind, data)


@pytest.mark.parametrize(
    "line",
    [
        "Ich habe einen USB Adapter 1209:7a01 gekauft",
        "USB Gerät an Bus:1 Port:2 sieht gut aus",
        "Fehler: Domain-Name 001:005 unbekannt",
        "error: no device with matching name",
        "11:22:33 Fehler: USB geht nicht",
        "",
    ],
)
def test_prose_is_no_refusal(line: str) -> None:
    """A program's word for "error" must stand before it, and the device's numbers be in it."""
    assert read(line) is None


@pytest.mark.parametrize(
    ("line", "vm"),
    [
        ("fel: Misslyckades att starta domänen 'hearth'", "hearth"),
        ("エラー: ドメイン 'hearth' の起動に失敗しました", "hearth"),
        ("오류: 도메인 'hearth'를 시작하는데 실패히였습니다", "hearth"),
        ("помилка: Помилка запуску домену «hearth»", "hearth"),
        ("错误：启动域 'hearth' 失败", "hearth"),
        ("erreur : Échec du démarrage du domaine hearth", "hearth"),
        ("Fehler: Starten der Domain hearth fehlgeschlagen", "hearth"),
        ("error: Requested operation is not valid: domain is not running", None),
        ("Fehler: Domain nicht gefunden: keine Domain mit passendem Namen", None),
        ("domaine hearth", None),
    ],
)
def test_the_domain_that_did_not_start(line: str, vm: str | None) -> None:
    """Newer libvirt leaves this sentence in English, where another reader has it (older ones: from memory)."""
    assert vm_named(line) == vm
