"""Words of strerror(3), held against the translations of glibc 2.36."""

from __future__ import annotations

import gettext
import os
import re
from errno import errorcode
from pathlib import Path

import pytest

from radiocheck.pastes.strerror import ERRORS, words

LANGUAGES = "de fr es it pl ru pt pt_BR nl cs sv hu tr uk da fi nb ja zh_CN ko".split()
NUMBERS = {name: number for number, name in errorcode.items()}


@pytest.mark.parametrize(("name", "kind", "found"), ERRORS, ids=[name for name, *_ in ERRORS])
def test_the_c_library_says_so(name: str, kind: str, found: tuple[str, ...]) -> None:
    """Each word is that of one language, and no language is left out."""
    english = os.strerror(NUMBERS[name])
    assert found[0] == english
    if not Path("/usr/share/locale/de/LC_MESSAGES/libc.mo").exists():
        pytest.skip("translations are absent (Debian package libc-l10n)")
    catalogues = [gettext.translation("libc", "/usr/share/locale", [language]) for language in LANGUAGES]
    told = {one.gettext(english) for one in catalogues} | {english}
    assert set(found) == told
    assert kind in ("denied", "not-permitted", "busy", "missing", "io-error")


def test_an_expression_of_some_errors() -> None:
    """Only of those that were asked for."""
    assert re.search(words("EACCES"), "stty: /dev/ttyUSB0: Keine Berechtigung")
    assert not re.search(words("EIO", "EBUSY"), "stty: /dev/ttyUSB0: Keine Berechtigung")
