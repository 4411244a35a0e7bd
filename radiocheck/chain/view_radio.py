"""The part of the view that is about the firmware behind the port: words that only a paste carries.  See `view.py`."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Struct, UnsetType

from .needs import APPS


class RadioFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What came out of the port.  On a live machine no port is opened, and all is null or false."""

    heard: Annotated[bool | UnsetType, APPS] = UNSET  # something did come out of it
    # What the newest words say that runs.  boot-loader; application: a tool needs the boot loader; no-application: the
    # boot loader finds none; deaf-boot-loader: it runs, and hears nothing; null: not told, or it answered since
    state: Annotated[str | UnsetType | None, APPS] = UNSET
    words: Annotated[str | UnsetType | None, APPS] = UNSET  # these words
    returned: Annotated[bool | UnsetType, APPS] = UNSET  # its boot loader came back when told to start the application
    silent: Annotated[bool | UnsetType, APPS] = UNSET  # a program got no answer, before its boot loader was met
    parity: Annotated[str | UnsetType | None, APPS] = UNSET  # even or odd: what the bytes that were read carry
    text: Annotated[str | UnsetType | None, APPS] = UNSET  # these bytes without it
