"""When the sun's events fall on a day at a place."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import dawn, dusk, sunrise, sunset

from waaler.plan.types import Place, SunEvent

__all__ = ["sun_event"]

FUNCTIONS: dict[SunEvent, Callable[..., datetime]] = {
    SunEvent.DAWN: dawn,
    SunEvent.SUNRISE: sunrise,
    SunEvent.SUNSET: sunset,
    SunEvent.DUSK: dusk,
}


@lru_cache(maxsize=4096)
def sun_event(place: Place, event: SunEvent, day: date) -> datetime | None:
    """The event on this local day, aware (UTC), to the whole minute; None where it does not occur.

    Sunrise and sunset: the sun's centre at -0.833 degrees, sea-level horizon; dawn and dusk civil, -6 degrees.
    Source: astral (after NOAA's equations), checked against NREL's solar position algorithm in the tests.
    """
    zone = ZoneInfo(place.timezone)
    observer = Observer(place.latitude_deg, place.longitude_deg)
    # near midsummer in the far north the sun may set after midnight: ask the neighbouring UTC days as well
    for offset in (0, -1, 1):
        found = _asked(observer, event, day + timedelta(days=offset))
        if found is not None and found.astimezone(zone).date() == day:
            return (found + timedelta(seconds=30)).replace(second=0, microsecond=0)
    return None


def _asked(observer: Observer, event: SunEvent, day: date) -> datetime | None:
    try:
        return FUNCTIONS[event](observer, date=day, tzinfo=UTC)
    except ValueError:  # the sun does not reach that altitude
        return None
