"""What the logs say of a VM's start is read by QEMU's and libvirt's own formats."""

from __future__ import annotations

import glob
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from radiocheck.evidence.vm import VmMessage
from radiocheck.sources.machine import Machine, Ran, ToolMissing, run
from radiocheck.sources.vm_log import KEPT, KINDS, TAIL, collect, read, read_line

QEMU = shutil.which("qemu-system-x86_64")
REMOTE = "/lib/systemd/systemd-journal-remote"
UUID = "2103eb41-b50f-451d-9baa-75eeff3bd33a"
QEMU_FILES = ("/usr/bin/qemu-system-x86_64", "/usr/lib/*/qemu/hw-usb-host.so")
LIBVIRT_FILES = ("/usr/lib/*/libvirt.so.0", "/usr/lib/*/libvirt/connection-driver/libvirt_driver_qemu.so")
LIBUSB_FILES = ("/usr/lib/*/libusb-1.0.so.0", "/lib/*/libusb-1.0.so.0")

# kind, format in the program (of QEMU 7.2.22, libvirt 9.0.0, libusb 1.0.26 as in Debian 12), where, line, values
LINES = [
    ("no-such-device", "failed to find host usb device %d:%d", QEMU_FILES,
     "qemu-system-x86_64: -device usb-host,hostbus=1,hostaddr=5: failed to find host usb device 1:5",
     {"bus": "1", "address": "5"}),
    ("open-failed", "failed to open host usb device %d:%d", QEMU_FILES,
     "qemu-system-x86_64: failed to open host usb device 1:5", {"bus": "1", "address": "5"}),
    ("open-failed", "failed to open %s", QEMU_FILES,
     "qemu-system-x86_64: failed to open /dev/bus/usb/001/005: No such file or directory",
     {"node": "/dev/bus/usb/001/005", "strerror": "No such file or directory"}),
    ("libusb-error", "%s: %d [%s]", QEMU_FILES, "libusb_release_interface: -4 [NO_DEVICE]",
     {"fn": "libusb_release_interface", "rc": "-4", "name": "NO_DEVICE"}),
    ("libusb-error", "libusb_submit_transfer [iso]", QEMU_FILES, "libusb_submit_transfer [iso]: -1 [IO]",
     {"fn": "libusb_submit_transfer", "rc": "-1", "name": "IO"}),
    ("node-refused", "libusb couldn't open USB device %s, errno=%d", LIBUSB_FILES,
     "libusb: error [get_usbfs_fd] libusb couldn't open USB device /dev/bus/usb/003/016, errno=13",
     {"node": "/dev/bus/usb/003/016", "errno": "13"}),
    ("speed-mismatch",
     'Warning: speed mismatch trying to attach usb device "%s" (%s speed) to bus "%s", port "%s" (%s speed)',
     QEMU_FILES,
     'Warning: speed mismatch trying to attach usb device "Mesh stick" (high speed) to bus "usb.0", port "1"'
     " (full speed)",
     {"product": "Mesh stick", "speed": "high", "bus": "usb.0", "port": "1", "port_speed": "full"}),
    ("no-usb-bus", "No '%s' bus found for device '%s'", QEMU_FILES,
     "qemu-system-x86_64: -device usb-host,hostbus=1,hostaddr=2: No 'usb-bus' bus found for device 'usb-host'",
     {"driver": "usb-host"}),
    ("no-usb-bus", "Can't add host USB device: USB is disabled in this host", LIBVIRT_FILES,
     "unsupported configuration: Can't add host USB device: USB is disabled in this host", {}),
    ("no-free-port", "usb port %s (bus %s) not found (in use?)", QEMU_FILES,
     "qemu-system-x86_64: -device usb-kbd,port=9: usb port 9 (bus usb-bus.0) not found (in use?)",
     {"port": "9", "bus": "usb-bus.0"}),
    ("no-free-port", "tried to attach usb device %s to a bus with no free ports", QEMU_FILES,
     "tried to attach usb device Mesh stick to a bus with no free ports", {"product": "Mesh stick"}),
    ("no-free-port", "No free USB ports", LIBVIRT_FILES, "error: internal error: No free USB ports", {}),
    ("libvirt-not-found", "Did not find USB device %04x:%04x", LIBVIRT_FILES,
     "internal error: Did not find USB device 1209:7a01", {"vid": "1209", "pid": "7a01"}),
    ("libvirt-not-found", "Did not find USB device bus:%u device:%u", LIBVIRT_FILES,
     "internal error: Did not find USB device bus:3 device:4", {"bus": "3", "address": "4"}),
    ("libvirt-not-found", "Did not find USB device %04x:%04x bus:%u device:%u", LIBVIRT_FILES,
     "internal error: Did not find USB device 0483:5740 bus:3 device:4",
     {"vid": "0483", "pid": "5740", "bus": "3", "address": "4"}),
    # as libvirt 12.8 prints it; its binary is not here
    ("libvirt-not-found", None, (),
     "internal error: Did not find matching USB device: vid:483, pid:7a01, bus:0, device:0, port:",
     {"vid": "0483", "pid": "7a01", "bus": "0", "address": "0"}),
    ("libvirt-several", "Multiple USB devices for %x:%x, use <address> to specify one", LIBVIRT_FILES,
     "operation failed: Multiple USB devices for 483:5740, use <address> to specify one",
     {"vid": "0483", "pid": "5740"}),
    ("libvirt-several", "Multiple USB devices for %x:%x were found, but none of them is at bus:%u device:%u",
     LIBVIRT_FILES, "Multiple USB devices for 1209:7a01 were found, but none of them is at bus:3 device:4",
     {"vid": "1209", "pid": "7a01", "bus": "3", "address": "4"}),
    ("libvirt-in-use", "USB device %s is in use by driver %s, domain %s", LIBVIRT_FILES,
     "Requested operation is not valid: USB device 001:005 is in use by driver QEMU, domain attic two",
     {"bus": "1", "address": "5", "driver": "QEMU", "domain": "attic two"}),
    ("libvirt-in-use", "USB device %s is already in use", LIBVIRT_FILES, "USB device 001:005 is already in use",
     {"bus": "1", "address": "5"}),
    ("libvirt-missing", "host usb device %03d.%03d not found", LIBVIRT_FILES,
     "device not found: host usb device 001.005 not found", {"bus": "1", "address": "5"}),
    ("libvirt-missing", "host usb device vendor=0x%.4x product=0x%.4x not found", LIBVIRT_FILES,
     "device not found: host usb device vendor=0x1209 product=0x7a01 not found", {"vid": "1209", "pid": "7a01"}),
    ("group-not-viable", "group %d is not viable", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: group 12 is not viable",
     {"pci": "0000:06:00.0", "group": "12"}),
    ("vfio-not-bound", "error getting device from group %d", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: error getting device from group 12: "
     "No such device", {"pci": "0000:06:00.0", "group": "12"}),
    ("vfio-not-bound", "failed to open %s", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: failed to open /dev/vfio/12: No such file"
     " or directory", {"pci": "0000:06:00.0", "group": "12"}),
    ("vfio-not-bound", "Unmanaged PCI device %s must be manually detached from the host", LIBVIRT_FILES,
     "error: operation failed: Unmanaged PCI device 0000:06:00.0 must be manually detached from the host",
     {"pci": "0000:06:00.0"}),
    ("vfio-refused", "failed to open %s", QEMU_FILES,
     "qemu-system-x86_64: vfio error: 0000:06:00.0: failed to open /dev/vfio/12: Permission denied",
     {"pci": "0000:06:00.0", "node": "/dev/vfio/12", "strerror": "Permission denied"}),
    ("pci-in-use", "failed to open %s", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: failed to open /dev/vfio/12: Device or "
     "resource busy", {"pci": "0000:06:00.0", "group": "12"}),
    ("pci-in-use", "PCI device %s is in use by driver %s, domain %s", LIBVIRT_FILES,
     "Requested operation is not valid: PCI device 0000:06:00.0 is in use by driver QEMU, domain attic",
     {"pci": "0000:06:00.0", "driver": "QEMU", "domain": "attic"}),
    ("vfio-no-memory", "vfio_dma_map(%p, 0x%lx, 0x%lx, %p) = %d (%m)", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: failed to setup container for group 12: "
     "memory listener initialization failed: Region pc.ram: vfio_dma_map(0x55d7c5c6e0f0, 0x0, 0xa0000, 0x7f0a5f) = -12 "
     "(Cannot allocate memory)", {"pci": "0000:06:00.0"}),
    # Linux drivers/vfio/vfio_iommu_type1.c, and QEMU before 4.0, from memory
    ("vfio-no-memory", None, (), "vfio_pin_pages_remote: RLIMIT_MEMLOCK (67108864) exceeded", {"limit": "67108864"}),
    ("vfio-no-memory", None, (), "qemu-system-x86_64: VFIO_MAP_DMA: -12", {}),
    ("no-iommu-group", "no iommu_group found", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: no iommu_group found: No such file or "
     "directory", {"pci": "0000:06:00.0"}),
    ("no-iommu-group", "host doesn't support passthrough of host PCI devices", LIBVIRT_FILES,
     "unsupported configuration: host doesn't support passthrough of host PCI devices", {}),
    ("pci-missing", "no such host device", QEMU_FILES,
     "qemu-system-x86_64: -device vfio-pci,host=06:00.0: vfio 0000:06:00.0: no such host device: No such file or "
     "directory", {"pci": "0000:06:00.0"}),
    ("pci-missing", "Device %s not found: could not access %s", LIBVIRT_FILES,
     "device not found: Device 0000:06:00.0 not found: could not access /sys/bus/pci/devices/0000:06:00.0/config: "
     "No such file or directory", {"pci": "0000:06:00.0"}),
    ("id-refused", "Parameter '%s' expects %s", QEMU_FILES,
     "qemu-system-x86_64: -device usb-host,vendorid=0483,productid=5740: Parameter 'vendorid' expects integer",
     {"property": "vendorid"}),
    ("option-refused", "usbdevice parameters are not supported anymore", QEMU_FILES,
     "qemu-system-i386: -usbdevice host:0403:6010: usbdevice parameters are not supported anymore",
     {"vid": "0403", "pid": "6010"}),
    ("option-refused", "usbdevice parameters are not supported anymore", QEMU_FILES,
     "qemu-system-i386: -usbdevice host:2.3: usbdevice parameters are not supported anymore",
     {"bus": "2", "address": "3"}),
    # usbredir and spice-server, from memory
    ("redirection-begun", None, (),
     "qemu-system-x86_64: usbredirparser: Peer version: spice-gtk 0.35, using 64-bits ids",
     {"client": "spice-gtk 0.35"}),
    ("redirection-ended", None, (),
     "red_channel_client_disconnect: rcc=0x55d0c43a2270 (channel=0x55d0c3b0f260 type=9 id=0)", {}),
    # Linux security/selinux/avc.c, from memory
    ("selinux-denied", None, (),
     'type=AVC msg=audit(1699872011.442:1187): avc:  denied  { read write } for  pid=7211 comm="qemu-kvm" name="006"'
     ' dev="devtmpfs" ino=512 scontext=system_u:system_r:svirt_t:s0:c171,c832'
     " tcontext=system_u:object_r:usb_device_t:s0 tclass=chr_file permissive=0",
     {"operation": "read write", "command": "qemu-kvm", "name": "006"}),
    # Linux security/apparmor/audit.c, from memory
    ("apparmor-denied", None, (),
     f'AVC apparmor="DENIED" operation="open" profile="libvirt-{UUID}" name="/dev/bus/usb/001/005" pid=4242'
     ' comm="qemu-system-x86" requested_mask="wr" denied_mask="wr"',
     {"operation": "open", "uuid": UUID, "path": "/dev/bus/usb/001/005"}),
]  # fmt: skip
IDS = [f"{line[0]}-{number}" for number, line in enumerate(LINES)]


