"""What plants take up by crops and weather: the thirstiest pot by the hour, every pot by the day."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from math import cos, pi

from waaler.bed.demand import Site, drinks_l
from waaler.bed.evaporation import daylight_h
from waaler.bed.figures import Figures
from waaler.bed.weather import Weather

__all__ = ["Drinks", "Thirst", "noon_h"]


@dataclass(frozen=True, eq=False)
class Thirst:
    """longitude_deg: east is positive, for the hour of the sun's noon."""

    site: Site
    figures: Figures
    weather: Weather
    longitude_deg: float

    def litres(self, since: datetime, until: datetime, measured_c: tuple[float, float] | None = None) -> float:
        """Of one pot between two local times of one day; a half sine from sunrise to sunset.

        measured_c: lowest and highest temperature of the last day, in place of the weather's.
        """
        day = since.date()
        half_h = daylight_h(self.site.latitude_deg, day.timetuple().tm_yday) / 2
        offset = since.utcoffset()
        noon = noon_h(self.longitude_deg, 0.0 if offset is None else offset.total_seconds() / 3600)

        def passed(at: datetime) -> float:
            hour = at.hour + at.minute / 60 + at.second / 3600 + 24 * (at.date() - day).days
            part = min(1.0, max(0.0, (hour - noon + half_h) / (2 * half_h))) if half_h > 0 else 0.0
            return (1 - cos(pi * part)) / 2

        share = max(0.0, passed(until) - passed(since))
        return share * self.day_l(day, measured_c) if share > 0 else 0.0

    def day_l(self, day: date, measured_c: tuple[float, float] | None = None) -> float:
        """Of one pot in a whole day."""
        return max(_measured_l(self, day, measured_c))


@dataclass(frozen=True, eq=False)
class Drinks:
    """What the plants of each pot take on a day, litres."""

    site: Site
    figures: Figures
    weather: Weather

    def __call__(self, day: date) -> tuple[float, ...]:
        return _of_day_l(self, day)


@lru_cache(maxsize=800)
def _of_day_l(drinks: Drinks, day: date) -> tuple[float, ...]:
    return drinks_l(drinks.site, drinks.figures.pots, day, drinks.weather.on(day))


def noon_h(longitude_deg: float, utc_offset_h: float) -> float:
    """The hour of the sun's noon by the clock, within a quarter of an hour of the equation of time."""
    return 12.0 - longitude_deg / 15 + utc_offset_h


@lru_cache(maxsize=8)
def _measured_l(thirst: Thirst, day: date, measured_c: tuple[float, float] | None) -> tuple[float, ...]:
    usual = thirst.weather.on(day)
    if measured_c is not None:
        usual = replace(usual, t_min_c=measured_c[0], t_max_c=measured_c[1])
    return drinks_l(thirst.site, thirst.figures.pots, day, usual)
