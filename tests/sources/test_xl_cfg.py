"""xl configuration files, held against the man page's examples and against Xen's own reader."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from radiocheck.evidence.vm import HostdevUsb, PciArg, UsbHostArg
from radiocheck.sources.xl_cfg import read
from radiocheck.sources.xl_cfg import settings as read_settings

from .xl_reader import LIBRARIES, NAMES, XlReader


def vm(text: str) -> Any:
    """The record of a file."""
    return read(text, "hearth.cfg")


# --- the syntax


@pytest.fixture(scope="module")
def xl() -> Iterator[XlReader]:
    """Xen's own reader."""
    if not LIBRARIES:
        pytest.skip("libxlutil (Debian package libxenmisc4.17) is not installed")
    reader = XlReader()
    yield reader
    reader.close()


def mine(text: str) -> dict[str, Any] | None:
    """What our reader finds, in the form of the other."""
    try:
        found = read_settings(text)
    except ValueError:
        return None
    values = {name: found[name] for name in NAMES if name in found}
    return {
        name: [None if isinstance(item, list) else item for item in value] if isinstance(value, list) else value
        for name, value in values.items()
    }


SAMPLES = [
    'name="h0"\ntype="hvm"\n',  # xl.cfg(5), SYNTAX
    'name="h0"; type="hvm"\n',
    'usbctrl=["version=1,ports=4", "version=2,ports=8"]\n',  # xl.cfg(5), usbctrl
    "usbdev = [ 'type=hostdev,hostbus=1,hostaddr=5',\n\n  # the stick\n  'hostbus=1,hostaddr=6' , ]\n",
    "a = 'it\\'s \\\"x\\\" \\\\ \\t'\n",
    "a = 0x1f; b = 010\n",
    "a = ['1']\na += ['2', 3]\n",
    "a = 'x'\na += 'y'; a = 'z'; b='q'\n",
    "a = ['x', ['y', 'z'], []]\n",
    "a = []\n;;\n\n",
    "a = ['x' 'y']\n",
    "a = [,]\n",
    "a = 'x' b = 'y'\n",
    "a\n= 'x'\n",
    "a =\n'x'\n",
    "A = 'x'\n",
    "a = x\n",
    "a = 'x\n'\n",
    "a = 'x\\\ny'\n",
    "a = 'x\\q'\n",
    "a = ['x'\n",
    "a = -1\n",
    "a = 'x' += 'y'\n",
    "a += ['x']\na += 'y'\n",
    "import os\nname = 'x'\n",
    "a = 'Küche ☃'\n",
    "\ta\t=\t'x'\t# y\n",
    "a=1x;b=2\n",
    "",
]


@pytest.mark.parametrize("text", SAMPLES)
def test_syntax_is_that_of_xl(text: str, xl: XlReader) -> None:
    """Lists, both quotes, comments, line ends, additions and mistakes are taken as libxlutil takes them."""
    assert mine(text) == xl.read(text)


TOKENS = [
    "a",
    "b",
    "=",
    "+=",
    "'x'",
    '"y z"',
    "1",
    "0x",
    "[",
    "]",
    ",",
    ";",
    "\n",
    " ",
    "# c\n",
    "'",
    "\\",
    "A",
    "'\\n'",
]


@given(st.lists(st.sampled_from(TOKENS), max_size=14).map("".join))
@example("a=['x',\n#\n]")
@settings(max_examples=1500, deadline=None)
def test_any_row_of_tokens_is_taken_as_xl_takes_it(xl: XlReader, text: str) -> None:
    """Whatever stands beside each other: the same values, or refused by both."""
    assert mine(text + "\n") == xl.read(text + "\n")


def test_what_a_copy_does_to_a_file_is_forgiven() -> None:
    """A last comment without a line end, and line ends of another system, which xl itself refuses."""
    assert vm("name = 'hearth'\r\nusbdev = ['hostbus=1,hostaddr=5']\r\n# end") == vm(
        "name = 'hearth'\nusbdev = ['hostbus=1,hostaddr=5']\n"
    )


def test_the_line_of_a_mistake_is_told() -> None:
    """A complaint has the line and what stands there, without control characters."""
    with pytest.raises(ValueError, match=r"^line 3: xl does not understand `Name = `$"):
        read_settings("# one\nname = 'x'\nName = \n")
    with pytest.raises(ValueError, match="\N{REPLACEMENT CHARACTER}"):
        read_settings("a = \x1b[31m\n")


def test_deep_lists_are_refused() -> None:
    """A million brackets are one sentence."""
    with pytest.raises(ValueError, match="nested too deeply"):
        read_settings("a = " + "[" * 1_000_000)


def test_large_files_are_refused() -> None:
    """Nothing beyond the limit is read."""
    with pytest.raises(ValueError, match="larger than 1 MB"):
        read_settings("#" * (1 << 20) + "\n")


