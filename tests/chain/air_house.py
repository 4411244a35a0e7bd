"""The invented house with a busy SuperSpeed disk in the socket beside the adapter, and the air reports of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from msgspec import structs

from radiocheck.air.plan import plan
from radiocheck.air.read import read
from radiocheck.chain.air_build import Asked, air
from radiocheck.chain.air_report import AirReport, Answer
from radiocheck.chain.context import context
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

from . import machines as m

GABLE = Path(__file__).parents[2] / "fixtures" / "air" / "gable.yaml"


def disk(**change: Any) -> UsbDevice:
    """A disk at 5 Gb/s in the SuperSpeed half of socket 3; busy."""
    storage = structs.replace(m.interface("2-3:1.0", "usb-storage", ()), class_=8, subclass=6, protocol=80)
    base = m.stick("2-3", 7, "D1", product="Backup disk", device_class=0, speed=5000.0, urbs=90_000_000)
    return structs.replace(base, interfaces=[storage], **change)


def evidence(*others: UsbDevice, **change: Any) -> Evidence:
    """The stick in socket 2, the others in theirs."""
    ports = [m.port(1, None, peer="usb2-port1")]
    for number in (2, 3):
        ports.append(m.port(number, "1-2" if number == 2 else None, peer=f"usb2-port{number}"))
        ports.append(m.port(number, None, name=f"usb2-port{number}", hub="usb2", peer=f"usb1-port{number}"))
    return m.native(**{"usb": [m.root_hub(), m.root_hub(2), m.stick(), *others], "ports": ports, **change})


def asked(text: str | None = None, **change: Any) -> Asked:
    """What a person says, by default the example of the documentation."""
    house = read(GABLE.read_bytes() if text is None else text.encode(), "air.yaml")
    given = Asked(
        plan=plan(house),
        site=house.site,
        kinds=[(link.device, link.room) for link in house.links],
        extension_m=house.extension_m,
        survey_from="site" if house.survey is not None else None,
    )
    return structs.replace(given, **change)


def report(given: Asked, seen: Evidence | None = None) -> AirReport:
    """The air report of the house, with the disk beside the adapter unless other evidence is given."""
    seen = seen or evidence(disk())
    found = subjects(seen)
    return air(given, context(seen, found), found[0].device)


def answer(given: AirReport, question: str) -> Answer:
    """The answer to one of the questions."""
    return next(one for one in given.answers if one.question == question)
