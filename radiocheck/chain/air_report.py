"""What `radiocheck air` says, as records: three answers, and the figures behind them."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

from radiocheck.radio.link import Link
from radiocheck.radio.reasons import Reason

from .air_plan import Noise
from .verdict import Missing

AIR_FORMAT = 1  # raised when a reader of the old format would misread the new one

Question = Literal["shouting", "channel", "reach"]
# good: nothing against it; costly: it works and costs something, or may; bad: it fails or costs much;
# unseen: not enough is known.
AnswerState = Literal["good", "costly", "bad", "unseen"]
Heard = Literal["heard", "doubtful", "not-heard"]

QUESTIONS: dict[Question, str] = {
    "shouting": "Is something beside it shouting?",
    "channel": "Is its channel a good one?",
    "reach": "How far can it be heard?",
}


class Answer(Struct, frozen=True, kw_only=True):
    """One of the three questions, answered."""

    question: Question
    state: AnswerState
    sentence: str
    more: list[str] = []  # what stands behind it and what helps, a sentence each


class Around(Struct, frozen=True, kw_only=True):
    """A SuperSpeed device around the adapter."""

    label: str
    name: str
    gbps: float
    where: str  # as in `neighbours.Where`
    beside: bool
    hub: bool
    activity: str | None  # busy, awake, asleep; null: not seen
    transfers_per_s: float | None


class Seated(Struct, frozen=True, kw_only=True):
    """Where the adapter is plugged in; null: not seen."""

    hubs: list[str] | None  # external ones, nearest first; empty: straight in the machine
    superspeed_socket: bool | None


class Net(Struct, frozen=True, kw_only=True):
    """A Wi-Fi network of the survey."""

    name: str
    centre_mhz: float
    width_mhz: float
    mask: str
    level_dbm: float
    busy: float | None  # share of time in which its Wi-Fi channel is taken; null: not told


class Ranked(Struct, frozen=True, kw_only=True):
    """One IEEE 802.15.4 channel; the list is in order, the best first."""

    channel: int
    centre_mhz: float
    wifi_dbm: float | None  # all networks at once, in the receiver's filter; null: none
    bound: bool  # … which is a limit: the loudest lies so far beside that only its mask is known
    margin_db: float  # above 1 % frame errors with all of them on the air
    frame_errors: float  # one attempt, by their air time
    busy: float  # share of time in which the adapter finds the channel taken
    delivered: float  # after retries, at best
    delivered_worst: float  # with the worst noise beside the adapter
    loudest: str | None  # the network that gives most
    offset_mhz: float | None  # from that network's centre
    reasons: list[Reason]  # for its rank, most telling first


class Way(Struct, frozen=True, kw_only=True):
    """A device to be reached; best and worst are the two ends of the noise beside the adapter."""

    name: str
    device: str
    room: str | None
    distance_m: float
    verdict: Heard
    best: Link
    worst: Link


class Reach(Struct, frozen=True, kw_only=True):
    """Distances within a dwelling at which a device is heard with nine chances of ten (ITU-R P.1238, median)."""

    best_m: float
    worst_m: float


class Span(Struct, frozen=True):
    """A figure at both ends of what is not known."""

    best: float
    worst: float


class Change(Struct, frozen=True, kw_only=True):
    """One figure before and after what was asked for."""

    what: str
    unit: Literal["dB", "share"]
    before: Span
    after: Span


class WhatIf(Struct, frozen=True, kw_only=True):
    """What would be different."""

    asked: list[str]
    changes: list[Change]


class Assumed(Struct, frozen=True, kw_only=True):
    """A number that was not measured."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    about: str
    source: str
    given: bool  # by the person, in place of ours


class AirReport(Struct, frozen=True, kw_only=True):
    """The whole answer."""

    radiocheck_air: int  # AIR_FORMAT
    tool: str
    taken: float | None  # when the evidence was taken, Unix seconds; null: none was
    host: str | None
    site: str | None
    adapter: str | None
    port: str | None
    channel: int | None
    answers: list[Answer]
    seat: Seated | None
    neighbours: list[Around] | None  # null: not seen
    noise: Noise  # on the cable it is on
    floor_best_dbm: float  # of the adapter's receiver, with that noise
    floor_worst_dbm: float
    networks: list[Net] | None  # null: no survey
    survey_from: Literal["site", "evidence"] | None
    channels: list[Ranked]
    wanted_dbm: float  # the level at the adapter that the channels are judged for
    wanted_from: str | None  # the device that has it: the weakest within reach; null: 10 dB above what is demanded
    links: list[Way]
    reach: Reach | None
    what_if: WhatIf | None
    assumed: list[Assumed]
    models: list[str]
    cautions: list[str]
    missing: list[Missing]
