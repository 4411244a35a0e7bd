"""What tests of several readers need."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.pastes.languages import LOCALES


@pytest.fixture(scope="session")
def locales(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The locales, made from Debian's `locales`; they take most of a minute."""
    if shutil.which("localedef") is None or not Path("/usr/share/i18n/locales/de_DE").exists():
        pytest.skip("localedef or its sources are absent (Debian package locales)")
    where = tmp_path_factory.mktemp("locales")
    for name in LOCALES:
        argv = ["localedef", "--no-archive", "-i", name, "-f", "UTF-8", str(where / f"{name}.UTF-8")]
        subprocess.run(argv, capture_output=True, check=False, timeout=60)
    return where