@pytest.mark.parametrize(("kind", "source", "files", "line", "data"), LINES, ids=IDS)
def test_each_message_is_its_kind(
    kind: str, source: str | None, files: tuple[str, ...], line: str, data: dict[str, str]
) -> None:
    """A line of each format gives that kind, with ids of four digits and numbers without leading zeros."""
    assert read_line(line, "hearth", 5.0) == VmMessage(vm="hearth", kind=kind, at=5.0, data=data, text=line)


def test_every_kind_has_a_line_here() -> None:
    """The kinds that are explained are the kinds that are shown to be found."""
    assert {line[0] for line in LINES} == set(KINDS)


def test_what_a_permissive_selinux_logs_is_no_refusal() -> None:
    """It says what it would have denied; and other programs' files are no VM's."""
    line = next(line[3] for line in LINES if line[0] == "selinux-denied")
    assert read_line(line.replace("permissive=0", "permissive=1")) is None
    assert read_line(line.replace('comm="qemu-kvm"', 'comm="sshd"')) is None
    assert read_line(line.replace("tclass=chr_file", "tclass=dir")) is None


@pytest.mark.parametrize(("source", "files"), [(line[1], line[2]) for line in LINES if line[1] is not None])
def test_the_programs_hold_these_formats(source: str, files: tuple[str, ...]) -> None:
    """The installed QEMU, libvirt or libusb has the format among its strings."""
    found = [path for pattern in files for path in glob.glob(pattern)]
    if not found:
        pytest.skip("this format is of a program that is not installed")
    assert any(source.encode() + b"\0" in Path(path).read_bytes().replace(b"\n\0", b"\0") for path in found)


