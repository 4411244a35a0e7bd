"""What QEMU's answers mean, hostile ones among them."""

from __future__ import annotations

import asyncio
import copy
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import FORMAT, Evidence, Taken
from radiocheck.evidence.store import load, save
from radiocheck.evidence.vm import Monitor, MonitorUsb, UsbHostArg
from radiocheck.sources.qmp_questions import Refusal, questions

from .monitors import ANSWERS

SHOWN = "  Device 0.1, Port 1, Speed 12 Mb/s, Product {}, ID: radio\n"


def told(changed: Mapping[str, Any]) -> Monitor:
    """The record of a QEMU that gives some other answers; an exception is its error."""
    answers = {**ANSWERS, **changed}

    async def asker(command: str, arguments: Mapping[str, str]) -> Any:
        keys = [f"{command} {arguments.get('path')}", arguments.get("property"), command]
        answer = next(answers[key] for key in keys if key in answers)
        if isinstance(answer, Exception):
            raise answer
        return copy.deepcopy(answer)

    facts: dict[str, Any] = {"socket": "/run/hearth.sock"}
    asyncio.run(questions(asker, facts))
    return Monitor(**facts)


def device(changed: Mapping[str, Any]) -> MonitorUsb:
    """Its only device."""
    found = told(changed).usb
    assert isinstance(found, list)
    assert len(found) == 1
    return found[0]


def test_who_and_how() -> None:
    """Name, UUID, state and version, as QEMU says them."""
    monitor = told({})
    assert (monitor.name, monitor.uuid) == ("hearth", "8c3c1d2e-1111-2222-3333-444455556666")
    assert (monitor.status, monitor.version) == ("running", "7.2.22")


def test_nameless() -> None:
    """Without -name there is no name; without -uuid all digits are 0 (seen with QEMU 7.2), which is none."""
    monitor = told({"query-name": {}, "query-uuid": {"UUID": "00000000-0000-0000-0000-000000000000"}})
    assert (monitor.name, monitor.uuid) == (None, None)


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ({}, UsbHostArg(id="radio", vid="1209", pid="7a01")),
        ({"vendorid": 0, "productid": 0}, UsbHostArg(id="radio")),
        ({"vendorid": 0x403, "productid": 0, "hostbus": 3}, UsbHostArg(id="radio", vid="0403", bus=3)),
        ({"vendorid": 0, "productid": 0, "hostbus": 1, "hostaddr": 5}, UsbHostArg(id="radio", bus=1, address=5)),
        ({"hostport": "1.2"}, UsbHostArg(id="radio", vid="1209", pid="7a01", port="1.2")),
        (
            {"vendorid": 0, "productid": 0, "hostdevice": "/dev/bus/usb/001/005"},
            UsbHostArg(id="radio", node="/dev/bus/usb/001/005"),
        ),
        ({"hostdevice": Refusal("GenericError", "not found")}, UsbHostArg(id="radio", vid="1209", pid="7a01")),
    ],
)
def test_selectors(answers: dict[str, Any], expected: UsbHostArg) -> None:
    """0 and the empty text are what QEMU shows for a selector that was not given; an old QEMU lacks one of them."""
    assert device(answers).argument == expected


def test_a_device_without_an_id() -> None:
    """It is in the folder of the nameless, and its name there is no id."""
    found = device(
        {
            "qom-list /machine/peripheral": [],
            "qom-list /machine/peripheral-anon": [{"name": "device[0]", "type": "child<usb-host>"}],
        }
    )
    assert found.argument == UsbHostArg(vid="1209", pid="7a01")


def test_a_device_that_is_taken_out_meanwhile() -> None:
    """It is no longer there, and the others are told of."""
    assert told({"hostaddr": Refusal("DeviceNotFound", "Device 'radio' not found")}).usb == []


def test_a_folder_that_is_not_listed() -> None:
    """Without a list there are no devices to tell of, and not none."""
    with pytest.raises(Refusal):
        told({"qom-list /machine/peripheral-anon": Refusal("GenericError", "no")})


@pytest.mark.parametrize(
    ("attached", "shown", "product"),
    [
        (True, SHOWN.format("Mesh stick"), "Mesh stick"),
        (True, SHOWN.format("host:1.4"), None),  # hw/usb/host-libusb.c, usb_host_open: it gives no name
        (True, SHOWN.format("Mesh, ID: stick"), "Mesh, ID: stick"),
        (
            True,
            SHOWN.format("Mesh stick") + SHOWN.replace("radio", "b").format("x\n" + SHOWN.format("forged") + "x"),
            UNSET,
        ),
        (True, SHOWN.replace("radio", "other").format("Mesh stick"), UNSET),
        (True, Refusal("CommandNotFound", "no x-query-usb"), UNSET),
        (True, None, UNSET),
        (False, SHOWN.format("USB Host Device"), None),
        (None, SHOWN.format("Mesh stick"), UNSET),
    ],
)
def test_the_product(attached: bool | None, shown: Any, product: object) -> None:
    """The adapter's name by the id of the device (hw/usb/bus.c, qmp_x_query_usb); a name that forges a line is none."""
    answer = shown if isinstance(shown, Refusal) else {"human-readable-text": shown}
    found = device({"attached": attached, "x-query-usb": answer})
    assert found.product == product
    assert found.attached is (UNSET if attached is None else attached)


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(st.characters(), max_size=20)
    | st.just("\ud800\0"),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["name", "type", "qemu", "UUID"]), inner)
    ),
    max_leaves=6,
)


@given(st.fixed_dictionaries({}, optional=dict.fromkeys(ANSWERS, JSON)))
def test_whatever_it_answers(answers: dict[str, Any]) -> None:
    """Any answers make a record that can be saved and loaded again."""
    monitor = told(answers)
    evidence = Evidence(radiocheck_evidence=FORMAT, taken=Taken(at=0.0, tool="test"), monitors=[monitor])
    assert load(save(evidence), "saved").monitors == [monitor]
