"""The weather of a rehearsal: for each day what each pot drinks, by the hour, and how warm and light it is."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from math import ceil

from waaler.bed.demand import Site, drinks_l
from waaler.bed.evaporation import (
    daylight_h,
    extraterrestrial_mj_per_m2,
    radiation_of_temperature,
)  # fmt: skip
from waaler.bed.figures import Figures
from waaler.bed.weather import DayWeather
from waaler.model.sky import Sky, air_by_hour, shares_of_daylight

__all__ = ["skies"]

USUAL_HEAT_SHARE = 0.04
"""More drink of a pot for each degree of heat where no crop is written. Common practice, no source."""


def skies(
    site: Site,
    figures: Figures,
    first: date,
    days: float,
    weather: Callable[[date], DayWeather],
    heat_c: float = 0.0,
    noon_h: float = 13.0,
) -> tuple[Sky, ...]:
    """heat_c: added to every temperature, for a heat wave; the crops drink by it. noon_h: the sun's, by the local
    clock.
    """
    return tuple(
        _sky(site, figures, first + timedelta(days=n), weather, heat_c, noon_h) for n in range(max(1, ceil(days)))
    )


def _sky(
    site: Site, figures: Figures, day: date, weather: Callable[[date], DayWeather], heat_c: float, noon_h: float
) -> Sky:
    usual, number = weather(day), day.timetuple().tm_yday
    warm = replace(usual, t_max_c=usual.t_max_c + heat_c, t_min_c=usual.t_min_c + heat_c)
    hotter = max(0.0, 1 + USUAL_HEAT_SHARE * heat_c)
    each_l = zip(figures.pots, drinks_l(site, figures.pots, day, warm), strict=True)
    light = usual.radiation_mj_per_m2
    if light is None:
        above = extraterrestrial_mj_per_m2(site.latitude_deg, number)
        light = radiation_of_temperature(usual.t_max_c, usual.t_min_c, above)
    return Sky(
        drinks_l=tuple(litres * hotter if pot.crop is None else litres for pot, litres in each_l),
        evaporates_l=figures.evaporates_l_per_day,
        light_mj_per_m2=site.shelter.transmission * light,
        shares=_shares(site, usual, number, noon_h),
        air_c=_air_c(usual, warm, heat_c),
    )


def _shares(site: Site, usual: DayWeather, day_of_year: int, noon_h: float) -> tuple[float, ...]:
    """By the measured sun where there are hours of it."""
    whole = sum(usual.hours_mj_per_m2)
    if whole > 0:
        return tuple(one / whole for one in usual.hours_mj_per_m2)
    half_h = daylight_h(site.latitude_deg, day_of_year) / 2
    return shares_of_daylight(round(noon_h - half_h, 2), round(noon_h + half_h, 2))


def _air_c(usual: DayWeather, warm: DayWeather, heat_c: float) -> tuple[float, ...]:
    if usual.hours_c:
        return tuple(one + heat_c for one in usual.hours_c)
    return air_by_hour(warm.t_mean_c, (warm.t_max_c - warm.t_min_c) / 2)
