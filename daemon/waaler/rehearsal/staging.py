"""From a bed's file to the scene of its rehearsal: bed, plan, weather, probes."""

from dataclasses import replace
from datetime import datetime
from math import inf
from pathlib import Path
from zoneinfo import ZoneInfo

from waaler.bed.thirst import noon_h
from waaler.model.bed import Feed
from waaler.model.faults import Fault
from waaler.model.sky import Sky
from waaler.rehearsal.scene import Scene
from waaler.rehearsal.skies import skies
from waaler.settings.build_layout import sump_shape
from waaler.settings.build_site import site, weather
from waaler.settings.settings import Settings

__all__ = ["scene_of", "with_plan_of"]


def scene_of(
    settings: Settings,
    start: datetime,
    days: float,
    seed: int = 1,
    faults: tuple[Fault, ...] = (),
    heat_c: float = 0.0,
    refill_after_s: float = inf,
) -> Scene:
    """heat_c: degrees on every day. start: aware. Raises SettingsError for a weather table that cannot be read."""
    feed, tank = settings.file.feed, settings.book.tank
    return Scene(
        plan=settings.plan,
        sensing=settings.sensing,
        limits=settings.limits,
        figures=settings.figures,
        start=start,
        days=days,
        seed=seed,
        faults=faults,
        skies=_skies(settings, start, days, heat_c),
        refill_after_s=refill_after_s,
        layout=settings.layout,
        sump=sump_shape(settings.file.layout),
        feed=Feed(
            feed.ec,
            feed.water,
            feed.uptake / 100,
            0.0 if tank is None else tank.litres,
            0.0 if tank is None else tank.ec,
        ),
        probes=settings.wiring.probes,
        thirst=settings.thirst,
        care=settings.care,
    )


def with_plan_of(scene: Scene, other: Settings) -> Scene:
    """The same bed under the same sky with another plan."""
    return replace(
        scene, plan=other.plan, sensing=other.sensing, limits=other.limits, thirst=other.thirst, care=other.care
    )


def _skies(settings: Settings, start: datetime, days: float, heat_c: float) -> tuple[Sky, ...]:
    place = settings.plan.place
    local = start.astimezone(ZoneInfo(place.timezone))
    offset = local.utcoffset()
    assert offset is not None
    sky = weather(settings.file, Path(settings.source.name).parent).on
    noon = noon_h(place.longitude_deg, offset.total_seconds() / 3600)
    return skies(site(settings.file), settings.figures, local.date(), days, sky, heat_c, noon)
