"""The part of the view that is about the air: figures computed from the evidence and from what a person gave.

See `view.py`.  Figures are whole: decibels rounded, probabilities in thousandths (permille).
Of all that grows with every further device or network the fact grows too, so that more of
it never makes a trouble less.  "Best" and "worst" are the ends of the noise that the
surroundings add, which is an assumption unless it was measured.
"""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Struct, UnsetType

from .needs import AROUND, READINGS, SITE, USB


class NeighbourFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A SuperSpeed device or hub of this machine."""

    label: Annotated[str | UnsetType, AROUND] = UNSET
    mbps: Annotated[int | UnsetType, AROUND] = UNSET
    # own-hub, connector, next-port, panel, hub (the same external one), controller, elsewhere
    where: Annotated[str | UnsetType, AROUND] = UNSET
    hub: Annotated[bool | UnsetType, AROUND] = UNSET
    activity: Annotated[str | UnsetType, AROUND] = UNSET  # busy, awake, asleep
    transfers_per_s: Annotated[int | UnsetType, AROUND] = UNSET  # on average since it was enumerated
    # What it alone adds to the adapter's noise floor, on the extension cable that the person says there is
    rise_best_db: Annotated[int | UnsetType, AROUND] = UNSET
    rise_worst_db: Annotated[int | UnsetType, AROUND] = UNSET


class OverlapFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A Wi-Fi network of the survey against the adapter's channel; the three that spoil most."""

    name: Annotated[str | UnsetType, SITE] = UNSET
    apart_mhz: Annotated[int | UnsetType, SITE] = UNSET  # between the centres
    inside: Annotated[bool | UnsetType, SITE] = UNSET  # the channel's centre lies in the top of its mask
    level_dbm: Annotated[int | UnsetType, SITE] = UNSET  # of its whole width
    in_channel_dbm: Annotated[int | UnsetType, SITE] = UNSET  # what the receiver's filter lets in, at most
    busy_permille: Annotated[int | UnsetType, SITE] = UNSET  # time in which its Wi-Fi channel is taken
    spoiled_permille: Annotated[int | UnsetType, SITE] = UNSET  # frames that meet it and are lost, of one attempt


class LinkFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A link that the person described, in air without Wi-Fi.  Up: from the device to the adapter.

    What Wi-Fi does to it is told by the channel, which is judged for the weakest link within reach.
    """

    name: Annotated[str | UnsetType, SITE] = UNSET
    distance_m: Annotated[int | UnsetType, SITE] = UNSET
    walls: Annotated[int | UnsetType, SITE] = UNSET
    floors: Annotated[int | UnsetType, SITE] = UNSET
    walls_db: Annotated[int | UnsetType, SITE] = UNSET  # what walls and floors take
    # Of 1000 homes with such a way, how many leave too little signal in it, in the worse direction
    weak_best_permille: Annotated[int | UnsetType, SITE] = UNSET
    weak_worst_permille: Annotated[int | UnsetType, SITE] = UNSET
    up_weak_best_permille: Annotated[int | UnsetType, SITE] = UNSET
    up_weak_worst_permille: Annotated[int | UnsetType, SITE] = UNSET
    down_short_db: Annotated[int | UnsetType, SITE] = UNSET  # what the median lacks of 1 % errors; negative: reserve
    up_short_best_db: Annotated[int | UnsetType, SITE] = UNSET
    up_short_worst_db: Annotated[int | UnsetType, SITE] = UNSET


class AirFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What sits beside the adapter, and what its channel and links come to."""

    hubs: Annotated[int | UnsetType, USB] = UNSET  # external hubs it sits behind; 0: straight in the machine
    neighbours: Annotated[list[NeighbourFacts] | UnsetType, AROUND] = UNSET
    rise_best_db: Annotated[int | UnsetType, AROUND] = UNSET  # of the noise floor, by all of them, or as measured
    rise_worst_db: Annotated[int | UnsetType, AROUND] = UNSET
    measured: Annotated[bool | UnsetType, SITE] = UNSET  # the person gave the noise, in place of an assumption
    channel: Annotated[int | UnsetType, SITE] = UNSET
    power_dbm: Annotated[int | UnsetType, SITE] = UNSET  # transmit power of the adapter, as the person gave it
    survey_whole: Annotated[bool | UnsetType, SITE] = UNSET  # a person's; what this machine has heard is a part
    networks: Annotated[int | UnsetType, SITE] = UNSET
    overlaps: Annotated[list[OverlapFacts] | UnsetType, SITE] = UNSET
    # For the signal of the weakest link that quiet air leaves within reach; without such a link for one 10 dB
    # above the required sensitivity (IEEE Std 802.15.4-2006, E.4.3)
    lost_best_permille: Annotated[int | UnsetType, SITE] = UNSET  # frames lost for good, after retries
    lost_worst_permille: Annotated[int | UnsetType, SITE] = UNSET
    spoiled_permille: Annotated[int | UnsetType, SITE] = UNSET  # of one attempt, by the networks' air time
    busy_permille: Annotated[int | UnsetType, SITE] = UNSET  # looks that find the channel taken
    short_db: Annotated[int | UnsetType, SITE] = UNSET  # lacks of 1 % errors with all on the air; negative: reserve
    too_noisy: Annotated[bool | UnsetType, SITE] = UNSET  # noise alone leaves too little of that signal, on any channel
    # Noise alone, or networks over the channel, spoil nearly every attempt: not only the limit of a mask
    proven: Annotated[bool | UnsetType, SITE] = UNSET
    best_channel: Annotated[int | UnsetType, SITE] = UNSET  # of a whole survey; 26 only if no other is as good
    best_spoiled_permille: Annotated[int | UnsetType, SITE] = UNSET
    gain_permille: Annotated[int | UnsetType, SITE] = UNSET  # attempts that the best channel saves
    links: Annotated[list[LinkFacts] | UnsetType, SITE] = UNSET  # empty: none was described
    # Of measurements that a paste has; null: it has none, or a live machine
    superspeed: Annotated[str | UnsetType | None, USB] = UNSET  # a device that runs at SuperSpeed
    lost_idle_permille: Annotated[int | UnsetType | None, READINGS] = UNSET  # frames, while a USB disk rested
    lost_in_transfer_permille: Annotated[int | UnsetType | None, READINGS] = UNSET  # …and while it worked
    rise_in_transfer_db: Annotated[int | UnsetType | None, READINGS] = UNSET  # of the whole band then, at least