@pytest.mark.skipif(QEMU is None, reason="Debian's qemu-system-x86 is not installed")
@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("-device qemu-xhci -device usb-host,hostbus=99,hostaddr=7", "no-such-device"),
        ("-device qemu-xhci -device usb-host,hostdevice=/dev/bus/usb/099/007", "open-failed"),
        ("-device usb-host,hostbus=99,hostaddr=7", "no-usb-bus"),
        ("-device qemu-xhci -device usb-kbd,port=9", "no-free-port"),
    ],
)
def test_what_qemu_says_is_understood(words: str, kind: str) -> None:
    """Real refusals of a real QEMU, stamped with the time as libvirt has it done."""
    argv = [str(QEMU), "-S", "-nodefaults", "-display", "none", "-machine", "pc,accel=tcg", "-m", "16"]
    ran = subprocess.run(
        [*argv, "-msg", "timestamp=on", *words.split()], capture_output=True, text=True, timeout=30, check=False
    )
    if "is not a valid device model name" in ran.stderr:
        pytest.skip("this QEMU has no such device")
    (message,) = read(ran.stderr, "hearth")
    assert (message.kind, message.vm) == (kind, "hearth")
    assert message.at is not None
    assert abs(message.at - time.time()) < 60


START = "2025-06-01 10:00:00.000+0000: starting up libvirt version: 9.0.0, qemu version: 7.2.22, hostname: gable\n"


