"""libvirt's domain XML, read for what it hands to the guest.  Pure: no file is read here.

Elements after libvirt's docs/formatdomain and its RNG schema (domaincommon.rng); the
live state file wraps the domain in `<domstatus>` (src/conf/domain_conf.c).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from msgspec import UNSET, UnsetType
from msgspec.structs import replace

from radiocheck.evidence.vm import Definition, HostdevUsb, PciArg, TtyArg, UsbHostArg

from .qemu_args import parse as parse_arguments
from .qemu_args import pci_address, read_number  # libvirt's virStrToLong with base 0 takes the same numbers

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

XML_LIMIT = 4 << 20  # bytes; a real domain has some kilobytes
_DEVICES = frozenset({"hostdev", "serial", "console", "parallel", "channel", "controller"})
_QEMU = "{http://libvirt.org/schemas/domain/qemu/1.0}"
# The state file uses the words of the schema, `virsh domstate` those of tools/virsh-domain-monitor.c.
_STATES = {"nostate": "no state", "blocked": "idle", "shutdown": "in shutdown", "shutoff": "shut off"}
# Domain types of the schema whose <hostdev> means what it means for QEMU; `xen` with libvirt's libxl driver.
_HYPERVISORS = frozenset({"qemu", "kvm", "hvf", "xen"})
_JUNK_AFTER_DOCUMENT_ELEMENT = 9  # expat.h, XML_ERROR_JUNK_AFTER_DOC_ELEMENT


class DomainXml(NamedTuple):
    """One domain as its XML says; `state` (in virsh's words) and `process` only from a live state file."""

    name: str
    uuid: str | None
    definition: Definition
    state: str | None = None
    process: int | None = None


def read(xml: bytes | str) -> DomainXml:
    """Read a `<domain>`, or the `<domstatus>` around it.

    Raises `ValueError` with one sentence for what is no well-formed, harmless domain XML:
    entity definitions and references to other files are refused.
    """
    root = _root(xml)
    domain = root if root.tag == "domain" else root.find("domain") if root.tag == "domstatus" else None
    if domain is None:
        raise ValueError(f"The XML holds no domain but <{root.tag[:40]}>.")
    name = (domain.findtext("name") or "").strip()
    if not name:
        raise ValueError("The domain in the XML has no name.")
    uuid = (domain.findtext("uuid") or "").strip() or None
    if root is domain:
        return DomainXml(name, uuid, _definition(domain))
    state = root.get("state")
    return DomainXml(
        name, uuid, _definition(domain), _STATES.get(state, state) if state else None, read_number(root.get("pid"))
    )


class Pasted(NamedTuple):
    """What a person's XML says of one VM; null: it does not tell."""

    name: str | None
    hypervisor: str | None  # the domain's type
    definition: Definition


def pasted(xml: bytes) -> list[Pasted]:
    """Read whole domains, one `<devices>`, or only some device elements such as `<hostdev>`.

    Raises `ValueError` as `read` does, and for what libvirt itself would refuse to hand over.
    """
    elements = _elements(xml.removeprefix(b"\xef\xbb\xbf").strip())
    kinds = {element.tag for element in elements}
    if kinds & {"domain", "domstatus"}:
        return [_pasted(_domain(element)) for element in elements]
    if not kinds & _DEVICES:
        raise _nothing(elements[0].tag if elements else "devices")
    from xml.etree.ElementTree import Element as Made

    domain, devices = Made("domain"), Made("devices")
    devices.extend(elements)
    domain.append(devices)
    return [_pasted(domain)]


def _domain(element: Element) -> Element:
    domain = element if element.tag == "domain" else element.find("domain") if element.tag == "domstatus" else None
    if domain is None:
        raise _nothing(element.tag)
    return domain


def _nothing(tag: str) -> ValueError:
    return ValueError(f"The XML holds neither a domain nor a device that is handed over, but <{tag[:40]}>.")


def _elements(xml: bytes) -> list[Element]:
    """The outermost elements, of which a well-formed document would have just one; those within a `<devices>`."""
    try:
        root = _root(xml)
    except ValueError as error:
        if getattr(error.__cause__, "code", None) != _JUNK_AFTER_DOCUMENT_ELEMENT:
            raise
        declaration = re.match(rb"<\?xml\s[^>]*>", xml)
        start = declaration.end() if declaration else 0
        return list(_root(b"%s<devices>%s</devices>" % (xml[:start], xml[start:])))
    return list(root) if root.tag == "devices" else [root]


def _pasted(domain: Element) -> Pasted:
    hypervisor = domain.get("type")
    if hypervisor is not None and hypervisor not in _HYPERVISORS:
        raise ValueError(
            f"The domain is of type {hypervisor[:40]!r}, which hands devices over in another way than "
            "QEMU, KVM and Xen do."
        )
    handed = [one for one in domain.iterfind("devices/hostdev") if one.get("mode", "subsystem") == "subsystem"]
    definition = _definition(domain)
    for kind, read in (("usb", definition.usb), ("pci", definition.pci)):
        asked = sum(1 for one in handed if one.get("type") == kind)
        if asked > len(read) or HostdevUsb() in read[:asked]:  # those of <qemu:commandline> come after
            raise ValueError(f"A <hostdev type='{kind}'> names no device in its <source>.")
    if domain.get("id") is not None:  # of the running domain: numbers beside IDs are what libvirt found for them
        usb = [replace(one, bus=None, address=None, missing=False) if one.vid else one for one in definition.usb]
        definition = replace(definition, usb=usb)
    return Pasted((domain.findtext("name") or "").strip() or None, hypervisor, definition)


def _root(xml: bytes | str) -> Element:
    if len(xml) > XML_LIMIT:
        raise ValueError(f"The domain XML is larger than {XML_LIMIT >> 20} MiB.")
    from xml.etree.ElementTree import ParseError  # only machines with libvirt pay for the parser

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(xml, forbid_dtd=True)
    except DefusedXmlException as error:
        raise ValueError("The domain XML defines entities or a document type, which no domain needs.") from error
    except (ParseError, ValueError, LookupError) as error:  # LookupError: an encoding that Python does not know
        raise ValueError(f"The domain XML is not well-formed: {error}.") from error
    except RecursionError as error:
        raise ValueError("The domain XML is nested too deeply.") from error
    return root


def _definition(domain: Element) -> Definition:
    usb: list[HostdevUsb] = []
    pci: list[PciArg] = []
    for hostdev in domain.iterfind("devices/hostdev"):
        if hostdev.get("mode", "subsystem") != "subsystem" or (source := hostdev.find("source")) is None:
            continue
        if hostdev.get("type") == "usb":
            usb.append(_usb(source))
        elif hostdev.get("type") == "pci" and (address := _pci(source.find("address"))):
            pci.append(PciArg(address=address, managed=hostdev.get("managed") == "yes"))
    paths = [
        source.get("path")
        for kind in ("serial", "console", "parallel", "channel")
        for source in domain.iterfind(f"devices/{kind}[@type='dev']/source")
    ]
    extra = parse_arguments([word.get("value", "") for word in domain.iterfind(f"{_QEMU}commandline/{_QEMU}arg")])
    paths += [tty.path for tty in extra.ttys]
    usb += [_as_hostdev(arg) for arg in extra.usb]
    return Definition(
        usb=usb,
        pci=[*pci, *extra.pci],
        ttys=[TtyArg(path=path) for path in dict.fromkeys(paths) if path],  # the first console repeats the first serial
        usb_bus=_usb_bus(domain, extra.usb_bus),
    )


def _usb_bus(domain: Element, extra: bool) -> bool | UnsetType:
    """Whether there is a USB controller; libvirt writes the default one into every XML that it keeps."""
    models = [item.get("model") for item in domain.iterfind("devices/controller[@type='usb']")]
    if not models and not extra:
        # A fragment that a person wrote may leave it out, and libvirt would add it for most machines.
        return UNSET
    return extra or any(model != "none" for model in models)


def _as_hostdev(arg: UsbHostArg) -> HostdevUsb:
    """A `usb-host` of `<qemu:commandline>`; the path of a node names bus and address."""
    node = re.fullmatch(r"/dev/bus/usb/(\d{3})/(\d{3})", arg.node or "")
    bus, address = (int(node[1]), int(node[2])) if node else (arg.bus, arg.address)
    return HostdevUsb(vid=arg.vid, pid=arg.pid, bus=bus, address=address, port=arg.port)


def _usb(source: Element) -> HostdevUsb:
    address = source.find("address")
    place = {} if address is None else address.attrib
    return HostdevUsb(
        vid=_id(source.find("vendor")),
        pid=_id(source.find("product")),
        bus=read_number(place.get("bus")),
        address=read_number(place.get("device")),
        port=place.get("port") or None,
        startup=source.get("startupPolicy"),
        missing=source.get("missing") == "yes",
    )


def _id(element: Element | None) -> str | None:
    number = read_number(element.get("id")) if element is not None else None
    return None if number is None or number > 0xFFFF else f"{number:04x}"


def _pci(address: Element | None) -> str | None:
    if address is None:
        return None
    parts = [read_number(address.get(key)) or 0 for key in ("domain", "bus", "slot", "function")]
    return pci_address(f"{parts[0]:x}:{parts[1]:x}:{parts[2]:x}.{parts[3]:x}")
