"""Advice that has been tried: a plan is suggested once every pot came through days as hot as any to come."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from waaler.bed.budget import Advice, Budget, cycle_s
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene
from waaler.rehearsal.staging import scene_of, with_plan_of
from waaler.settings.settings import BETWEEN, Settings, replanned

__all__ = ["BETWEEN", "MOST_CYCLES", "Suggested", "design", "suggested", "unhelped"]

DESIGN_DAYS = 3.0
MOST_CYCLES = 24
ENDLESS_L = 1e5
"""Of a header tank: what the pots get is judged here, not how long the sump lasts."""


@dataclass(frozen=True, slots=True)
class Suggested:
    """cycles of so many seconds each day, evenly over the hours of BETWEEN. found: what came of it, tried."""

    cycles: int
    seconds: float
    found: Findings


def design(settings: Settings, found: Budget) -> Scene:
    """Three days on each of which every pot drinks what it does on its own thirstiest; the sump stays full."""
    hot: date = found.hottest.day
    start = datetime.combine(hot, time(), ZoneInfo(settings.plan.place.timezone)).astimezone(UTC)
    scene = scene_of(settings, start, DESIGN_DAYS)
    sky = replace(scene.skies[0], drinks_l=found.most_l)
    return replace(scene, skies=(sky,), feed=replace(scene.feed, tank_l=ENDLESS_L, tank_ec=scene.feed.ec))


def suggested(settings: Settings, scene: Scene, found: Budget, told: Advice) -> Suggested | None:
    """The fewest cycles, from those that the arithmetic asks for, that leave no pot dry; None where none do."""
    for cycles in range(told.cycles, MOST_CYCLES + 1):
        seconds = cycle_s(settings.figures, found.most_l, cycles)
        other = replanned(settings, cycles, seconds)
        if seconds > other.limits.longest_run_s:
            continue
        came = Play(with_plan_of(scene, other)).run()
        if not unhelped(came.pots_dry_h, came):
            return Suggested(cycles, seconds, came)
    return None


def unhelped(hours: Sequence[float], found: Findings) -> list[int]:
    """The pots, from 0, that have any such hours though their outlets give; a dry outlet is for `size` to tell."""
    pots = zip(hours, found.pots, strict=True)
    return [n for n, (one_h, pot) in enumerate(pots) if one_h > 0 and pot.flow_l_per_min > 0]
