"""The weather of a rehearsal: for each day what a pot drinks, and how warm the air is."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from math import ceil

from waaler.bed.budget import Site, drink_l
from waaler.bed.evaporation import reference_mm
from waaler.bed.figures import Figures
from waaler.bed.weather import DayWeather
from waaler.model.world import Sky

__all__ = ["skies"]

USUAL_HEAT_SHARE = 0.04
"""More drink for each degree of heat where no crops are written. Common practice, no source."""


def skies(
    site: Site, figures: Figures, first: date, days: float, weather: Callable[[date], DayWeather], heat_c: float
) -> tuple[Sky, ...]:
    """heat_c: added to every temperature, for a heat wave; the crops drink by it."""
    return tuple(_sky(site, figures, first + timedelta(days=n), weather, heat_c) for n in range(max(1, ceil(days))))


def _sky(site: Site, figures: Figures, day: date, weather: Callable[[date], DayWeather], heat_c: float) -> Sky:
    usual = weather(day)
    warm = replace(usual, t_max_c=usual.t_max_c + heat_c, t_min_c=usual.t_min_c + heat_c)
    reference = reference_mm(warm, site.latitude_deg, site.elevation_m, day.timetuple().tm_yday)
    litres = drink_l(site, figures, day, reference.mm)
    if not site.crops:
        litres *= max(0.0, 1 + USUAL_HEAT_SHARE * heat_c)
    return Sky(litres / figures.pots, warm.t_mean_c, (warm.t_max_c - warm.t_min_c) / 2)
