"""When the sun's events fall on a day at a place."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
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
MORNING = {SunEvent.DAWN, SunEvent.SUNRISE}
QUARTER = timedelta(hours=6)
DAY = timedelta(days=1)
FAR_FROM_MIDNIGHT = time(3)
MINUTES_PER_DEGREE = 4  # the earth turns 360 degrees in 1440 minutes


@lru_cache(maxsize=4096)
def sun_event(place: Place, event: SunEvent, day: date) -> datetime | None:
    """The event of this day, aware (UTC), to the whole minute; None where it does not occur.

    Morning events precede the day's solar noon and evening ones follow it, so that near midsummer in the far
    north a day's sunset may lie after midnight. Sunrise and sunset: the sun's centre at -0.833 degrees, sea-level
    horizon; dawn and dusk civil, -6 degrees.
    Source: astral (after NOAA's equations), checked against NREL's solar position algorithm in the tests.
    """
    noon = _solar_noon(place, day)
    middle = noon - QUARTER if event in MORNING else noon + QUARTER
    found = _nearest(place, event, middle)
    return None if found is None else (found + timedelta(seconds=30)).replace(second=0, microsecond=0)


def _solar_noon(place: Place, day: date) -> datetime:
    """Mean solar noon of the solar day in which the local day's noon lies, aware (UTC)."""
    behind = timedelta(minutes=MINUTES_PER_DEGREE * place.longitude_deg)
    noon = datetime.combine(day, time(12), tzinfo=ZoneInfo(place.timezone)).astimezone(UTC)
    return datetime.combine((noon + behind).date(), time(12), tzinfo=UTC) - behind


def _nearest(place: Place, event: SunEvent, middle: datetime) -> datetime | None:
    """The event in the half day around `middle`.

    Only the days that this half day touches are asked, the likely one first: each question costs a millisecond
    on a small board; one soon after midnight of UTC may be what astral gives to the day before, too.
    Where an event wanders over midnight of UTC, astral leaves one day out: it lay midway between its neighbours.
    """
    likely = _asked(place, event, middle.date())
    if likely is not None and abs(likely - middle) <= QUARTER and likely.time() >= FAR_FROM_MIDNIGHT:
        return likely
    for day in sorted({(middle - QUARTER).date(), (middle + QUARTER).date()}):
        found = _asked(place, event, day)
        if found is not None and abs(found - middle) <= QUARTER:
            return found
    days = (middle.date() + n * DAY for n in (-2, -1, 0, 1, 2))
    near = [found for found in (_asked(place, event, day) for day in days) if found is not None]
    before = [found for found in near if middle - QUARTER - DAY <= found < middle]
    after = [found for found in near if middle < found <= middle + QUARTER + DAY]
    return before[-1] + (after[0] - before[-1]) / 2 if before and after else None


def _asked(place: Place, event: SunEvent, day: date) -> datetime | None:
    try:
        return FUNCTIONS[event](Observer(place.latitude_deg, place.longitude_deg), date=day, tzinfo=UTC)
    except ValueError:  # the sun does not reach that altitude, or the event passes this midnight
        return None
