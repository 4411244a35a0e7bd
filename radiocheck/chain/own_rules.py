"""Lines of a pasted udev rules file that are meant for an adapter and can never apply to it."""

from __future__ import annotations

from fnmatch import fnmatchcase
from typing import Any

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import UdevRule
from radiocheck.evidence.usb import UsbDevice

from .context import Context
from .held import device_ttys

NONE: dict[str, Any] = {"rule_fault": None, "rule_words": None, "rule_name": None, "rule_missing": False}


def rule_facts(context: Context, device: UsbDevice | None) -> dict[str, Any]:
    """Facts `rule_…` of `NameFacts`.  Only a paste has such lines; without one there is no fault to name."""
    rules = context.evidence.udev_rules
    if not known(rules) or device is None:
        return NONE
    # What is there was made by some rule, whatever this one is like.
    faulty = [one for one in rules if one.fault is not None and one.made is not True and _is_for(one, context, device)]
    if not faulty:
        return NONE
    rule = next((one for one in faulty if one.made is False), faulty[-1])
    return {
        "rule_fault": rule.fault,
        "rule_words": rule.words,
        "rule_name": f"/dev/{rule.names[0]}" if rule.names else None,
        "rule_missing": rule.made is False,
    }


def _is_for(rule: UdevRule, context: Context, device: UsbDevice) -> bool:
    """Whether nothing that was seen of the adapter says that the line means another one."""
    if rule.fault != "refused" and not rule.names:
        return False
    asked = ((rule.vid, device.vid), (rule.pid, device.pid), (rule.serial, _serial(context, device, rule)))
    if any(isinstance(has, str) and want is not None and not fnmatchcase(has, want) for want, has in asked):
        return False
    ttys = device_ttys(device)
    return rule.kernel is None or any(fnmatchcase(tty, pattern) for tty in ttys for pattern in rule.kernel.split("|"))


def _serial(context: Context, device: UsbDevice, rule: UdevRule) -> str | None:
    """The device's serial number, or that of the line where the name under by-id has it; "" where it has another."""
    if isinstance(device.serial, str):
        return device.serial
    links = context.evidence.links if known(context.evidence.links) else []
    mine = [one.path for one in links if "/by-id/" in one.path and one.target in device_ttys(device)]
    if not mine or rule.serial is None:
        return None
    return rule.serial if any(f"_{rule.serial}-" in path for path in mine) else ""
