"""What the log remembers: stays on the bus, ports, trouble that lasts."""

from __future__ import annotations

import pytest

from radiocheck.chain.history import Stay, device_at, failing, located, port_of, since_arrival, stays
from radiocheck.evidence.record import Event


def event(kind: str, at: float, device: str | None = "1-2", **more: str) -> Event:
    """An event of the log."""
    port, tty = more.pop("port", None), more.pop("tty", None)
    return Event(kind=kind, at=at, device=device, port=port, tty=tty, data=more, text=f"{kind} {device or port}")


ARRIVAL = [
    event("new-device", 10.0, num="4"),
    event("found", 10.1, vid="1209", pid="7a01"),
    event("string-value", 10.2, k="Product", v="Mesh stick"),
    event("string-value", 10.3, k="SerialNumber", v="A1B2C3"),
    event("acm", 10.4, tty="ttyACM0"),
]


@pytest.mark.parametrize(
    ("device", "port"), [("1-2", "usb1-port2"), ("1-1.3", "1-1-port3"), ("2-1.4.2", "2-1.4-port2")]
)
def test_port_names(device: str, port: str) -> None:
    """Port objects are named `%s-port%d` of their hub (Linux drivers/usb/core/port.c, dev_set_name)."""
    assert port_of(device) == port
    assert device_at(port) == device


def test_root_hubs_have_no_port() -> None:
    """A root hub sits in no port."""
    assert port_of("usb1") is None


def test_a_stay_is_told_in_full() -> None:
    """IDs, number, strings and tty of one stay come together; its end is known."""
    found = stays([*ARRIVAL, event("disconnect", 99.0, num="4")])
    assert found == [
        Stay(
            device="1-2",
            bus=1,
            number=4,
            vid="1209",
            pid="7a01",
            product="Mesh stick",
            serial="A1B2C3",
            tty="ttyACM0",
            began=10.0,
            ended=99.0,
            gone=True,
        )
    ]


def test_a_return_is_a_new_stay() -> None:
    """An arrival without a logged departure closes the stay before it."""
    found = stays([*ARRIVAL, event("new-device", 50.0, num="5"), event("found", 50.1, vid="1209", pid="7a01")])
    assert [(stay.number, stay.gone) for stay in found] == [(4, True), (5, False)]


def test_departure_of_what_came_before_the_log() -> None:
    """A disconnect without an arrival still tells the number that left."""
    assert stays([event("disconnect", 5.0, num="7")]) == [Stay(device="1-2", bus=1, number=7, ended=5.0, gone=True)]


def test_failing_ends_with_success() -> None:
    """Errors count while nothing was enumerated after them, per place; port lines count for their device."""
    errors = [event("descriptor-error", 1.0, err="-71"), event("gave-up", 2.0, None, port="usb1-port2")]
    assert [one.kind for one in failing(errors)["1-2"]] == ["descriptor-error", "gave-up"]
    assert failing([*errors, *ARRIVAL]) == {}
    assert set(failing([*errors, event("found", 3.0, "1-3")])) == {"1-2"}


def test_since_arrival_forgets_earlier_stays() -> None:
    """Only the newest stay's messages are looked at."""
    log = [event("noise", 1.0), *ARRIVAL, event("urb-stopped", 60.0)]
    assert next(one.kind for one in since_arrival(log, "1-2")) == "new-device"
    assert "noise" not in [one.kind for one in since_arrival(log, "1-2")]


def test_tty_messages_belong_to_the_device_that_had_it() -> None:
    """A line that only names a tty is told its device; a tty that nobody announced stays alone."""
    stop = event("urb-stopped", 60.0, None, tty="ttyACM0")
    stranger = event("urb-stopped", 61.0, None, tty="ttyUSB7")
    assert [one.device for one in located([*ARRIVAL, stop, stranger])[-2:]] == ["1-2", None]
