"""The budget of a bed as its file describes it: one way to ask for it, whoever does."""

from datetime import date, datetime, time, timedelta
from functools import partial
from math import inf
from zoneinfo import ZoneInfo

from waaler.bed.budget import DRAIN_SHARE, Budget, budget
from waaler.bed.evaporation import Reference, reference_mm
from waaler.plan.timetable import lengths_of_day
from waaler.settings.settings import Settings

__all__ = ["budget_of", "wants_l_per_min"]

DAYS_OF_YEAR = 365


def budget_of(settings: Settings, first: date, days: int) -> Budget:
    """From a full sump on the first morning."""
    place = settings.file.place
    elevation_m = 100.0 if settings.file.weather is None else settings.file.weather.elevation

    def reference(day: date) -> Reference:
        return reference_mm(settings.weather.on(day), place.latitude, elevation_m, day.timetuple().tm_yday)

    begin = datetime.combine(first, time(), ZoneInfo(place.timezone))
    return budget(settings.book, begin, days, reference, partial(lengths_of_day, settings.plan))


def wants_l_per_min(settings: Settings, today: date) -> tuple[float, ...]:
    """What each pot must get while the pump runs, so that the plan as it is gives it all that it drinks, and what
    should drain besides, on every day of the year from today.
    """
    drinks_l, figures = settings.book.drinks_l, settings.figures
    assert drinks_l is not None
    wants = [0.0] * len(figures.pots)
    for day in (today + timedelta(days=n) for n in range(DAYS_OF_YEAR)):
        minutes = sum(max(0.0, s - figures.fill_s) for s in lengths_of_day(settings.plan, day)) / 60
        for n, drink_l in enumerate(drinks_l(day)):
            given_l = drink_l / (1 - DRAIN_SHARE)
            wants[n] = max(wants[n], given_l / minutes if minutes > 0 else inf if given_l > 0 else 0.0)
    return tuple(wants)
