"""Reports made by hand, of our own scenario: what the text and JSON formats are tried on."""

from __future__ import annotations

from typing import get_args

from radiocheck.chain.verdict import (
    REPORT_FORMAT,
    Adapter,
    Chain,
    ChainState,
    Finding,
    Missing,
    Remedy,
    Report,
    Route,
    Step,
    StepName,
    StepState,
    Verdict,
)

QUESTIONS = {
    "power": "Does the socket give the adapter steady power?",
    "bus": "Is it enumerated on the host's USB bus, and does it stay there?",
    "driver": "Is its interface with the right owner: a serial driver, or the hypervisor?",
    "name": "Is there a name for it that survives a replug and a reboot?",
    "access": "May the one who needs it open it, and does nobody else hold it?",
    "assignment": "Does the VM's configuration pick out this adapter and no other, now and at the next start?",
    "handover": "Does the running VM hold it at this moment?",
    "guest": "Does the VM see it, with driver, name and rights?",
    "radio": "Does the firmware behind the port answer?",
    "air": "Is its place in the 2.4 GHz band fit to hear the mesh?",
}
SAW = {
    "power": ["draws up to 100 mA", "power control is `on`"],
    "bus": ["1209:7a01 at 1-2, bus 1 device 7, 12 Mb/s"],
    "driver": ["1-2:1.0 is driven by cp210x, tty ttyUSB0"],
    "access": ["the VM's process may open /dev/bus/usb/001/007"],
    "assignment": ["hearth: vendor 0x1209, product 0x7a01"],
    "handover": ["held by hearth"],
}
UNSEEN = {
    "guest": "only the guest can show it; run radiocheck inside the VM",
    "radio": "radiocheck opens no port; only the program that owns the adapter can tell",
    "air": "no survey of the 2.4 GHz band was given",
}
ADAPTER = Adapter(
    label="Mesh stick A1B2C3D4E5F6",
    present=True,
    vid="1209",
    pid="7a01",
    manufacturer="Lindenhof",
    product="Mesh stick",
    serial="A1B2C3D4E5F6",
    port="1-2",
    tty="ttyUSB0",
)
LOST = Finding(
    rule="re-enumerated-under-vm",
    result="found",
    gravity="break",
    title="The VM still points at the adapter's old device number",
    seen="hearth was started with device 5 on bus 1; the adapter is device 7 on bus 1 since 22:41, and the "
    "host's cp210x driver has it",
    why="libvirt resolves the vendor and product to a device number once, when the VM starts. The adapter left "
    "the bus and came back with another number, so the VM holds a node that is gone.",
    looks_like="The VM may be restarting just now: look again in a minute.",
    remedies=[
        Remedy(
            do="Attach the adapter to the running VM again.",
            command="virsh detach-device hearth /etc/radio/stick.xml --live\n"
            "virsh attach-device hearth /etc/radio/stick.xml --live",
            risk="interrupts",
            interrupts="programs in hearth that use the adapter, for a few seconds",
            caution="the file must hold the same <hostdev> as the VM's configuration",
            check="`radiocheck check` shows handover as sound",
        ),
        Remedy(do="Restart the VM.", command="virsh reboot hearth", risk="interrupts", interrupts="all of hearth"),
        Remedy(do="Unplug the adapter and plug it into the socket it had.", risk="hands-on"),
    ],
)
FOLLOWS = Finding(
    rule="native-driver-while-assigned",
    result="found",
    gravity="break",
    title="A host driver has the interface of an adapter that a running VM is to have",
    explained_by="re-enumerated-under-vm",
)
PINNED = Finding(
    rule="pinned-by-number",
    result="found",
    gravity="strain",
    title="The configuration picks the adapter by a number that changes",
    seen="hearth asks for bus 1, device 7",
    why="The device number is given anew at every plug-in and every boot.",
    remedies=[
        Remedy(
            do="Name the adapter by vendor and product in the VM's configuration.",
            command="virsh edit hearth",
            risk="reversible",
            check="the <hostdev> has <vendor> and <product> and no <address>",
        )
    ],
)