def test_only_the_newest_start_counts() -> None:
    """What an earlier start left in the log is past."""
    text = START + "libusb_release_interface: -4 [NO_DEVICE]\n" + START.replace("10:", "11:")
    text += "2025-06-01T11:00:01.500000Z qemu-system-x86_64: failed to open /dev/bus/usb/001/005: Permission denied\n"
    text += "2025-06-01 11:00:02.000+0000: shutting down, reason=failed\n"
    (message,) = read(text, "hearth")
    assert (message.kind, message.data["strerror"]) == ("open-failed", "Permission denied")
    assert message.at == 1748775601.5  # 2025-06-01T11:00:01.5Z


@pytest.mark.parametrize(
    "line",
    [
        "",
        "libusb_init",
        "char device redirected to /dev/pts/1 (label charserial0)",
        '-device \'{"driver":"usb-host","hostdevice":"/dev/bus/usb/009/002"}\' \\',
        "2025-06-01 11:00:02.000+0000: shutting down, reason=destroyed",
        "qemu-system-x86_64: terminating on signal 15 from pid 283 (/usr/sbin/libvirtd)",
        "failed to open /var/lib/disk.img: No such file or directory",
        'AVC apparmor="DENIED" operation="open" profile="/usr/bin/man" name="/x"',
        'AVC apparmor="STATUS" operation="profile_load" profile="unconfined" name="libvirt-x"',
    ],
)
def test_other_lines_are_passed_over(line: str) -> None:
    """A line that means nothing for the path is no message."""
    assert read_line(line) is None


