"""The simulated bed: where its water is, pot by pot, and where it goes.

The pump fills the line, then every outlet gives what the network says. Media hold water up to their container
capacity; the rest drips through into the tray, and the tray drains into the sump by Torricelli's law. No water is
made or lost: what leaves the bed is counted as drunk, evaporated or spilled. Between the instants at which
something begins or ends all of it is computed in one step, however long.
"""

from dataclasses import dataclass
from functools import cached_property
from math import exp, inf, sqrt

from waaler.bed.draining import litres_after
from waaler.bed.figures import Figures
from waaler.bed.sump import DRIP_MIN
from waaler.model.outlets import Outlets
from waaler.model.sky import Sky

__all__ = ["Bed", "Feed", "Water", "advance", "full_bed", "has_settled", "in_bed_l", "longest_step_s", "total_l"]

DRIP_S = 60 * DRIP_MIN

DROP_L = 5e-3
LINE_BACK_S = 50.0
"""A full line has run back after this time. Common practice, no source."""

LEAST_TAKEN = 0.5
"""Of the water that a bone-dry pot is given, the share that it keeps: dry media let it run past. It grows to all of
it at the wilting mark. Common practice, no source."""

VALVE_L_PER_MIN = 5.0
"""Of a half-inch float valve under a metre or two of water. Common practice, no source."""

LONGEST_WET_S = 60.0
LONGEST_TAIL_S = 120.0
LEAST_STEP_S = 0.01


@dataclass(frozen=True, slots=True)
class Feed:
    """ec, water_ec: of the fresh solution and of plain water, mS/cm at 25 C. uptake: what plants take of the salts,
    against what is there. tank_l, tank_ec: a header tank whose float valve keeps the sump full; 0 without one.
    """

    ec: float = 2.0
    water_ec: float = 0.3
    uptake: float = 0.7
    tank_l: float = 0.0
    tank_ec: float = 0.0


@dataclass(frozen=True)
class Bed:
    """What a simulated bed is. Volumes in litres, pot by pot."""

    figures: Figures
    outlets: Outlets
    feed: Feed = Feed()

    @cached_property
    def pots_l(self) -> tuple[float, ...]:
        """What the media of each pot hold once drained."""
        return tuple(pot.capacity_l for pot in self.figures.pots)

    @cached_property
    def eases_l(self) -> tuple[float, ...]:
        """In each pot: below it plants wilt, and take up less in step with what is left."""
        return tuple(pot.wilting_l for pot in self.figures.pots)

    @cached_property
    def drain(self) -> float:
        """Litres a minute by the square root of the litres in the tray."""
        return self.figures.drain_l_per_min / sqrt(self.figures.tray_rim_l)


@dataclass(frozen=True, slots=True)
class Water:
    """Litres, by place; media_l: pot by pot. dripping_l: above what the media hold, on its way to the tray.

    lifted_l: what the pump moved since the beginning. salts: EC times litres, of all the water in the bed; it is
    taken as well mixed.
    """

    sump_l: float
    media_l: tuple[float, ...]
    dripping_l: float = 0.0
    tray_l: float = 0.0
    line_l: float = 0.0
    drunk_l: float = 0.0
    evaporated_l: float = 0.0
    spilled_l: float = 0.0
    lifted_l: float = 0.0
    salts: float = 0.0
    tank_l: float = 0.0

    @property
    def ec(self) -> float:
        """mS/cm at 25 C."""
        litres = in_bed_l(self)
        return self.salts / litres if litres > 0 else 0.0


def full_bed(bed: Bed) -> Water:
    """A bed after its soak and a refill: media at container capacity, sump at the full mark, solution fresh."""
    sump_l, media_l = bed.figures.sump_full_l, bed.pots_l
    return Water(sump_l, media_l, salts=bed.feed.ec * (sump_l + sum(media_l)), tank_l=bed.feed.tank_l)


