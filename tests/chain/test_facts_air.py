"""The air in a verdict: figures from the topology, from a person's words and from what the machine's Wi-Fi heard."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.air_build import Asked
from radiocheck.chain.air_plan import Noise
from radiocheck.chain.bound import AtLeast
from radiocheck.chain.context import context
from radiocheck.chain.facts_air import air_facts
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Chain
from radiocheck.chain.view_air import AirFacts
from radiocheck.chain.wifi_heard import networks
from radiocheck.evidence.air import WifiNetwork
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice
from radiocheck.radio.link import Slab
from radiocheck.radio.plan import LinkPlan, Plan
from radiocheck.radio.survey import Network

from . import machines as m

RULES = load([shipped()])
LOUD = Network("loft", 2437.0, -40.0, "ht20", 0.6)
FAINT = Network("far", 2437.0, -95.0, "ht20", 0.1)


def disk(name: str = "2-3", **change: Any) -> UsbDevice:
    """A SuperSpeed disk on the SuperSpeed half of a port of the root hub."""
    storage = structs.replace(m.interface(f"{name}:1.0", "usb-storage", ()), class_=8)
    base = m.stick(name, 3, "D1", vid="1209", pid="7a02", product="Disk", device_class=0, speed=5000.0)
    return structs.replace(base, interfaces=[storage], **change)


def beside(**change: Any) -> Evidence:
    """The stick in socket 2, a disk in socket 3 of the same panel."""
    ports = [
        m.port(2, "1-2", peer="usb2-port2"),
        m.port(3, None, peer="usb2-port3"),
        m.port(2, None, peer="usb1-port2", name="usb2-port2", hub="usb2"),
        m.port(3, "2-3", peer="usb1-port3", name="usb2-port3", hub="usb2"),
    ]
    return m.native(usb=[m.root_hub(), m.root_hub(2), m.stick(), disk(**change)], ports=ports)


def facts(evidence: Evidence, asked: Asked | None = None) -> AirFacts:
    """The air of the first adapter."""
    found = subjects(evidence)
    return air_facts(context(evidence, found, asked=asked), found[0])


def air_rules(evidence: Evidence, asked: Asked | None = None) -> dict[str, str]:
    """Rules of the step `air` that count, and their gravity."""
    (step,) = (one for one in chain(evidence, asked).steps if one.step == "air")
    return {one.rule: one.gravity for one in step.findings if one.result == "found" and one.explained_by is None}


def chain(evidence: Evidence, asked: Asked | None = None) -> Chain:
    """The judgement of the only adapter."""
    (only,) = judge(evidence, RULES, asked=asked).chains
    return only


def given(channel: int | None = 18, heard: tuple[Network, ...] | None = (), **more: Any) -> Asked:
    """A person's words."""
    plan = Plan(channel, heard, links=tuple(more.pop("links", ())), given=more.pop("assume", {}))
    kinds = [("other", None)] * len(plan.links)
    return Asked(plan=plan, kinds=kinds, survey_from=None if heard is None else "site", **more)


def test_an_awake_disk_in_the_next_socket() -> None:
    """Its noise is the assumption's range, and the rule fires on that."""
    air = facts(beside())
    assert (air.rise_best_db, air.rise_worst_db) == (3, 20)
    assert air_rules(beside()) == {"superspeed-neighbour": "strain"}


@pytest.mark.parametrize(
    "evidence",
    [
        beside(runtime_status="suspended"),
        beside(speed=480.0),
        beside(controller="0000:01:00.0", port="usb4-port1", name="4-1"),
        m.native(),
    ],
    ids=["asleep", "not SuperSpeed", "on another controller", "nothing there"],
)
def test_presence_alone_is_no_strain(evidence: Evidence) -> None:
    """What sleeps, is slow or sits elsewhere gives nothing."""
    assert air_rules(evidence) == {}
    assert chain(evidence).state == "sound"


def test_a_busy_one_explains_the_others() -> None:
    """Thousands of transfers since it came: one finding, and the one about its place follows from it."""
    assert air_rules(beside(urbs=9_000_000)) == {"superspeed-busy-beside-it": "strain"}


def test_a_new_disk_is_not_busy_for_its_tables() -> None:
    """Some hundred transfers in its first seconds are no load; thousands are, so early too."""
    assert "superspeed-busy-beside-it" not in air_rules(beside(urbs=407, connected_ms=3900))
    assert "superspeed-busy-beside-it" in air_rules(beside(urbs=40_000, connected_ms=3900))


def test_an_extension_cable_takes_the_noise_away() -> None:
    """By the assumption of 6 dB for each doubling from one wavelength on, 1.5 m leave about 2 of 20 dB."""
    asked = given(heard=None, channel=None, extension_m=1.5)
    assert facts(beside(), asked).rise_worst_db == 2
    assert air_rules(beside(), asked) == {}


def test_a_measurement_replaces_the_assumption() -> None:
    """Measured noise counts, and the neighbours are no finding of their own any more."""
    asked = given(heard=None, channel=None, noise=Noise(12.0, 14.0, "measured"))
    assert air_rules(beside(), asked) == {"noise-rise-measured": "strain"}
    assert air_rules(beside(), given(heard=None, channel=None, noise=Noise(0.0, 1.0, "measured"))) == {}


