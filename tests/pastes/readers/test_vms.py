"""QEMU's command line as procps 4.0.2 `ps` prints it of a real process, and libvirt's XML."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from radiocheck.evidence.vm import GivenVm, HostdevUsb, QemuProcess, UsbHostArg

from .said import said, typed, values

QEMU = shutil.which("qemu-system-x86_64")
BY_IDS = UsbHostArg(vid="1209", pid="7a01")
PS = (
    "libvirt+  4242 12.0  5.0 4000000 2000000 ?  Sl   12:00   1:02 "
    "/usr/bin/qemu-system-x86_64 -name guest=hearth,debug-threads=on"
)
JSON = """ -device {"driver":"usb-host","hostdevice":"/dev/bus/usb/001/005","id":"hostdev0"}"""
WORDS = "qemu-system-x86_64 -name attic -device qemu-xhci -device usb-host,vendorid=0x1209,productid=0x7a01"
HOSTDEV = """<hostdev mode='subsystem' type='usb' managed='yes'>
  <source startupPolicy='optional'>
    <vendor id='0x1209'/>
    <product id='0x7a01'/>
  </source>
</hostdev>
"""


@pytest.mark.skipif(QEMU is None, reason="Debian's qemu-system-x86 is not installed")
@pytest.mark.parametrize("options", ["aux", "-ef", "-eo pid,args", "-eo pid,user,args", "-eF", "axf"])
def test_a_real_process_in_any_list(options: str) -> None:
    """Whatever the columns, number and name of the VM are found."""
    argv = [str(QEMU), "-S", "-nodefaults", "-display", "none", "-machine", "none", "-name", "guest=attic"]
    with subprocess.Popen(argv, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            ps = ["ps", *options.split(), "ww"] if not options.startswith("a") else ["ps", options + "ww"]
            text = subprocess.run(ps, capture_output=True, text=True, check=True).stdout
        finally:
            process.kill()
    found = {one.pid: one for one in values("vms", text, "qemu")}
    assert found[process.pid].name == "attic"


def test_what_a_running_one_asks_for() -> None:
    """By node in JSON, as libvirt writes it; by IDs."""
    (found,) = values("vms", PS + JSON, "qemu")
    assert (found.pid, found.name, found.usb[0].node) == (4242, "hearth", "/dev/bus/usb/001/005")
    (found,) = values("vms", "4243 " + WORDS, "qemu")
    assert found.usb == [BY_IDS]


@pytest.mark.parametrize(
    "row",
    [
        "─4244 /usr/bin/qemu-system-x86_64 -name x",
        "           └─4244 /usr/bin/qemu-system-x86_64 -name x",
        "4244 qemu-system-x86_64 -name x",
        "root  4244  1 99 12:00 ?  00:01:02 /usr/bin/kvm -name x",
        "  4244 ?  Sl  0:01 qemu-kvm -name x",
    ],
)
def test_lists_of_processes(row: str) -> None:
    """systemctl status, pgrep -a, ps -ef, ps x."""
    assert [(one.pid, one.name) for one in values("vms", row, "qemu")] == [(4244, "x")]


@pytest.mark.parametrize(
    "text", [(PS + JSON)[:150] + ">", (PS + JSON)[:150], (PS + JSON)[:-1], PS + " -device usb-host,vend..."]
)
def test_a_command_line_that_was_cut_off_tells_no_devices(text: str) -> None:
    """What it asks for may stand behind the cut; that it runs is told."""
    assert values("vms", text, "qemu") == [QemuProcess(pid=4242, name="hearth", libvirt=False)]
    assert values("vms", text[text.index("/usr") :], "given") == []


@pytest.mark.parametrize("width", [80, 100, 132])
def test_a_command_line_that_a_terminal_broke(width: int) -> None:
    """Each line but the last is as wide as the terminal."""
    text = "4242 " + (PS + JSON)[PS.index("/usr") :]
    (found,) = values("vms", "\n".join(text[at : at + width] for at in range(0, len(text), width)), "qemu")
    assert found.name == "hearth"
    assert found.usb[0].node == "/dev/bus/usb/001/005"


def test_a_command_that_somebody_typed() -> None:
    """Over several lines, with a backslash or without."""
    for text in (
        WORDS,
        typed(WORDS, ""),
        WORDS.replace(" -device", " \\\n  -device"),
        WORDS.replace(" -device", "\n-device"),
    ):
        (found,) = values("vms", text, "given")
        assert (found.name, found.manager, found.arguments) == ("attic", "qemu", [BY_IDS])


def test_grep_is_no_vm() -> None:
    """`ps aux | grep qemu` finds itself."""
    assert said("vms", "mira 99 0.0 0.0 6000 700 pts/1 S+ 12:00 0:00 grep --color=auto qemu-system-x86_64 -name") == []


@pytest.mark.parametrize(
    "text",
    [
        HOSTDEV,
        f"here is my config:\n\n{HOSTDEV}\nthanks",
        f"<devices>\n{HOSTDEV}</devices>",
        f"<domain type='kvm'><name>hearth</name><devices>\n{HOSTDEV}</devices></domain>",
        HOSTDEV.replace("\n", " "),
    ],
)
def test_a_fragment_of_libvirts_xml(text: str) -> None:
    """The element alone, inside of others, in prose, on one line."""
    (found,) = values("vms", text, "given")
    assert isinstance(found, GivenVm)
    assert found.hostdevs == [HostdevUsb(vid="1209", pid="7a01", startup="optional")]


@pytest.mark.parametrize(
    "text",
    [
        HOSTDEV[: HOSTDEV.index("  </source>")],
        "<hostdev",
        "<hostdev mode='subsystem'/>",
        "<hostdev>&x;</hostdev>",
        "</hostdev>",
        HOSTDEV[:60] + "\n</hostdev>",
    ],
)
def test_xml_that_was_cut_off_is_nothing(text: str) -> None:
    """What is missing might be what matters."""
    assert said("vms", text) == []


def test_many_openings_without_an_end() -> None:
    """Each would be followed to its end, which is known beforehand."""
    assert said("vms", "<hostdev\n" * 50_000) == []


def test_one_argument_on_each_line() -> None:
    """`tr '\\0' '\\n' < /proc/PID/cmdline`: of a process; what `grep -A1` left of such a list: options alone."""
    command = "tr '\\0' '\\n' < /proc/4242/cmdline"
    (process,) = values("vms", typed(command, "\n".join(["/usr/bin/" + WORDS.split()[0], *WORDS.split()[1:]])), "qemu")
    assert (process.pid, process.name, process.usb) == (4242, "attic", [BY_IDS])
    text = "-device\nqemu-xhci\n--\n-device\nusb-host,vendorid=0x1209,productid=0x7a01\n"
    (found,) = values("vms", typed("ps aux | tr ' ' '\\n' | grep -A1 -e -device", text), "given")
    assert (found.arguments, found.usb_bus) == ([BY_IDS], True)
    assert said("vms", "-device\n-v\nx\n") == []


def test_what_qemu_says_is_no_part_of_its_command() -> None:
    """Although the command fills the terminal's line."""
    command = (
        "sudo qemu-system-x86_64 -m 1024 -hda time.img -chardev serial,id=gps,path=/dev/ttyACM0 -device isa-serial"
    )
    said_ = "qemu-system-x86_64: -chardev serial,id=gps,path=/dev/ttyACM0: Could not open '/dev/ttyACM0': No such file"
    (found,) = values("vms", typed(command, said_), "given")
    assert [tty.path for tty in found.ttys] == ["/dev/ttyACM0"]


