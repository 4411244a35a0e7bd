"""From a subject to its view."""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from .context import Context
from .facts_air import air_facts
from .facts_bus import bus_facts
from .facts_guest import guest_facts
from .facts_name import name_facts
from .facts_radio import radio_facts
from .facts_serial import access_facts, driver_facts
from .facts_usb import adapter_facts, host_facts, power_facts
from .facts_vm import assignment_facts, handover_facts
from .pasted import is_paste
from .subjects import Subject
from .view import View


def view(context: Context, subject: Subject) -> View:
    """All facts about one adapter."""
    return View(
        route=route(subject, is_paste(context.evidence)),
        host=host_facts(context),
        adapter=adapter_facts(context, subject),
        power=power_facts(context, subject),
        bus=bus_facts(context, subject),
        driver=driver_facts(context, subject),
        name=name_facts(context, subject),
        access=access_facts(context, subject),
        assignments=assignment_facts(context, subject),
        handover=handover_facts(context, subject),
        guest=guest_facts(context, subject),
        radio=radio_facts(context, subject),
        air=air_facts(context, subject),
    )


def route(subject: Subject, pasted: bool) -> str | UnsetType:
    """The way this adapter takes: by the configuration lines that name it, else native.

    Absent when a line that could not be seen might say otherwise; who pastes a line pastes the one that counts.
    """
    kinds = {item.kind for item in subject.items}
    if "device" in kinds:
        return "device"
    if subject.partial and not (pasted and kinds):
        return UNSET
    for kind in ("forwarded", "controller"):
        if kind in kinds:
            return kind
    return "native"