def in_bed_l(water: Water) -> float:
    """All water that is in the bed."""
    return water.sump_l + sum(water.media_l) + water.dripping_l + water.tray_l + water.line_l


def total_l(water: Water) -> float:
    """All water that is or was in the bed; only a refill changes it."""
    return in_bed_l(water) + water.tank_l + water.drunk_l + water.evaporated_l + water.spilled_l


def has_settled(water: Water, drain_open: float = 1.0) -> bool:
    """Whether nothing moves but what plants drink; behind a blocked drain the tray's water stands still."""
    return water.line_l == 0.0 and water.dripping_l == 0.0 and (water.tray_l == 0.0 or drain_open == 0.0)


def longest_step_s(bed: Bed, water: Water, flow_l_per_min: float, drain_open: float = 1.0) -> float:
    """How long the next step may be at most; inf where nothing moves. flow_l_per_min: 0 with the pump off."""
    if flow_l_per_min > 0:
        fills_s = 60 * (bed.figures.line_l - water.line_l) / flow_l_per_min
        return LONGEST_WET_S if fills_s < LEAST_STEP_S else min(LONGEST_WET_S, fills_s)
    if water.line_l > 0:
        return max(LEAST_STEP_S, LINE_BACK_S * water.line_l / bed.figures.line_l)
    return inf if has_settled(water, drain_open) else LONGEST_TAIL_S


def advance(
    bed: Bed,
    water: Water,
    seconds: float,
    is_on: bool,
    sky: Sky,
    hour: float,
    drain_open: float = 1.0,
    outlets_l_per_min: tuple[float, ...] | None = None,
) -> Water:
    """The water after `seconds` with the pump on or off, from the local hour `hour` on.

    drain_open: share of the drain that is free; 0 is blocked. outlets_l_per_min: instead of what the network says.
    """
    left_s = seconds
    while left_s > 1e-9:
        flows: tuple[float, ...] = ()
        if is_on:
            flows = outlets_l_per_min or bed.outlets.at(water.sump_l)
        step_s = min(left_s, longest_step_s(bed, water, sum(flows), drain_open))
        water = _step(bed, water, step_s, flows, sky, sky.share(hour, step_s), drain_open)
        hour = (hour + step_s / 3600) % 24
        left_s -= step_s
    return water


def _step(
    bed: Bed, water: Water, seconds: float, flows: tuple[float, ...], sky: Sky, share: float, drain_open: float
) -> Water:
    lifted_l, line_l, given_l, back_l = _pumped(bed, water, seconds, flows)
    media_l, through_l, drunk_l = _through_media(bed, water.media_l, flows, given_l, sky.drinks_l, share)
    dripping_l, dripped_l = _dripped(water.dripping_l, through_l, seconds)
    tray_l, drained_l, spilled_l = _drained(bed, water.tray_l, dripped_l, seconds, drain_open)
    sump_l = water.sump_l - lifted_l + back_l + drained_l
    evaporated_l = min(sky.evaporates_l * share, sump_l)
    added_l = _through_valve(bed, water.tank_l, sump_l - evaporated_l, seconds)
    return Water(
        sump_l=sump_l - evaporated_l + added_l,
        media_l=media_l,
        dripping_l=dripping_l,
        tray_l=tray_l,
        line_l=line_l,
        drunk_l=water.drunk_l + drunk_l,
        evaporated_l=water.evaporated_l + evaporated_l,
        spilled_l=water.spilled_l + spilled_l,
        lifted_l=water.lifted_l + lifted_l,
        salts=water.salts - water.ec * (bed.feed.uptake * drunk_l + spilled_l) + bed.feed.tank_ec * added_l,
        tank_l=water.tank_l - added_l,
    )


def _through_valve(bed: Bed, tank_l: float, sump_l: float, seconds: float) -> float:
    """What the header tank's float valve lets into a sump below its full mark."""
    if tank_l <= 0:
        return 0.0
    return min(tank_l, max(0.0, bed.figures.sump_full_l - sump_l), VALVE_L_PER_MIN * seconds / 60)