@pytest.mark.parametrize("tag", ["serial", "console", "parallel"])
def test_a_character_device_alone(tag: str) -> None:
    """libvirt's formatdomain, "Host device proxy"."""
    (found,) = values("vms", f"<{tag} type='dev'>\n<source path='/dev/ttyUSB0'/>\n</{tag}>", "given")
    assert [tty.path for tty in found.ttys] == ["/dev/ttyUSB0"]


def test_xml_in_a_command_is_none() -> None:
    """sed's expressions hold tags."""
    text = typed("virsh dumpxml hearth | sed -n '/<hostdev/,/hostdev>/p'", HOSTDEV)
    assert values("vms", text, "given")[0].hostdevs == [HostdevUsb(vid="1209", pid="7a01", startup="optional")]


@pytest.mark.parametrize("rows", [5, 6])
def test_a_fragment_whose_end_a_filter_left_out(rows: int) -> None:
    """`grep -A4 '<hostdev'`: vendor and product are there, and the source is complete."""
    dumped = HOSTDEV.replace("</hostdev>\n", "").splitlines(keepends=True)
    text = typed(
        "virsh dumpxml hearth | grep -A4 '<hostdev'", "".join([*dumped, "  <alias name='hostdev0'/>\n"][:rows])
    )
    (found,) = values("vms", text, "given")
    assert [(one.vid, one.pid, one.bus) for one in found.hostdevs] == [("1209", "7a01", None)]


@pytest.mark.parametrize(
    "text",
    [
        HOSTDEV.replace("  </source>\n</hostdev>\n", "<address bus='1' device='4'/>\n  </source>\n"),
        "<hostdev mode='subsystem' type='pci'>\n<source>\n</source>\n",
    ],
)
def test_a_fragment_that_lacks_more_is_none(text: str) -> None:
    """What was cut off might lack what matters, and libvirt adds numbers of its own."""
    assert values("vms", text, "given") == []


SAYS = "qemu-system-x86_64: Warning: speed mismatch trying to attach usb device\n"


def test_the_option_that_a_person_names_as_theirs() -> None:
    """Beside words of QEMU's that name no device."""
    told = "It is started with `-usb -device usb-host,vendorid=0x1209,productid=0x7a01`:\n"
    (found,) = values("vms", told + SAYS, "given")
    assert found.arguments == [BY_IDS]
    assert values("vms", told, "given") == []


@pytest.mark.parametrize(
    "prose",
    [
        "You should use -device usb-host,vendorid=0x1209,productid=0x7a01 then\n",
        "is it -device usb-host,vendorid=0x1209,productid=0x7a01 ?\n",
        "one -device usb-host,hostbus=1,hostaddr=2 and one -device usb-host,hostbus=1,hostaddr=3\n",
    ],
)
def test_advice_and_several_options_are_no_configuration(prose: str) -> None:
    """Which one is the person's is not told."""
    assert values("vms", prose + SAYS, "given") == []