def test_hostile_lines_are_cut_and_never_raise() -> None:
    """A guest's device may be called anything; a line may be endless."""
    product = 'a" (high speed) to bus "x\x1b[31m\0'
    line = f'speed mismatch trying to attach usb device "{product}" (high speed) to bus "b", port "1" (full speed)'
    message = read_line(line)
    assert message is not None
    assert message.data["product"] == product.replace("\0", "")
    started = time.monotonic()
    for row in LINES:
        for cut in range(0, len(row[3]), 3):
            read_line(row[3][cut:])
        read_line(row[3] * 1000)
    assert time.monotonic() - started < 5
    long = read_line("libusb_x: -1 [IO]" + "x" * 10_000)
    assert long is not None
    assert len(long.text) == 400
    assert read("9999-99-99 99:99:99.9+0000: x\n9999-99-99T99:99:99.9Z libusb_x: -1 [IO]")[0].at is None


Runner = Callable[..., Ran]


def no_entries(argv: Sequence[str], limit: float = 0) -> Ran:
    """A journal without a word of libvirt's."""
    return Ran(0, "" if "_TRANSPORT=audit" in argv else '{"MESSAGE":"something else"}\n', "")


def no_tool(argv: Sequence[str], limit: float = 0) -> Ran:
    """A machine without programs."""
    raise ToolMissing(argv[0])


def with_log(root: Path, text: str | bytes, name: str = "hearth.log") -> None:
    """A VM's log below a root."""
    folder = root / "var/log/libvirt/qemu"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)


def test_without_libvirt_there_are_no_messages(tmp_path: Path) -> None:
    """Neither logs nor configuration: looked, none there; no program is started."""
    seen = collect(Machine(root=str(tmp_path), run=no_tool))
    assert (dict(seen.facts), seen.gaps) == ({"vm_messages": []}, ())


def test_the_logs_of_all_vms_are_read(tmp_path: Path) -> None:
    """Each message carries its VM's name; rotated logs and other files do not count."""
    with_log(tmp_path, START + "libusb_submit_transfer: -4 [NO_DEVICE]\n")
    with_log(tmp_path, b"\xff\n" + START.encode() + b"libusb_x: -1 [IO] \xff\n", "attic.log")
    with_log(tmp_path, "libusb_x: -1 [IO]\n", "hearth.log.0")
    os.mkfifo(tmp_path / "var/log/libvirt/qemu/pipe.log")
    seen = collect(Machine(root=str(tmp_path), run=no_entries))
    assert seen.gaps == ()
    assert [(message.vm, message.kind) for message in seen.facts["vm_messages"]] == [
        ("attic", "libusb-error"),
        ("hearth", "libusb-error"),
    ]


