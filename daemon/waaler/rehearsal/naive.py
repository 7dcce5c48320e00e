"""A small timetable for the judge, written anew from the file's words: which instants does this plan mean?

It imports nothing that plans. Windows that wait for a sensor are left out: they promise no instant.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from math import acos, cos, degrees, pi, radians, sin, tan
from zoneinfo import ZoneInfo

__all__ = ["Moment", "Planned", "Timetable", "Window"]

DAY = timedelta(days=1)
CLOCK_TOLERANCE_S, SUN_TOLERANCE_S = 1.0, 240.0
"""The formula for the sun below is good to a minute or two, on every moment of a window."""

SUNRISE_DEG = 90.833

GAP_SHARE = 1.5
"""Of a window's own longest gap, where the file names none. Source: the table of the plan's words."""


@dataclass(frozen=True, slots=True)
class Moment:
    """minute: after midnight, or after the sun's event where one is named (`sunrise`, `sunset`)."""

    minute: int
    event: str = ""


@dataclass(frozen=True, slots=True)
class Window:
    """moments: of the starts; or opening and closing, with a count or with minutes between the starts."""

    name: str
    moments: tuple[Moment, ...]
    count: int = 0
    every_min: int = 0
    weekdays: frozenset[int] = frozenset()
    starts: date | None = None
    ends: date | None = None


@dataclass(frozen=True, slots=True, order=True)
class Planned:
    """at_s: wall time. tolerance_s: how well it is known."""

    at_s: float
    window: str
    tolerance_s: float


@dataclass(frozen=True, slots=True)
class Timetable:
    """longest_gap_s: as the file says, None where it says nothing."""

    zone: str
    latitude_deg: float
    longitude_deg: float
    windows: tuple[Window, ...]
    longest_gap_s: float | None = None

    def between(self, since_s: float, until_s: float) -> list[Planned]:
        """What is planned after since_s, up to until_s."""
        zone = ZoneInfo(self.zone)
        day = datetime.fromtimestamp(since_s, zone).date() - DAY
        last = datetime.fromtimestamp(until_s, zone).date() + DAY
        found: set[Planned] = set()
        while day <= last:
            for window in self.windows:
                found |= {p for p in self._of_day(window, day) if since_s < p.at_s <= until_s}
            day += DAY
        return sorted(found)

    def gap_s(self, wall_s: float) -> float:
        """How long the bed may wait on this day; of windows that wait for no sensor, so perhaps a little less."""
        if self.longest_gap_s is not None:
            return self.longest_gap_s
        day = datetime.fromtimestamp(wall_s, ZoneInfo(self.zone)).date()
        days = [sorted(p.at_s - p.tolerance_s for p in self._of_day(window, day)) for window in self.windows]
        return GAP_SHARE * max((b - a for times in days for a, b in pairwise(times)), default=0.0)

    def _of_day(self, window: Window, day: date) -> list[Planned]:
        if window.weekdays and day.weekday() not in window.weekdays:
            return []
        if (window.starts and day < window.starts) or (window.ends and day > window.ends):
            return []
        tolerance_s = SUN_TOLERANCE_S if any(m.event for m in window.moments) else CLOCK_TOLERANCE_S
        times = [self._instant_s(moment, day) for moment in window.moments]
        if window.count or window.every_min:
            first, last = times
            if last < first:
                last = self._instant_s(window.moments[1], day + DAY)
            times = _spread(window, first, last)
        return [Planned(float(round(at_s)), window.name, tolerance_s) for at_s in times]

    def _instant_s(self, moment: Moment, day: date) -> float:
        if moment.event:
            return self._sun_s(moment.event, day) + 60 * moment.minute
        wall = datetime(day.year, day.month, day.day, moment.minute // 60, moment.minute % 60)
        return wall.replace(tzinfo=ZoneInfo(self.zone)).timestamp()

    def _sun_s(self, event: str, day: date) -> float:
        """Source: NOAA, General Solar Position Calculations."""
        year = 2 * pi / 365 * (day.timetuple().tm_yday - 1)
        minutes = 229.18 * (
            0.000075
            + 0.001868 * cos(year)
            - 0.032077 * sin(year)
            - 0.014615 * cos(2 * year)
            - 0.040849 * sin(2 * year)
        )  # fmt: skip
        sun = (
            0.006918 - 0.399912 * cos(year) + 0.070257 * sin(year) - 0.006758 * cos(2 * year)
            + 0.000907 * sin(2 * year) - 0.002697 * cos(3 * year) + 0.00148 * sin(3 * year)
        )  # fmt: skip
        here = radians(self.latitude_deg)
        half = degrees(acos(cos(radians(SUNRISE_DEG)) / (cos(here) * cos(sun)) - tan(here) * tan(sun)))
        side = 1 if event == "sunrise" else -1
        noon = 720 - 4 * self.longitude_deg - minutes
        midnight = datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()
        return midnight + 60 * (noon - side * 4 * half)


def _spread(window: Window, first_s: float, last_s: float) -> list[float]:
    if window.count == 1:
        return [first_s]
    if window.count:
        return [first_s + (last_s - first_s) * n / (window.count - 1) for n in range(window.count)]
    every_s = 60.0 * window.every_min
    return [first_s + every_s * n for n in range(int((last_s - first_s) / every_s) + 1)]
