"""virsh 9.0 (formats: tools/virsh-domain-monitor.c and virsh-domain.c; libvirt's test driver run here)."""

from __future__ import annotations

import shutil
import subprocess

import msgspec
import pytest
from msgspec import UNSET

from radiocheck.evidence.vm import Definition, Domain, GivenVm, HostdevUsb
from tests.pastes.readers.said import typed, values

HOSTDEV = """    <hostdev mode='subsystem' type='usb' managed='yes'>
      <source>
        <vendor id='0x1209'/>
        <product id='0x7a01'/>
      </source>
    </hostdev>
"""
LIST = """ Id   Name     State
------------------------
 4    hearth   running
 -    attic    shut off
"""
DEVICE = HostdevUsb(vid="1209", pid="7a01")
WITH = Definition(usb=[DEVICE], pci=[], ttys=[])
WITHOUT = Definition(usb=[], pci=[], ttys=[])
FILTER = "| sed -n '/<hostdev/,/hostdev>/p'"


def domains(text: str) -> dict[str, Domain]:
    """Domains by name."""
    return {one.name: one for one in values("vms", text, "domain")}


def given(text: str) -> list[GivenVm]:
    """Configurations of which it is not known whether they run."""
    return values("vms", text, "given")


def test_the_list() -> None:
    """States, and that what is shut off has nothing now."""
    found = domains(typed("virsh list --all", LIST))
    assert (found["hearth"].state, found["hearth"].live) == ("running", UNSET)
    assert (found["attic"].state, found["attic"].live) == ("shut off", None)


def test_a_list_in_another_language() -> None:
    """Only the ID tells whether it runs; the word for the state is not taken for one of libvirt's."""
    found = domains(
        " Id   Name     Status\n----------------------------\n 4    hearth   laufend\n -    attic    ausschalten\n"
    )
    assert (found["hearth"].state, found["hearth"].live) == (UNSET, UNSET)
    assert (found["attic"].state, found["attic"].live) == (UNSET, None)


@pytest.mark.skipif(shutil.which("virsh") is None, reason="Debian's libvirt-clients is not installed")
def test_virsh_itself() -> None:
    """Its test driver has one domain, which runs."""
    virsh = ["virsh", "-c", "test:///default"]
    for words in (["list", "--all"], ["domstate", "test"], ["dominfo", "test"]):
        ran = subprocess.run([*virsh, *words], capture_output=True, text=True, check=True, env={"LC_ALL": "C"})
        found = domains(typed("virsh -c test:///default " + " ".join(words), ran.stdout))
        assert found["test"].state == "running"


def test_now_and_next() -> None:
    """A configuration that was changed since the VM started."""
    text = typed(f"virsh dumpxml --inactive hearth {FILTER}", HOSTDEV) + typed(f"virsh dumpxml hearth {FILTER}", "")
    text += typed("virsh list", LIST)
    found = domains(text)["hearth"]
    assert (found.state, found.live, found.next) == ("running", WITHOUT, WITH)
    assert given(text) == []


def test_counts() -> None:
    """`grep -c`: none is none; how many lines there are of more says nothing of which."""
    text = typed("virsh dumpxml hearth | grep -c '<hostdev'", "0\n")
    found = domains(text + typed("virsh dumpxml hearth --inactive | grep -c '<hostdev'", "1\n"))["hearth"]
    assert (found.live, found.next) == (WITHOUT, UNSET)
    found = domains(HOSTDEV + text + typed("virsh dumpxml hearth --inactive | grep -c '<hostdev'", "1\n"))["hearth"]
    assert (found.live, found.next) == (WITHOUT, WITH)


@pytest.mark.parametrize(
    "text",
    [
        typed(f"virsh dumpxml hearth {FILTER}", ""),  # what came of it was not pasted
        typed("virsh dumpxml hearth | grep -i lindenhof", "") + typed("lsusb", ""),
        typed("virsh dumpxml hearth", "") + typed("lsusb", ""),
        typed("virsh dumpxml hearth | grep -A9 hostdev", HOSTDEV[:90]) + typed("lsusb", ""),
    ],
)
def test_what_says_nothing_of_absence(text: str) -> None:
    """Another filter, no filter, an output that was cut off."""
    assert domains(text) == {}


