"""Rules of udev(7) for one adapter.

An assignment with `:=` is final: a rule that is read later, of a distribution or a
program, does not take it back.
"""

from __future__ import annotations

from .snippet import ACCOUNT, SERIAL, Facts, Made, here, ids, unique, word

OWN_GROUP = "mesh-radio"
ALIKE = "the rule counts for every device with these IDs, not for this one alone"
THIS_ONE = "the rule counts for this one adapter; another one in its place needs a rule of its own"


def tty_group(facts: Facts) -> Made | None:
    """Its tty for the group of serial ports."""
    return _tty(facts, word(facts, "access.serial_group", ACCOUNT))


def tty_own_group(facts: Facts) -> Made | None:
    """Its tty for a group of its own."""
    return _tty(facts, OWN_GROUP)


def usb_rights(facts: Facts) -> Made | None:
    """Its USB node for the account that QEMU runs as, else for one of QEMU's groups; all may read it, as before."""
    user, group = word(facts, "assignment.as_user", ACCOUNT), word(facts, "assignment.as_group", ACCOUNT)
    if user is not None:
        return _rule(facts, _USB, f'OWNER:="{user}", MODE:="0664"', "")
    if group is None:
        return None
    gives_up = f"every member of the group {group} may then reach the device itself, not only its serial port"
    return _rule(facts, _USB, f'GROUP:="{group}", MODE:="0664"', gives_up)


def no_modem(facts: Facts) -> Made | None:
    """The modem prober leaves it: ID_MM_DEVICE_IGNORE on the device and its ports (ModemManager, src/mm-filter.c)."""
    match = 'ACTION!="remove", SUBSYSTEM=="usb|tty"'
    return _rule(facts, match, 'ENV{ID_MM_DEVICE_IGNORE}="1"', "", parent=True)


def no_braille(facts: Facts) -> Made | None:
    """The braille daemon's own rules leave it."""
    setting = 'ENV{BRLTTY_BRAILLE_DRIVER}="", ENV{SYSTEMD_WANTS}=""'
    gives_up = "a braille display that answers to it is not found either"
    return _rule(facts, 'ACTION!="remove"', setting, gives_up, parent=True)


_USB = 'SUBSYSTEM=="usb", ENV{DEVTYPE}=="usb_device"'


def _tty(facts: Facts, group: str | None) -> Made | None:
    if group is None or group == "root":
        return None
    return _rule(facts, 'SUBSYSTEM=="tty"', f'GROUP:="{group}", MODE:="0660"', "", parent=True)


def _rule(facts: Facts, match: str, setting: str, gives_up: str, parent: bool = False) -> Made | None:
    """One rule line, by IDs and by the serial number where that has a harmless form.

    `parent`: the matches are looked for in the devices above, all in the same one (udev(7), ATTRS).
    """
    pair = ids(facts)
    if not here(facts) or pair is None:
        return None
    key = "ATTRS" if parent else "ATTR"
    parts = [match, f'{key}{{idVendor}}=="{pair[0]}"', f'{key}{{idProduct}}=="{pair[1]}"']
    serial = word(facts, "adapter.serial", SERIAL)
    if serial is not None:
        parts.append(f'{key}{{serial}}=="{serial}"')
    said = THIS_ONE if serial is not None else ALIKE
    if serial is not None and unique(facts) is False:
        said += ", unless the other one has the same serial number"
    return Made(", ".join([*parts, setting]), "; ".join(part for part in (said, gives_up) if part))
