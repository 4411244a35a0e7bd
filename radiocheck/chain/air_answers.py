"""The three questions in plain language, from computed figures."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UnsetType

from radiocheck.evidence.absent import known
from radiocheck.radio.noise import range_factor
from radiocheck.radio.plan import Plan
from radiocheck.radio.survey import recommended

from . import air_words as words
from .air_plan import Noise, shouting
from .air_report import Answer, AnswerState, Ranked, Reach, Way
from .air_rows import HEARD, delivered
from .neighbours import Neighbour, Seat

EXPONENT = 2.8  # ITU-R P.1238-9 Table 2, residential, by 10 (second-hand)
GOOD_DELIVERY = 0.99  # of a channel: below it frames are lost for good too often
COSTLY_ERRORS = 0.10  # lost attempts from which retries cost air time and batteries
GAIN = 0.01  # another channel must deliver this much more to be called better
ANOTHER = 1.5  # metres of extension cable that are proposed


def shouts(
    found: Sequence[Neighbour] | UnsetType,
    seat: Seat | UnsetType,
    noise: Noise,
    plan: Plan,
    moved: Plan | None,
    extension_m: float | None = None,
) -> Answer:
    """Question 1, from the neighbours and from the noise that they may make where the antenna is.

    `noise` is that of the surroundings, `plan` has it at the antenna; `moved` has the adapter
    `ANOTHER` metres away, if that can be computed.
    """
    state = shouting(plan.rise_best_db, plan.rise_worst_db)
    rise = words.span(plan.rise_best_db, plan.rise_worst_db)
    if noise.source == "measured":
        sentence = {
            "good": f"No: a noise rise of {rise} was given, which costs little.",
            "costly": f"Perhaps: a noise rise of {rise} was given.",
            "bad": f"Yes: a noise rise of {rise} was given.",
        }[state]
        return Answer(question="shouting", state=state, sentence=sentence, more=_cost(plan, moved))
    if not known(found):
        return Answer(
            question="shouting",
            state="unseen",
            sentence="Not known: what stands beside it was not seen.",
            more=[f"The figures below count with a noise rise of {rise} for it."],
        )
    beside = [one for one in found if one.beside]
    more = _seated(seat, extension_m)
    if not beside:
        if noise.source == "not-seen":
            return Answer(
                question="shouting",
                state="unseen",
                sentence="Nothing was seen beside it, but not every device and port could be looked at.",
                more=more,
            )
        if not found:
            sentence = "No: no SuperSpeed device is on this machine's USB."
        else:
            sentence = f"Probably not: the nearest SuperSpeed device, {_named(found[0])}."
        return Answer(question="shouting", state="good", sentence=sentence, more=more)
    first = beside[0]
    start = {"good": "Hardly", "costly": "Perhaps", "bad": "Yes, probably"}[state]
    doing = {"busy": "It is busy", "awake": "It is awake", "asleep": "It is asleep now, and may wake at any time"}
    act = doing[first.activity] if known(first.activity) else "Whether it is busy was not seen"
    sentence = f"{start}: {_named(first)}. {act}; it may lift the noise at the adapter by {rise}."
    if len(beside) > 1:
        more.insert(0, f"{len(beside) - 1} more beside it: {words.ticked(one.label for one in beside[1:])}.")
    return Answer(question="shouting", state=state, sentence=sentence, more=[*more, *_cost(plan, moved)])


def _named(one: Neighbour) -> str:
    return f"`{one.label}`, {one.mbps / 1e3:g} Gb/s, is in {words.WHERE[one.where]}".replace(
        "is in the hub that", "is the hub that"
    )


def _seated(seat: Seat | UnsetType, extension_m: float | None) -> list[str]:
    if extension_m is not None:
        return [f"The adapter is on {extension_m:g} m of cable, as you say: that is in the figures."]
    if not known(seat):
        return []
    if seat.hubs:
        return [f"The adapter is not straight in the machine but behind {words.ticked(seat.hubs)}."]
    said = [
        "The adapter is straight in the machine, as far as USB shows: an extension cable without a hub in it "
        "cannot be seen."
    ]
    if seat.superspeed_socket is True:
        said.append("Its own socket carries SuperSpeed too, which is silent as long as nothing uses that.")
    return said


def _cost(plan: Plan, moved: Plan | None) -> list[str]:
    """What a noise rise does to distances, and what an extension would do to it."""
    best, worst = plan.rise_best_db, plan.rise_worst_db
    if shouting(best, worst) == "good":
        return []
    left = sorted(range_factor(rise, EXPONENT) * 100 for rise in (worst, best))
    share = f"{left[0]:.0f} %" if round(left[0]) == round(left[1]) else f"{left[0]:.0f} to {left[1]:.0f} %"
    said = [
        f"That leaves {share} of the distance from which it would hear a device. No published curve tells how much "
        "it really is: measure before and after you move it."
    ]
    if moved is not None and moved.rise_worst_db < worst - 1.0:
        rise = words.span(moved.rise_best_db, moved.rise_worst_db)
        said.append(f"On a USB 2 extension cable of {ANOTHER:g} m the rise would be {rise}, as far as that is known.")
    return said


def good_channel(channel: int | None, channels: Sequence[Ranked], surveyed: bool, partly: bool = False) -> Answer:
    """Question 2, from all sixteen channels under the networks of the survey; `channels` best first.

    `partly`: the survey is what this machine happens to have heard.
    """
    if not surveyed:
        return Answer(
            question="channel",
            state="unseen",
            sentence="Not known: no survey of Wi-Fi networks was given, and none was seen.",
            more=[
                "List the networks as `survey` in air.yaml. If this machine has Wi-Fi, let it look for them (as root: "
                "`iw dev wlan0 scan`), and ask again: what it has heard is read.",
                *([] if channel is not None else ["Its channel is not known either: say it with --channel."]),
            ],
        )
    best = recommended(channels)
    if channel is None:
        return Answer(
            question="channel",
            state="unseen",
            sentence=f"Its channel is not known: say it with --channel. The best one here is {best.channel}.",
            more=[_reason(best)],
        )
    own = next(one for one in channels if one.channel == channel)
    better = best.delivered > own.delivered + GAIN or (
        own.frame_errors > COSTLY_ERRORS and best.frame_errors < own.frame_errors / 2
    )
    state = _channel_state(own)
    lost = (
        f"{words.of_100(own.frame_errors)} attempts fail, and {words.of_100(own.delivered)} frames arrive after retries"
    )
    more = [_reason(own)]
    if state != "good" and own.bound:
        more.append(words.PESSIMISTIC)
    if state == "good":
        sentence = f"Yes{', by what this machine has heard' if partly else ''}: on channel {channel} {lost}."
        if own.channel == 26:
            more.append(words.CHANNEL_26)
    else:
        start = "No" if state == "bad" else "It works, at a price"
        sentence = f"{start}: on channel {channel} {lost}."
        if better:
            more.append(
                f"Channel {best.channel} would be better: {words.of_100(best.delivered)} frames arrive there. "
                + _reason(best)
            )
            if best is not channels[0]:
                more.append(f"Channel {channels[0].channel} would do as well, but not every device hears it.")
            more.append(words.COST_OF_CHANGING)
        else:
            more.append(
                "No other channel is better: move the Wi-Fi network, or the adapter away from its access point."
            )
    if partly:
        more.append(words.PARTLY)
    return Answer(question="channel", state=state, sentence=sentence, more=more)


def _channel_state(own: Ranked) -> AnswerState:
    if own.delivered < GOOD_DELIVERY:
        return "bad"
    return "costly" if own.frame_errors > COSTLY_ERRORS else "good"


def _reason(one: Ranked) -> str:
    if one.loudest is None or one.wifi_dbm is None or one.offset_mhz is None:
        return f"No Wi-Fi network reaches channel {one.channel}."
    return (
        f"The loudest there is `{one.loudest}`, {abs(one.offset_mhz):.0f} MHz away: all networks together put at most "
        f"{words.decibels(one.wifi_dbm)} dBm into channel {one.channel}."
    )


def heard(
    links: Sequence[Way], quiet: Sequence[Way], elsewhere: Sequence[Way], best: int | None, reach: Reach
) -> Answer:
    """Question 3, from the links; without any, from the distance that a dwelling lets it reach.

    `quiet`: the same links without Wi-Fi in the air; `elsewhere`: on channel `best`, when that is another one.
    """
    far = _far(reach)
    if not links:
        return Answer(
            question="reach",
            state="unseen",
            sentence=far,
            more=["Rooms, walls and distances as `links` in air.yaml give an answer for each device."],
        )
    groups = {kind: [one.name for one in links if one.verdict == kind] for kind in ("heard", "doubtful", "not-heard")}
    said = {"heard": "heard well", "doubtful": "doubtful", "not-heard": "hardly heard"}
    parts = [f"{len(names)} {said[kind]} ({words.ticked(names)})" for kind, names in groups.items() if names]
    state: AnswerState = "bad" if groups["not-heard"] else "costly" if groups["doubtful"] else "good"
    sentence = f"Of {len(links)} devices: {', '.join(parts)}."
    if len(links) == 1:
        sentence = f"`{links[0].name}` is {said[links[0].verdict]}."
    more = []
    now, then = len(groups["heard"]), sum(one.verdict == "heard" for one in elsewhere)
    alone = [one.name for one in quiet if one.verdict == "heard" and one.name not in groups["heard"]]
    if alone:
        more.append(f"Distance is not what harms {words.ticked(alone)}, but Wi-Fi: without it, heard well.")
    if best is not None and then > now:
        more.append(f"On channel {best}, with less Wi-Fi in it, {words.of_all(then, len(links))} would be heard well.")
    if noisy := [one.name for one in quiet if one.verdict != "heard" and delivered(one.best) >= HEARD]:
        more.append(
            f"Whether {words.ticked(noisy)} {'is' if len(noisy) == 1 else 'are'} heard hangs on the noise beside the "
            "adapter: move it away from there first."
        )
    if far_off := [one.name for one in quiet if delivered(one.best) < HEARD]:
        more.append(
            f"For {words.ticked(far_off)} something between helps most: a device that is always powered, halfway, "
            "carries the frames. This computes the direct way only."
        )
    return Answer(question="reach", state=state, sentence=sentence, more=[*more, far])


def _far(reach: Reach) -> str:
    near, far = words.metres(reach.worst_m), words.metres(reach.best_m)
    away = f"{far} away"
    if near != far:
        away = f"{near} away at worst and {far} at best (by the noise beside the adapter)"
    return (
        f"In a dwelling in general a device is heard up to about {away}, with nine chances of ten: on one floor, "
        "without Wi-Fi in the air."
    )