def test_without_words_the_step_is_unseen_and_says_what_to_give() -> None:
    """No channel and no survey: no figure, and one way to provide both."""
    air = facts(m.native())
    assert (air.channel, air.lost_best_permille, air.links) == (AirFacts().channel,) * 3
    step = chain(m.native()).steps[-1]
    assert (step.step, step.state) == ("air", "unseen")
    assert [one.what for one in step.missing] == ["site"]
    assert "--site" in step.missing[0].provide


def test_a_quiet_house_is_sound() -> None:
    """A faint network and a near lamp: proven sound, with its figures."""
    asked = given(heard=(FAINT,), links=[LinkPlan("lamp", 4.0)])
    step = chain(m.native(), asked).steps[-1]
    assert step.state == "sound"
    assert "channel 18" in step.saw[0]


def test_under_a_loud_network() -> None:
    """3 MHz from its centre at -40 dBm, 60 % of the air: frames are spoiled, and a better channel is named."""
    asked = given(heard=(LOUD,))
    air = facts(m.native(), asked)
    assert (air.busy_permille, air.short_db) == (600, 31)
    assert set(air_rules(m.native(), asked)) == {"channel-under-loud-wifi", "better-channel-there"}


def test_the_chain_breaks_only_where_hardly_anything_gets_through() -> None:
    """An access point that is always on the air, over the channel: a break, and only by a given survey."""
    drowned = structs.replace(LOUD, busy=1.0)
    assert air_rules(m.native(), given(heard=(drowned,))) == {"channel-drowned": "break"}
    evidence = m.native(wifi=[WifiNetwork(ssid="loft", freq_mhz=2437.0, level_dbm=-40.0, standard="n", busy=1.0)])
    assert "break" not in air_rules(evidence, given(heard=None)).values()


def test_a_mask_s_limit_alone_breaks_nothing() -> None:
    """13 MHz beside a network that is always on and very loud: by its mask all is lost, and that is only a limit."""
    beside_it = structs.replace(LOUD, level_dbm=-10.0, busy=1.0)
    air = facts(m.native(), given(20, heard=(beside_it,)))
    assert air.lost_best_permille == 1000
    assert air.proven is False
    assert "break" not in air_rules(m.native(), given(20, heard=(beside_it,))).values()
    assert "channel-beside-wifi-edge" in air_rules(m.native(), given(20, heard=(beside_it,)))


def test_noise_alone_is_proven() -> None:
    """Measured noise that drowns the wanted signal is no mask's limit, and breaks the chain."""
    asked = given(noise=Noise(40.0, 40.0, "measured"))
    assert facts(m.native(), asked).proven is True
    assert air_rules(m.native(), asked) == {"channel-drowned": "break", "noise-rise-measured": "strain"}


def test_wi_fi_is_not_blamed_on_distance() -> None:
    """A near lamp whose frames a busy network spoils is no far lamp: only the channel is named."""
    asked = given(heard=(LOUD,), links=[LinkPlan("lamp", 7.0, (Slab("brick", 0.115),))])
    air = facts(m.native(), asked)
    assert air.spoiled_permille >= 500
    assert air.links[0].weak_best_permille == 0
    assert not [rule for rule in air_rules(m.native(), asked) if "link" in rule or "wall" in rule]


def test_a_link_with_little_to_spare() -> None:
    """Too weak in one home of fifteen: heard, and called without reserve."""
    asked = given(links=[LinkPlan("attic", 16.0, (Slab("concrete", 0.2),), 1)])
    assert 50 <= facts(m.native(), asked).links[0].weak_best_permille < 100
    assert air_rules(m.native(), asked) == {"link-without-reserve": "strain"}


def test_the_worst_noise_of_one_computation() -> None:
    """Figures at the worst noise are those that a plan with nothing but that noise has at best."""
    asked = given(heard=(structs.replace(LOUD, level_dbm=-80.0),), links=[LinkPlan("lamp", 120.0)])
    loud = structs.replace(asked, noise=Noise(20.0, 20.0, "measured"))
    both = structs.replace(asked, noise=Noise(3.0, 20.0, "measured"))
    at_worst = facts(m.native(), loud)
    assert facts(m.native(), both).lost_worst_permille == at_worst.lost_best_permille
    assert facts(m.native(), both).lost_best_permille < at_worst.lost_best_permille


def test_channel_26_is_best_only_alone() -> None:
    """With two channels alike 25 is called the best, as `radiocheck air` does."""
    levels = ((2412.0, -40.0), (2437.0, -40.0), (2462.0, -63.0))
    asked = given(13, heard=tuple(structs.replace(LOUD, centre_mhz=at, level_dbm=level) for at, level in levels))
    assert facts(m.native(), asked).best_channel == 25