# --- what it means


def test_usb_devices() -> None:
    """usbdev gives bus and number, in all three ways that C writes numbers; a controller comes with it (xl.cfg(5))."""
    found = vm(
        "name='hearth'\nusbdev=['hostbus=1,hostaddr=5', 'type=hostdev, hostbus=0x2,hostaddr=010,controller=0,port=1']"
    )
    assert (found.name, found.manager, found.origin, found.usb_bus) == ("hearth", "xen", "hearth.cfg", True)
    assert found.hostdevs == [HostdevUsb(bus=1, address=5), HostdevUsb(bus=2, address=8)]


@pytest.mark.parametrize(
    ("entry", "addresses"),
    [
        # xl-pci-configuration(5): "these strings are equivalent"
        ("36:00.0@20,seize=1", ["0000:36:00.0"]),
        ("36:00.0,vslot=20,seize=1", ["0000:36:00.0"]),
        ("bdf=36:00.0,vslot=20,seize=1", ["0000:36:00.0"]),
        ("0001:36:00.7,permissive=1", ["0001:36:00.7"]),
        ("36:00.*", [f"0000:36:00.{number}" for number in range(8)]),
    ],
)
def test_pci_functions(entry: str, addresses: list[str]) -> None:
    """pci gives the address, with and without domain, alone and with words; `*` stands for the whole slot."""
    assert vm(f"pci = ['{entry}']").pci == [PciArg(address=address) for address in addresses]


def test_qemus_part_counts_for_hvm_guests() -> None:
    """serial=, usb= and usbdevice= are read for type hvm, one value or a list (xl.cfg(5), HVM guests)."""
    lines = "serial='/dev/ttyUSB0'\nusb=1\nusbdevice=['tablet','host:1209:7a01','host:1.5']\n"
    for kind in ("type='hvm'\n", "builder='hvm'\n"):
        found = vm("name='hearth'\n" + kind + lines)
        assert [tty.path for tty in found.ttys] == ["/dev/ttyUSB0"]
        assert found.arguments == [UsbHostArg(vid="1209", pid="7a01"), UsbHostArg(bus=1, address=5)]
        assert found.usb_bus is True
    found = vm("name='hearth'\n" + lines)
    assert (found.ttys, found.arguments, found.usb_bus) == ([], [], False)


def test_device_model_arguments() -> None:
    """device_model_args are QEMU's own, those for the other kind of guest are left out."""
    text = (
        "device_model_args=['-device','usb-host,hostbus=1,hostport=2']\n"
        "device_model_args_hvm=['-device','qemu-xhci']\ndevice_model_args_pv=['-device','vfio-pci,host=00:14.0']\n"
    )
    found = vm(f"type='hvm'; name='hearth'\n{text}")
    assert found.arguments == [UsbHostArg(bus=1, port="2")]
    assert (found.pci, found.usb_bus) == ([], True)
    found = vm(f"name='hearth'\n{text}")
    assert (found.pci, found.usb_bus) == ([PciArg(address="0000:00:14.0")], False)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("usbdev = 'hostbus=1,hostaddr=5'", "single value"),  # xlu_cfg_get_list warns and passes over it
        ("usbdev = [['hostbus=1,hostaddr=5']]", "list within the list"),
        ("usbdev = ['hostbus=1,hostport=2']", "does not know `hostport=2`"),
        ("usbdev = ['hostbus=1 ,hostaddr =5']", "does not know `hostaddr =5`"),
        ("usbdev = ['hostbus=1']", "both hostbus= and hostaddr="),
        ("usbdev = ['hostbus=1,hostaddr=0']", "numbers above 0"),
        ("usbdev = ['type=virtual,hostbus=1,hostaddr=5']", "no type but hostdev"),
        ("pci = ['stick']", "no PCI address"),
        ("pci = ['name=stick']", "only xl on that host knows"),
        ("pci = '00:14.0'", "single value"),
        ("name = ['hearth']", "is a list"),
        ("device_model_args = ['-readconfig', '/etc/x']", "/etc/x"),
        ("memory = 512", "neither a name nor a line"),
    ],
)
def test_what_xl_refuses_or_half_reads_is_refused(text: str, word: str) -> None:
    """A configuration that would not hand over what it says is not judged: one sentence says why."""
    with pytest.raises(ValueError, match=r"^[^\n]+$") as refusal:
        vm(text)
    assert word in str(refusal.value)


@given(st.text(st.characters(exclude_categories=("Cs",))))
@settings(max_examples=300, deadline=None)
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text raises anything but ValueError with one line."""
    said = ""
    try:
        vm(text)
    except ValueError as error:
        said = str(error)
    assert said.isprintable()