def test_attached_to_the_running_vm_only() -> None:
    """What `attach-device` took from a file, and a configuration without it."""
    text = typed("virsh attach-device hearth stick.xml --live", "Device attached successfully\n\n")
    text += typed("cat stick.xml", HOSTDEV) + typed("virsh dumpxml hearth --inactive | grep -c hostdev", "0\n")
    found = domains(text)["hearth"]
    assert (found.live, found.next) == (WITH, WITHOUT)
    failed = text.replace("Device attached successfully", "error: Failed to attach device from stick.xml")
    assert domains(failed)["hearth"].live is UNSET


def test_one_side_alone_is_a_configuration_of_that_name() -> None:
    """Whether it is the running VM's does not show."""
    (found,) = given(typed("virsh dumpxml hearth | grep -A9 hostdev", HOSTDEV))
    assert (found.name, found.hostdevs) == ("hearth", [DEVICE])
    assert given(HOSTDEV)[0].name is None


def test_what_is_shut_off_gets_what_is_kept() -> None:
    """`dumpxml` of a domain that does not run prints what the next start uses."""
    found = domains(typed("virsh list --all", LIST) + typed(f"virsh dumpxml attic {FILTER}", HOSTDEV))["attic"]
    assert (found.live, found.next) == (None, WITH)


def test_other_tables_are_none() -> None:
    """A rule of dashes stands under many headings."""
    assert domains("NAME  SIZE\n--------------------\nsda1  5G\n 12 apples\n") == {}


NUMBERED = HOSTDEV.replace("      </source>", "        <address bus='3' device='4'/>\n      </source>")
ALIAS = NUMBERED.replace("    </hostdev>", "      <alias name='hostdev0'/>\n    </hostdev>")
RESOLVED = HostdevUsb(vid="1209", pid="7a01", bus=3, address=4)


@pytest.mark.parametrize("text", [ALIAS, ALIAS.replace("'", '"')])
def test_a_number_that_libvirt_looked_up(text: str) -> None:
    """Beside IDs, in the XML of a domain that runs, it is no choice of the owner."""
    resolved = msgspec.structs.replace(RESOLVED, resolved=True)
    (by_alias,) = given(typed("virsh dumpxml hearth | grep -A9 hostdev", text))
    assert by_alias.hostdevs == [resolved]
    (by_list,) = given(typed("virsh list", LIST) + typed("virsh dumpxml hearth | grep -A9 hostdev", NUMBERED))
    assert by_list.hostdevs == [resolved]


def test_a_number_of_the_owner() -> None:
    """In the XML of the next start, of a domain that is off or not known to run, and without IDs."""
    (kept,) = given(typed("virsh dumpxml --inactive hearth | grep -A9 hostdev", NUMBERED))
    assert kept.hostdevs == [RESOLVED]
    (other,) = given(typed("virsh dumpxml hearth | grep -A9 hostdev", NUMBERED))
    assert other.hostdevs == [RESOLVED]
    off = typed("virsh list --all", LIST) + typed("virsh dumpxml attic | grep -A9 hostdev", NUMBERED)
    assert domains(off)["attic"].next == Definition(usb=[RESOLVED], pci=[], ttys=[])
    ids = "        <vendor id='0x1209'/>\n        <product id='0x7a01'/>\n"
    (bare,) = given(typed("virsh dumpxml hearth | grep -A9 hostdev", ALIAS.replace(ids, "")))
    assert bare.hostdevs == [HostdevUsb(bus=3, address=4)]


def test_attached_once_and_not_there_now() -> None:
    """What was attached to the running VM, and what runs now has none: it was an earlier run."""
    text = typed("cat stick.xml", HOSTDEV) + typed("virsh attach-device hearth stick.xml --live", "Device attached\n\n")
    (before,) = given(text + typed("virsh dumpxml hearth | grep -c hostdev", "0\n"))
    assert (before.name, before.once) == ("hearth", True)
    after = typed("virsh dumpxml hearth | grep -c hostdev", "0\n") + text
    assert not any(one.once for one in given(after))