def test_links() -> None:
    """Concrete and floors: what cannot be reached is named, and all of them together break the chain."""
    wall = Slab("concrete", 0.3)
    far = LinkPlan("cellar", 30.0, (wall, wall, wall), 2)
    assert "link-out-of-reach" in air_rules(m.native(), given(links=[far, LinkPlan("lamp", 3.0)]))
    assert air_rules(m.native(), given(links=[far])) == {"no-link-reaches": "break"}
    assert air_rules(m.native(), given(links=[LinkPlan("lamp", 3.0)])) == {}


def test_noise_makes_the_adapter_deaf() -> None:
    """A device that is heard without the disk's noise and not with its worst: the noise is blamed."""
    edge = LinkPlan("sensor", 20.0, (Slab("concrete", 0.2),), 0)
    assert "uplink-deaf-by-noise" in air_rules(beside(), given(links=[edge]))
    assert "uplink-deaf-by-noise" not in air_rules(m.native(), given(links=[edge]))


def test_power_on_channel_26() -> None:
    """20 dBm given for channel 26 is more than designs use there."""
    asked = given(26, assume={"coordinator_power": 20.0})
    assert air_rules(m.native(), asked) == {"channel-26-at-full-power": "strain"}


# --- what this machine has heard

HEARD = [
    WifiNetwork(ssid="loft", freq_mhz=2437.0, level_dbm=-40.0, standard="ax", width_mhz=20, busy=0.6),
    WifiNetwork(ssid=None, freq_mhz=2437.0, level_dbm=-60.0, busy=0.5),
    WifiNetwork(ssid="far", freq_mhz=2412.0),
]


def test_what_was_heard_stands_in_for_a_survey() -> None:
    """It is a part of what there is: figures are at least, the step is never sound by it, no channel is called best."""
    evidence = m.native(wifi=HEARD)
    air = facts(evidence, given(heard=None))
    assert air.survey_whole is False
    assert isinstance(air.busy_permille, AtLeast)
    assert isinstance(air.lost_best_permille, AtLeast)
    assert air.best_channel is AirFacts().best_channel
    assert "channel-under-loud-wifi" in air_rules(evidence, given(heard=None))
    quiet = m.native(wifi=[structs.replace(HEARD[0], level_dbm=-95.0)])
    assert chain(quiet, given(heard=None)).steps[-1].state == "unseen"


def test_a_channel_s_load_counts_once() -> None:
    """Two access points on one channel tell the same load; it goes to the loudest.  Without a level: left out."""
    heard = networks(m.native(wifi=HEARD))
    assert heard is not None
    assert [(one.name, one.mask, one.busy) for one in heard] == [("loft", "he20", 0.6), ("(hidden)", "ht20", 0.0)]
    assert networks(m.native()) is None


@pytest.mark.parametrize("lost", range(1, 4))
def test_fewer_networks_never_make_another_answer(lost: int) -> None:
    """What fewer networks answer, all of them answer too."""
    every = [*HEARD[:2], WifiNetwork(ssid="near", freq_mhz=2462.0, level_dbm=-45.0, busy=0.9)]
    fewer = every[: len(every) - lost] if lost < 3 else every[1:]
    asked = given(heard=None)
    whole = {one.rule: one.result for one in chain(m.native(wifi=every), asked).steps[-1].findings}
    part = {one.rule: one.result for one in chain(m.native(wifi=fewer), asked).steps[-1].findings}
    assert {rule for rule in whole if part[rule] not in (whole[rule], "unknown")} == set()


@pytest.mark.parametrize("lost", ["ports", "usb", "wifi"])
@pytest.mark.parametrize("level", [-10.0, -45.0, -95.0])
@pytest.mark.parametrize("channel", [18, 20, None])
@pytest.mark.parametrize("survey", [True, False])
def test_losing_evidence_never_makes_another_answer(lost: str, level: float, channel: int | None, survey: bool) -> None:
    """With a site: without ports, a part of the bus, or what was heard, a rule answers the same or nothing."""
    loud = structs.replace(LOUD, level_dbm=level, busy=0.99)
    links = [LinkPlan("attic", 20.0, (Slab("concrete", 0.2),), 1), LinkPlan("lamp", 3.0), LinkPlan("shed", 500.0)]
    asked = given(channel, heard=(loud,) if survey else None, links=links)
    whole = structs.replace(beside(), wifi=[structs.replace(HEARD[0], level_dbm=level)])
    less = {"ports": {"ports": UNSET}, "usb": {"partly": ["usb"]}, "wifi": {"wifi": UNSET}}[lost]
    every, some = (
        {one.rule: one.result for one in chain(seen, asked).steps[-1].findings}
        for seen in (whole, structs.replace(whole, **less))
    )
    assert {rule for rule in every if some[rule] not in (every[rule], "unknown")} == set()


def test_a_missing_device_list_leaves_it_open() -> None:
    """With a part of the bus only, nothing beside it is not proven, and a neighbour that was seen counts."""
    part = structs.replace(beside(), partly=["usb"])
    assert air_rules(part) == {"superspeed-neighbour": "strain"}
    quiet = structs.replace(m.native(), partly=["usb"])
    states = {one.rule: one.result for one in chain(quiet).steps[-1].findings}
    assert states["superspeed-neighbour"] == "unknown"