def step(name: StepName, state: StepState, findings: list[Finding] | None = None, **more: object) -> Step:
    """A step with the usual facts of its state."""
    because = {
        "unseen": UNSEEN.get(name, "it could not be read"),
        "unreached": "it lies behind the break and is not judged",
        "unused": "a device that is passed through has no tty on the host",
    }.get(state, "")
    known = {"saw": SAW.get(name, []) if state in ("sound", "weak", "broken") else [], "because": because, **more}
    return Step(step=name, question=QUESTIONS[name], state=state, findings=findings or [], **known)  # type: ignore[arg-type]  # as msgspec checks


def chain(
    state: ChainState,
    sentence: str,
    states: dict[StepName, StepState],
    findings: dict[StepName, list[Finding]] | None = None,
    adapter: Adapter = ADAPTER,
    route: Route = "device",
) -> Chain:
    """A chain whose steps are sound unless `states` says otherwise."""
    usual: dict[StepName, StepState] = {"name": "unused", "guest": "unseen", "radio": "unseen", "air": "unseen"}
    all_states: dict[StepName, StepState] = {**usual, **states}
    steps = [step(name, all_states.get(name, "sound"), (findings or {}).get(name)) for name in get_args(StepName)]
    blamed = next((s.step for s in steps if s.state == state), None) if state in ("weak", "broken") else None
    return Chain(adapter=adapter, route=route, vms=["hearth"], state=state, step=blamed, sentence=sentence, steps=steps)


def report(*chains: Chain, missing: list[Missing] | None = None, root: bool | None = True) -> Report:
    """A report whose verdict is that of its first chain."""
    first = chains[0] if chains else None
    return Report(
        radiocheck_report=REPORT_FORMAT,
        tool="0.1.0",
        taken=1785711240.0,  # 2026-08-02 22:54 UTC
        root=root,
        host="Debian GNU/Linux 12 (bookworm), kernel 6.1.0, bare metal",
        verdict=Verdict(
            state=first.state if first else "unseen",
            step=first.step if first else None,
            sentence=first.sentence if first else "no radio adapter is on the bus and no VM asks for one",
        ),
        chains=list(chains),
        missing=missing or [],
    )


BROKEN = chain(
    "broken",
    "Broken at handover: hearth does not hold Mesh stick A1B2C3D4E5F6.",
    {"handover": "broken", "guest": "unreached", "radio": "unreached", "air": "unreached", "assignment": "weak"},
    {"handover": [LOST, FOLLOWS], "assignment": [PINNED]},
)
WEAK = chain(
    "weak",
    "Weak at assignment: hearth has Mesh stick A1B2C3D4E5F6 today, and will lose it at the next replug.",
    {"assignment": "weak"},
    {"assignment": [PINNED]},
)
SOUND = chain("sound", "Sound: every step that can be seen here holds for Mesh stick A1B2C3D4E5F6.", {})
HIDDEN = [
    Missing(what="handles", why="denied", provide="run as root"),
    Missing(what="kernel_log", why="denied", provide="run as root"),
    Missing(what="domains", why="no-tool", provide=""),
]
UNDECIDED = Chain(
    adapter=ADAPTER,
    route="device",
    vms=["hearth"],
    state="unseen",
    step=None,
    sentence="Who holds the adapter could not be seen.",
    steps=[
        *SOUND.steps[:6],
        step("handover", "unseen", because="which process holds it could not be seen", missing=HIDDEN[:1]),
        *SOUND.steps[7:],
    ],
)
ATTIC = chain(
    "sound",
    "Sound: every step that can be seen here holds for Mesh stick 00FF00FF.",
    {},
    adapter=Adapter(label="Mesh stick 00FF00FF", present=True, vid="1209", pid="7a01", port="1-3"),
)
