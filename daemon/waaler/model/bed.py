"""The simulated bed of equal pots: where its water is, and where it goes.

One flow: the pump fills the line, then every outlet gives the same. Media hold water up to their container
capacity; the rest drains straight through into the tray, and the tray through its drain into the sump.
No water is made or lost: what leaves the bed is counted as drunk or spilled.
"""

from dataclasses import dataclass
from math import exp, pi, sin

from waaler.bed.figures import Figures

__all__ = ["Water", "advance", "capacity_l", "daylight_share", "full_bed", "has_settled", "total_l"]

DRAIN_TAIL_S = 90.0
"""The last of a tray runs off as a share of what is left: time constant. Common practice, no source."""

LONGEST_WET_STEP_S = 2.0
LONGEST_DRY_STEP_S = 600.0
DRY_TRAY_L = 0.02
DAWN_H, DUSK_H = 6.0, 20.0


@dataclass(frozen=True, slots=True)
class Water:
    """Litres, by place. media_l: in all pots together. lifted_l: what the pump moved since the beginning."""

    sump_l: float
    media_l: float
    tray_l: float = 0.0
    line_l: float = 0.0
    drunk_l: float = 0.0
    spilled_l: float = 0.0
    lifted_l: float = 0.0


def full_bed(figures: Figures) -> Water:
    """A bed after its soak and a refill: media at container capacity, sump at the full mark."""
    return Water(sump_l=figures.sump_full_l, media_l=capacity_l(figures))


def capacity_l(figures: Figures) -> float:
    """What the media of all pots hold once drained, litres."""
    return figures.pots * figures.media_l_per_pot * figures.capacity_fraction


def total_l(water: Water) -> float:
    """All water that is or was in the bed, litres; only a refill changes it."""
    return water.sump_l + water.media_l + water.tray_l + water.line_l + water.drunk_l + water.spilled_l


def has_settled(water: Water) -> bool:
    """Whether nothing moves but what plants drink."""
    return water.tray_l < DRY_TRAY_L and water.line_l == 0.0


def daylight_share(hour: float) -> float:
    """Share of a day's drink per hour at this local hour (0 to 24): a half sine from 6 to 20 h.

    Its integral over the day is 1. Source: common practice, no source.
    """
    if not DAWN_H < hour < DUSK_H:
        return 0.0
    length_h = DUSK_H - DAWN_H
    return pi / (2 * length_h) * sin(pi * (hour - DAWN_H) / length_h)


def advance(
    water: Water, figures: Figures, seconds: float, is_on: bool, hour: float, drain_open: float = 1.0
) -> Water:
    """The water after `seconds` with the pump on or off, from the local hour `hour` on.

    drain_open: share of the drain that is free; 0 is blocked.
    """
    left_s = seconds
    while left_s > 1e-9:
        is_quick = is_on or not has_settled(water)
        step_s = min(left_s, LONGEST_WET_STEP_S if is_quick else LONGEST_DRY_STEP_S)
        water = _step(water, figures, step_s, is_on, hour, drain_open)
        hour = (hour + step_s / 3600) % 24
        left_s -= step_s
    return water


def _step(water: Water, figures: Figures, seconds: float, is_on: bool, hour: float, drain_open: float) -> Water:
    minutes = seconds / 60
    lifted_l = (
        min(figures.pump_l_per_min * minutes, max(0.0, water.sump_l - figures.sump_empty_l)) if is_on else 0.0
    )
    line_l = min(water.line_l + lifted_l, figures.line_l)
    given_l = water.line_l + lifted_l - line_l
    back_l = 0.0
    if not is_on:
        line_l, back_l = 0.0, line_l
    media_l = water.media_l + given_l
    through_l = max(0.0, media_l - capacity_l(figures))
    media_l -= through_l
    drink_l = min(_drink_l(figures, media_l, minutes, hour), media_l)
    tray_l = water.tray_l + through_l
    spilled_l = max(0.0, tray_l - figures.tray_rim_l)
    tray_l -= spilled_l
    drained_l = drain_open * min(figures.drain_l_per_min * minutes, tray_l * (1 - exp(-seconds / DRAIN_TAIL_S)))
    return Water(
        sump_l=water.sump_l - lifted_l + back_l + drained_l,
        media_l=media_l - drink_l,
        tray_l=tray_l - drained_l,
        line_l=line_l,
        drunk_l=water.drunk_l + drink_l,
        spilled_l=water.spilled_l + spilled_l,
        lifted_l=water.lifted_l + lifted_l,
    )


def _drink_l(figures: Figures, media_l: float, minutes: float, hour: float) -> float:
    """What all plants take up; below the wilting point they take up less, in step with what is left."""
    wilting_l = figures.pots * figures.media_l_per_pot * figures.wilting_fraction
    ease = 1.0 if media_l >= wilting_l else media_l / wilting_l
    per_h_l = figures.pots * figures.drink_l_per_pot_day * daylight_share(hour)
    return ease * per_h_l * minutes / 60
