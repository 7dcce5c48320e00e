"""The budget of a bed as its file describes it: one way to ask for it, whoever does."""

from datetime import date, datetime, time
from functools import partial
from zoneinfo import ZoneInfo

from waaler.bed.budget import Budget, budget
from waaler.bed.evaporation import Reference, reference_mm
from waaler.plan.timetable import lengths_of_day
from waaler.settings.settings import Settings

__all__ = ["budget_of"]


def budget_of(settings: Settings, first: date, days: int) -> Budget:
    """From a full sump on the first morning."""
    place = settings.file.place
    elevation_m = 100.0 if settings.file.weather is None else settings.file.weather.elevation

    def reference(day: date) -> Reference:
        return reference_mm(settings.weather.on(day), place.latitude, elevation_m, day.timetuple().tm_yday)

    begin = datetime.combine(first, time(), ZoneInfo(place.timezone))
    return budget(settings.book, begin, days, reference, partial(lengths_of_day, settings.plan))
