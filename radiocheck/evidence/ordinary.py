"""Words that say nothing of a person, and that may be somebody's name all the same.

A VM called `usb` or an account called `dev` is replaced in the fields that hold names, and
beside words such as "domain" or "user".  Everywhere else the same letters mean something
to a rule or a reader: a bus, a folder, a driver.
"""

from __future__ import annotations

import re

# Accounts and groups that systems and their packages make: base-passwd and sysusers.d of Debian, Fedora and Arch,
# udev's rules.d/50-udev-default.rules, libvirt, and programs of the trade (from memory where not installed here).
SYSTEM_NAMES = frozenset(
    """
    root daemon bin sys adm tty disk lp mail news uucp man proxy kmem dialout fax voice cdrom floppy tape sudo audio
    dip www-data backup operator list irc src shadow utmp video sasl plugdev staff games users nogroup nobody input
    kvm render sgx netdev lpadmin wheel lock messagebus dbus systemd-network systemd-resolve systemd-timesync
    systemd-journal systemd-journal-remote systemd-coredump systemd-oom polkitd libvirt libvirt-qemu libvirt-dnsmasq
    libvirtd qemu tss gpsd gps brltty usbmux avahi sshd ssh crontab ssl-cert bluetooth scanner saned storage optical
    power network uuidd rtkit colord geoclue gdm sddm lightdm pulse pulse-access pipewire nut ntp chrony _chrony _apt
    statd rpc ftp http git postfix dnsmasq tcpdump fwupd fwupd-refresh serial usb modem gpio i2c spi sync shutdown halt
    """.split()
)

_WORDS = frozenset(
    """
    access accessed acl acm active adapter address addresses air all alsa amd64 and android any api app apps arch args
    arm64 armv7l assignment auto autostart baremetal base boot bootc bridge broken brltty bus busy cat cdc cdc_acm
    centos ch340 ch341 ch343 check chip client cluster command config console container controller coordinator core
    cp2102 cp2102n cp2104 cp210x cpu cu data dd debian default demo denied desktop dev device devices dialout docker
    domain domains dongle driver drivers eacces edge enodev eperm error eth0 event evidence external failed false fedora
    file files firmware forwarded found free ft232 ft232r ftdi ftdi_sio full gap gaps generic getty given gnu gps gpsd
    group groups guest guests handle handles handover head hexdump high hid home host hosts hotplug hub hubs hypervisor
    idle ids input intel interface interfaces internal iommu kernel kvm lan led library libusb libvirt libvirtd line
    link links linux list live local localhost lock log login lxc machine mail main manager mesh minicom mint missing
    mode model modem modemmanager module modules monitor mount name names native ncp net network new next nix node
    nodes nogroup none null number of off old on option other parent path paths pci pi picocom pid pl2303
    plug podman port ports power private process product production program prolific proxy py python python3 qemu qmp
    radio rcp read ready removable report root router rs232 rs485 rule rules running
    rw scan screen self seen serial server service services session shared shell sim slot socket sound source stable
    state step stick storage string strings stty sudo suse sys system systemd tail tape target test testing text thread
    time tio tool tree true tty ttyacm ttyama ttys ttyusb uart ubuntu udev uid unix unknown unseen usb usb-serial
    usb_serial usb2 usb3 usbfs usbip usbmon user users uucp uuid value vendor vfio vfio-pci vhci video virt virtio
    virtual vm vms wheel wifi windows x86_64 xen xhci xhci_hcd ehci ohci uhci xxd yes zero
    """.split()
)

# Ports of hubs behind each other; hubs have 31 at most (drivers/usb/core/hub.c, USB_MAXCHILDREN).
_PORT = r"(?:[1-9]|[12]\d|3[01])"
PORT_PATH = re.compile(rf"{_PORT}(?:\.{_PORT}){{0,6}}")
# What the kernel and its tools name things by; a value of this form is left as it is.
STRUCTURE = re.compile(
    r"[0-9a-f]{4}"  # a vendor, a product, a version
    r"|\d{1,6}"
    r"|\d{1,3}\.\d{1,3}(?:\.\d{1,3})?"
    rf"|(?:usb)?\d{{1,3}}(?:-(?:0|{PORT_PATH.pattern}))?(?:-port\d{{1,3}})?(?::\d{{1,2}}\.\d{{1,2}})?"
    r"|tty[A-Za-z]{0,8}\d{0,4}"
    r"|/dev/(?:tty[A-Za-z]{0,8}\d{0,4}|bus/usb/\d{3}/\d{3}|vfio/(?:\d{1,4}|vfio))"
    r"|(?:[0-9a-f]{4}:)?[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]"
    r"|[0-9a-f]{4}:[0-9a-f]{4}"
)


def is_ordinary(word: str) -> bool:
    """Whether a name is so short or so common that it may be replaced only where it stands as a name."""
    plain = word.casefold()
    return (
        len(word) < 3
        or (word.isdecimal() and len(word) < 6)
        or plain in _WORDS
        or plain in SYSTEM_NAMES
        or re.fullmatch(r"(?:user|group|vm|host|serial|wifi|uuid|mac|address|mail|path|id)-\d{1,4}", plain) is not None
        or STRUCTURE.fullmatch(plain) is not None
    )
