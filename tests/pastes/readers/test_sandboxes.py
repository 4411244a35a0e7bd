"""Units as `systemctl cat` of systemd 252 prints them, and permissions as `flatpak info` does (from memory)."""

from __future__ import annotations

import pytest
from msgspec import UNSET

from .said import typed, values

UNIT = "# /etc/systemd/system/gauge.service\n[Service]\nExecStart=/opt/gauge/gauged --port /dev/ttyUSB0\n"


def policies(text: str) -> list[str]:
    """The settings that keep serial ports out."""
    return [one.policy for one in values("sandboxes", text, "service")]


@pytest.mark.parametrize(
    "setting", ["PrivateDevices=yes", "PrivateDevices=true", "DevicePolicy=closed", "DevicePolicy=strict"]
)
def test_a_unit_that_has_no_serial_ports(setting: str) -> None:
    """systemd.exec(5), systemd.resource-control(5): the unit, its port, and the words that say so."""
    (found,) = values(
        "sandboxes", typed("systemctl cat gauge.service", f"{UNIT}{setting}\nNoNewPrivileges=yes\n"), "service"
    )
    assert (found.kind, found.unit, found.policy, found.tty) == ("sandboxed", "gauge.service", setting, "ttyUSB0")


@pytest.mark.parametrize(
    "settings",
    [
        "PrivateDevices=no\n",
        "DevicePolicy=auto\n",
        "PrivateDevices=yes\n# /etc/systemd/system/gauge.service.d/own.conf\n[Service]\nPrivateDevices=no\n",
        "DevicePolicy=closed\nDeviceAllow=char-ttyUSB rw\n",
        "DeviceAllow=/dev/ttyUSB0 rw\nDevicePolicy=strict\n",
    ],
)
def test_a_unit_that_has_them(settings: str) -> None:
    """The last word counts, and what is allowed is there."""
    assert policies(UNIT + settings) == []


def test_what_is_allowed_is_not_there_with_private_devices() -> None:
    """The unit's /dev has pseudo devices only."""
    assert policies(UNIT + "DeviceAllow=/dev/ttyUSB0 rw\nPrivateDevices=yes\n") == ["PrivateDevices=yes"]
    (nameless,) = values("sandboxes", "[Service]\nPrivateDevices=yes\n", "service")
    assert (nameless.unit, nameless.tty) == ("a unit", UNSET)


@pytest.mark.parametrize(("given", "kept"), [("dri;", True), ("dri;kvm;", True), ("all;", False), ("dri;all;", False)])
def test_a_flatpak(given: str, kept: bool) -> None:
    """flatpak-metadata(5): only `all` has serial ports."""
    text = typed(
        "flatpak info --show-permissions org.example.Atelier", f"[Context]\nshared=network;ipc;\ndevices={given}\n"
    )
    assert policies(text) == ([f"devices={given}"] if kept else [])
    assert policies(f"[Context]\ndevices={given}\n") == []  # of what, nobody says


SNAP = "Interface   Plug                  Slot        Notes\nhome        labelcut:home         :home       -\n"


@pytest.mark.parametrize(
    ("row", "found"),
    [
        ("raw-usb     labelcut:raw-usb      -           -", ["plug raw-usb not connected"]),
        ("serial-port labelcut:serial-port  -           -", ["plug serial-port not connected"]),
        ("raw-usb     labelcut:raw-usb      :raw-usb    -", []),
        ("removable-media labelcut:removable-media - -", []),
    ],
)
def test_a_snap(row: str, found: list[str]) -> None:
    """A plug for USB or serial ports without a slot."""
    assert policies(typed("snap connections labelcut", f"{SNAP}{row}\n")) == found
    assert policies(typed("column -t notes", f"{SNAP}{row}\n")) == []