def _pumped(bed: Bed, water: Water, seconds: float, flows: tuple[float, ...]) -> tuple[float, float, float, float]:
    """Lifted, in the line afterwards, given to the pots, and run back through the pump."""
    if not flows:
        back_l = min(water.line_l, bed.figures.line_l * seconds / LINE_BACK_S)
        return 0.0, water.line_l - back_l, 0.0, back_l
    lifted_l = min(sum(flows) * seconds / 60, max(0.0, water.sump_l - bed.figures.sump_empty_l))
    line_l = min(water.line_l + lifted_l, bed.figures.line_l)
    return lifted_l, line_l, water.line_l + lifted_l - line_l, 0.0


def _through_media(
    bed: Bed,
    media_l: tuple[float, ...],
    flows: tuple[float, ...],
    given_l: float,
    drinks_l: tuple[float, ...],
    share: float,
) -> tuple[tuple[float, ...], float, float]:
    """The pots afterwards, what passed through them, and what their plants drank."""
    if given_l <= 0:
        if share == 0:
            return media_l, 0.0, 0.0
        after_l = tuple(
            [
                m - d * share if m - d * share >= ease_l else _strained_l(m, d * share, ease_l)
                for m, d, ease_l in zip(media_l, drinks_l, bed.eases_l, strict=True)
            ]
        )
        return after_l, 0.0, sum(media_l) - sum(after_l)
    scale = given_l / sum(flows)
    pots, through_l, drunk_l = [], 0.0, 0.0
    each = zip(media_l, flows, drinks_l, bed.pots_l, bed.eases_l, strict=True)
    for litres, flow, drink_l, pot_l, ease_l in each:
        taken_l = min(flow * scale * _taken(litres, ease_l), pot_l - litres)
        through_l += flow * scale - taken_l
        wet_l = litres + taken_l
        left_l = wet_l - drink_l * share
        if left_l < ease_l:
            left_l = _strained_l(wet_l, drink_l * share, ease_l)
        drunk_l += wet_l - left_l
        pots.append(left_l)
    return tuple(pots), through_l, drunk_l


def _taken(litres: float, ease_l: float) -> float:
    """Share of the water given that media of so many litres keep, as long as there is room."""
    return 1.0 if litres >= ease_l else LEAST_TAKEN + (1 - LEAST_TAKEN) * litres / ease_l


def _strained_l(litres: float, drink_l: float, ease_l: float) -> float:
    """What is left where plants end below the wilting mark: they take what they want down to it, then in proportion
    to what is left.

    Source: FAO Irrigation and Drainage Paper 56, (84), with the wilting mark as the threshold.
    """
    if litres <= ease_l:
        return litres * exp(-drink_l / ease_l)
    return ease_l * exp(-(drink_l - (litres - ease_l)) / ease_l)


def _dripped(dripping_l: float, through_l: float, seconds: float) -> tuple[float, float]:
    """Still dripping, and fallen into the tray, with a steady inflow from above; exact."""
    whole_l = dripping_l + through_l
    if whole_l == 0:
        return 0.0, 0.0
    share = exp(-seconds / DRIP_S)
    left_l = dripping_l * share + through_l * DRIP_S / seconds * (1 - share)
    return (0.0, whole_l) if left_l < DROP_L else (left_l, whole_l - left_l)


def _drained(
    bed: Bed, tray_l: float, inflow_l: float, seconds: float, drain_open: float
) -> tuple[float, float, float]:
    """In the tray afterwards, gone through the drain, and spilled over the rim."""
    if tray_l == 0 and inflow_l == 0:
        return 0.0, 0.0, 0.0
    minutes = seconds / 60
    after_l = litres_after(tray_l, inflow_l / minutes, minutes, drain_open * bed.drain)
    drained_l = tray_l + inflow_l - after_l
    spilled_l = max(0.0, after_l - bed.figures.tray_rim_l)
    return after_l - spilled_l, drained_l, spilled_l
