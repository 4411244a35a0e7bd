"""Print the libvirt configuration of a small machine.

domain.py NAME [WORD…] where a word is
  ids=VVVV:PPPP     pass a USB device by its ids      optional  … but start without it, too
  address=BUS.DEV   pass a USB device by bus and device number
  both=V:P@BUS.DEV  pass a USB device by ids and numbers
  pci=DDDD:BB:SS.F  pass a whole PCI controller
  tty=PATH          forward a serial node of this host as the machine's serial port
  usb=MODEL         the machine's USB controller (`none` for none)
  kernel=PATH       boot this kernel, with initrd=PATH
"""

import re
import sys
from xml.sax.saxutils import quoteattr


def usb_hostdev(selector: str, optional: bool) -> str:
    """Write one USB pass-through entry."""
    kind, _, value = selector.partition("=")
    inner = ""
    ids = re.search(r"([0-9a-f]{4}):([0-9a-f]{4})", value)
    if ids and kind in ("ids", "both"):
        inner += f"<vendor id='0x{ids[1]}'/><product id='0x{ids[2]}'/>"
    address = re.search(r"(\d+)\.(\d+)$", value)
    if address and kind in ("address", "both"):
        inner += f"<address bus='{address[1]}' device='{address[2]}'/>"
    policy = " startupPolicy='optional'" if optional else ""
    return f"<hostdev mode='subsystem' type='usb' managed='yes'><source{policy}>{inner}</source></hostdev>"


def pci_hostdev(value: str) -> str:
    """Write one whole-controller pass-through entry."""
    domain, bus, slot, function = re.split("[:.]", value)
    return (
        "<hostdev mode='subsystem' type='pci' managed='yes'><source>"
        f"<address domain='0x{domain}' bus='0x{bus}' slot='0x{slot}' function='0x{function}'/>"
        "</source></hostdev>"
    )


def domain(name: str, words: list[str]) -> str:
    """Write the whole configuration."""
    optional = "optional" in words
    model, boot, devices = "qemu-xhci", "", []
    for word in words:
        kind, _, value = word.partition("=")
        if kind in ("ids", "address", "both"):
            devices.append(usb_hostdev(word, optional))
        elif kind == "pci":
            devices.append(pci_hostdev(value))
        elif kind == "tty":
            devices.append(f"<serial type='dev'><source path={quoteattr(value)}/></serial>")
        elif kind == "usb":
            model = value
        elif kind in ("kernel", "initrd"):
            boot += f"<{kind}>{value}</{kind}>"
        elif word != "optional":
            raise SystemExit(f"domain.py: do not know {word!r}")
    if boot:
        boot += "<cmdline>console=ttyS0 quiet</cmdline>"
    return f"""<domain type='qemu'>
  <name>{name}</name>
  <memory unit='MiB'>{256 if boot else 64}</memory>
  <os><type arch='x86_64' machine='pc'>hvm</type>{boot}</os>
  <devices>
    <emulator>/usr/bin/qemu-system-x86_64</emulator>
    <controller type='usb' model='{model}'/>
    {"".join(devices)}
  </devices>
</domain>"""


if __name__ == "__main__":
    print(domain(sys.argv[1], sys.argv[2:]))
