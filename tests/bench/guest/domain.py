"""Print the libvirt configuration of a small machine.

domain.py NAME [WORD…] where a word is
  ids=VVVV:PPPP     pass a USB device by its ids      optional  … but start without it, too
  address=BUS.DEV   pass a USB device by bus and device number
  both=V:P@BUS.DEV  pass a USB device by ids and numbers
  pci=DDDD:BB:SS.F  pass a whole PCI controller
  tty=PATH          forward a serial node of this host as the machine's serial port
  usb=MODEL         the machine's USB controller (`none` for none)
  guest             go on with the real guest that was saved outside (inner_state.py there)
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


# The machine that the guest was saved in; what libvirt adds is what the guest finds when it looks again.
GUEST = """<uuid>5f1b1a52-8c1e-4c7e-9e0a-3f6d1c2b7a01</uuid>
  <memory unit='MiB'>256</memory>
  <os><type arch='x86_64' machine='pc-i440fx-7.2'>hvm</type></os>
  <features><acpi/></features>"""
GUEST_DEVICES = """
    <controller type='virtio-serial'><address type='pci' slot='0x03'/></controller>
    <channel type='unix'>
      <source mode='bind' path='/run/bench-inner/agent'/><target type='virtio' name='bench.agent'/>
    </channel>
    <serial type='file'><source path='/run/bench-inner/console.log'/></serial>
    <memballoon model='none'/>"""
GUEST_WORDS = ("-icount", "shift=5", "-incoming", "unix:/run/bench-inner/state")
PLAIN = """<memory unit='MiB'>64</memory>
  <os><type arch='x86_64' machine='pc'>hvm</type></os>"""


def domain(name: str, words: list[str]) -> str:
    """Write the whole configuration."""
    optional = "optional" in words
    real = "guest" in words
    model, devices = "qemu-xhci", []
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
        elif word not in ("optional", "guest"):
            raise SystemExit(f"domain.py: do not know {word!r}")
    arguments = "".join(f"<qemu:arg value={quoteattr(word)}/>" for word in GUEST_WORDS)
    return f"""<domain type='qemu' xmlns:qemu='http://libvirt.org/schemas/domain/qemu/1.0'>
  <name>{name}</name>
  {GUEST if real else PLAIN}
  <devices>
    <emulator>/usr/bin/qemu-system-x86_64</emulator>
    <controller type='usb' model='{model}'/>
    {"".join(devices)}{GUEST_DEVICES if real else ""}
  </devices>
  {f"<qemu:commandline>{arguments}</qemu:commandline>" if real else ""}
</domain>"""


if __name__ == "__main__":
    print(domain(sys.argv[1], sys.argv[2:]))