def test_only_the_end_of_a_huge_log_is_read(tmp_path: Path) -> None:
    """The newest 256 KiB, from a whole line on, and of these the newest messages; a gap says that some are not kept."""
    with_log(tmp_path, START + "libusb_x: -4 [NO_DEVICE]\n" * (TAIL // 10) + "libusb_y: -1 [IO]\n")
    seen = collect(Machine(root=str(tmp_path), run=no_entries))
    messages = seen.facts["vm_messages"]
    assert len(messages) == KEPT
    assert messages[-1].data["fn"] == "libusb_y"
    assert {message.text for message in messages[:-1]} == {"libusb_x: -4 [NO_DEVICE]"}
    assert [gap.what for gap in seen.gaps] == ["vm_messages"]


@pytest.mark.parametrize(
    ("runner", "why"),
    [
        (no_tool, "no-tool"),
        (lambda argv, limit=0: Ran(1, "", "No journal files were opened due to insufficient permissions.\n"), "denied"),
        (lambda argv, limit=0: Ran(1, "", "No journal files were found.\n"), "failed"),
        (lambda argv, limit=0: Ran(0, "", ""), "not-here"),  # seen where journald keeps no journal
    ],
)
def test_half_a_list_is_no_list(tmp_path: Path, runner: Runner, why: str) -> None:
    """Without the journal libvirt's refusals are not seen, so that no message must not mean that there was none."""
    with_log(tmp_path, START)
    seen = collect(Machine(root=str(tmp_path), run=runner))
    assert seen.facts == {}
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("vm_messages", why)]


def test_logs_that_may_not_be_read_are_a_gap(tmp_path: Path) -> None:
    """The logs belong to root."""

    class Denied(Machine):
        def names(self, path: str) -> list[str]:
            raise PermissionError(13, "Permission denied")

    with_log(tmp_path, START)
    seen = collect(Denied(root=str(tmp_path), run=no_entries))
    assert seen.facts == {}
    assert [(gap.why, gap.provide) for gap in seen.gaps] == [("denied", "run as root")]


@pytest.mark.skipif(not os.path.exists(REMOTE), reason="Debian's systemd-journal-remote is not installed")
def test_libvirts_words_in_a_real_journal_are_read(tmp_path: Path) -> None:
    """Of this boot's journal the entries of libvirt's daemons and of the audit system count, no others."""
    boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip().replace("-", "")
    entries = [
        ("_SYSTEMD_UNIT=libvirtd.service", "0" * 31 + "1", "USB device 001:007 is already in use"),
        ("_SYSTEMD_UNIT=libvirtd.service", boot, "internal error: Did not find USB device 1209:7a01"),
        ("_SYSTEMD_UNIT=virtqemud.service", boot, "USB device 001:005 is already in use"),
        ("_TRANSPORT=audit", boot, LINES[-1][3]),
        ("_SYSTEMD_UNIT=other.service", boot, "USB device 001:006 is already in use"),
    ]
    export = "".join(
        f"__REALTIME_TIMESTAMP={1_748_775_600_000_000 + number}\n__MONOTONIC_TIMESTAMP={9_000_000 + number}\n"
        f"_BOOT_ID={boot_id}\n{field}\nMESSAGE={message}\n\n"
        for number, (field, boot_id, message) in enumerate(entries)
    )
    folder = tmp_path / "journal"
    folder.mkdir()
    command = [REMOTE, "-o", str(folder / "test.journal"), "-"]
    subprocess.run(command, input=export.encode(), check=True, capture_output=True)

    def journalctl(argv: Sequence[str], limit: float = 5) -> Ran:
        return run([argv[0], "--directory", str(folder), *argv[1:]], limit)

    with_log(tmp_path, START)
    seen = collect(Machine(root=str(tmp_path), run=journalctl))
    assert seen.gaps == ()
    kinds = [(message.kind, message.vm) for message in seen.facts["vm_messages"]]
    assert kinds == [("libvirt-not-found", None), ("libvirt-in-use", None), ("apparmor-denied", None)]
    assert seen.facts["vm_messages"][0].at == 1_748_775_600.000001


def test_this_machine_is_read_without_harm() -> None:
    """On any machine the result is a list or a gap."""
    seen = collect(Machine())
    assert ("vm_messages" in seen.facts) or seen.gaps
