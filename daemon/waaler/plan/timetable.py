"""The cycles of a day: pure, cached, and the same for daemon, rehearsal and `timetable`.

Local times follow RFC 5545, 3.3.5: one that does not exist is read with the offset before the gap, one that
occurs twice means the first. A cycle belongs to the local day on which its window opens.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from waaler.plan.sun import sun_event
from waaler.plan.types import (
    AtTimes,
    ClockMoment,
    Cycle,
    CycleKey,
    Evenly,
    Every,
    Moment,
    Place,
    Plan,
    SunEvent,
    Window,
)  # fmt: skip

__all__ = [
    "LOOK_BACK_DAYS", "as_begun", "cycles_of_day", "day_seconds", "daytime_gap_s", "due", "hot_day_cycles",
    "is_open", "lengths_of_day", "longest_gap_s", "longest_skip_s", "moment_on", "upcoming",
]  # fmt: skip

LOOK_BACK_DAYS = 2
"""Cycles older than this are forgotten, however long nobody looked."""

LOOK_AHEAD_DAYS = 370
GAP_FACTOR = 1.5
"""A gap this much longer than the plan's own is too long. Common practice, no source."""

SKIP_FACTOR = 2.0
"""One cycle left out doubles the gap inside its window; no skip makes a longer one. Our own rule."""

DEFAULT_GAP_S = 86_400.0
"""With a single cycle a day there is no gap inside a window: a day."""

STAND_INS = {
    SunEvent.DAWN: ClockMoment(5 * 60),
    SunEvent.SUNRISE: ClockMoment(6 * 60),
    SunEvent.SUNSET: ClockMoment(20 * 60),
    SunEvent.DUSK: ClockMoment(21 * 60),
}
"""Where the sun's event does not occur and the window names no fallback. Common practice, no source."""

HOT_WINDOW = "hot day"
NOON = ClockMoment(12 * 60)
DAY = timedelta(days=1)


@lru_cache(maxsize=4096)
def cycles_of_day(plan: Plan, day: date) -> tuple[Cycle, ...]:
    """The cycles whose windows open on this local day, by start; fallbacks of on-demand windows included."""
    cycles = [cycle for window in plan.windows if _counts(window, day) for cycle in _cycles(plan, window, day)]
    return tuple(sorted(cycles, key=lambda cycle: (cycle.start, cycle.key)))


def due(plan: Plan, since: datetime, now: datetime) -> tuple[Cycle, ...]:
    """Cycles with since < start <= now, by start; none older than `LOOK_BACK_DAYS`."""
    since = max(since, now - LOOK_BACK_DAYS * DAY)
    found = (cycle for day in _days(plan.place, since, now) for cycle in cycles_of_day(plan, day))
    return tuple(sorted((cycle for cycle in found if since < cycle.start <= now), key=_start))


def upcoming(plan: Plan, after: datetime, count: int = 1) -> tuple[Cycle, ...]:
    """The next `count` cycles with start > after; fewer if there are none within about a year."""
    first = _days(plan.place, after, after)[0]
    zone = ZoneInfo(plan.place.timezone)
    found: list[Cycle] = []
    for day in (first + n * DAY for n in range(LOOK_AHEAD_DAYS)):
        found += [cycle for cycle in cycles_of_day(plan, day) if cycle.start > after]
        found.sort(key=_start)
        # the days that were not yet asked may begin half a day early: the order is final up to yesterday
        if len(found) >= count and found[count - 1].start.astimezone(zone).date() < day:
            break
    return tuple(found[:count])


def day_seconds(plan: Plan, day: date) -> float:
    """Pump seconds that the plan has for this day, fallbacks included."""
    return sum(lengths_of_day(plan, day))


def lengths_of_day(plan: Plan, day: date) -> list[float]:
    """The seconds of each cycle of this day, window by window; most need no sun for it, which costs time."""
    windows = (window for window in plan.windows if _counts(window, day))
    return [window.seconds for window in windows for _ in range(_count(plan.place, window, day))]


def daytime_gap_s(plan: Plan, day: date) -> float:
    """The longest time between two starts of one window on this day, seconds."""
    starts: dict[str, list[datetime]] = {}
    for cycle in cycles_of_day(plan, day):
        starts.setdefault(cycle.key.window, []).append(cycle.start)
    gaps = [(b - a).total_seconds() for times in starts.values() for a, b in pairwise(times)]
    return max(gaps, default=DEFAULT_GAP_S)


def longest_gap_s(plan: Plan, day: date) -> float:
    """How long the bed may go without a full run when one was due: as the file says, or 1.5 times its own gap."""
    return plan.longest_gap_s if plan.longest_gap_s is not None else GAP_FACTOR * daytime_gap_s(plan, day)


def longest_skip_s(plan: Plan, day: date) -> float:
    """How long the bed may wait for a full run because a sensor says wet: as the file says, else one cycle left out
    inside a window."""
    return plan.longest_gap_s if plan.longest_gap_s is not None else SKIP_FACTOR * daytime_gap_s(plan, day)


@lru_cache(maxsize=64)
def as_begun(plan: Plan, today: date) -> Plan:
    """The plan for a clock that may be behind: a season that has not begun by it counts as begun.

    So only where no window with dates is open on this day; of several seasons to come the one with the most water.
    """
    dated = [window for window in plan.windows if window.starts is not None or window.ends is not None]
    to_come = [window for window in dated if window.starts is not None and today < window.starts]
    if not to_come or any(_is_in_season(window, today) for window in dated):
        return plan
    seasons: dict[tuple[date | None, date | None], float] = {}
    for window in to_come:
        water_s = window.seconds * len(_starts(plan.place, window, today))
        season = (window.starts, window.ends)
        seasons[season] = seasons.get(season, 0.0) + water_s
    most = max(seasons, key=lambda season: seasons[season])
    begun = {window for window in to_come if (window.starts, window.ends) == most}
    windows = tuple(replace(one, starts=None, ends=None) if one in begun else one for one in plan.windows)
    return replace(plan, windows=windows)


@lru_cache(maxsize=512)
def hot_day_cycles(plan: Plan, day: date) -> tuple[Cycle, ...]:
    """The extra cycles of a hot day, midway between the two cycles around midday, then the next pairs outward."""
    cycles = [cycle for cycle in cycles_of_day(plan, day) if not cycle.is_fallback]
    if plan.hot_day is None or len(cycles) < 2:
        return ()
    noon = moment_on(plan.place, NOON, day)
    pairs = sorted(pairwise(cycles), key=lambda pair: abs(_middle(*pair) - noon))
    chosen = sorted(pairs[: plan.hot_day.extra_cycles], key=lambda pair: pair[0].start)
    return tuple(
        _cycle(_middle(before, after), HOT_WINDOW, day, n, before.seconds)
        for n, (before, after) in enumerate(chosen, start=1)
    )


def is_open(plan: Plan, window: Window, now: datetime) -> bool:
    """Whether an on-demand window is open at this instant."""
    rule = window.on_demand
    if rule is None:
        return False
    for day in _days(plan.place, now, now):
        if _counts(window, day):
            opens, closes = _span(plan.place, window, day, rule.opens, rule.closes)
            if opens <= now <= closes:
                return True
    return False


def moment_on(place: Place, moment: Moment, day: date, fallback: ClockMoment | None = None) -> datetime:
    """A moment on a local day as an aware UTC instant; the fallback where the sun's event does not occur."""
    if isinstance(moment, ClockMoment):
        return _instant(datetime.combine(day, _time(moment)), ZoneInfo(place.timezone))
    event = sun_event(place, moment.event, day)
    if event is None:
        return moment_on(place, fallback or STAND_INS[moment.event], day)
    return event + timedelta(minutes=moment.offset_min)


def _counts(window: Window, day: date) -> bool:
    """Whether the window opens on this day at all."""
    is_weekday = not window.weekdays or day.weekday() in window.weekdays
    return is_weekday and _is_in_season(window, day)


def _is_in_season(window: Window, day: date) -> bool:
    is_begun = window.starts is None or window.starts <= day
    return is_begun and (window.ends is None or day <= window.ends)


def _cycles(plan: Plan, window: Window, day: date) -> list[Cycle]:
    return [
        _cycle(start, window.name, day, n, window.seconds, window.on_demand is not None)
        for n, start in enumerate(_starts(plan.place, window, day), start=1)
    ]


def _cycle(start: datetime, window: str, day: date, n: int, seconds: float, is_fallback: bool = False) -> Cycle:
    return Cycle(CycleKey(start.timestamp(), window, day, n), start, seconds, is_fallback)


def _count(place: Place, window: Window, day: date) -> int:
    return window.pattern.count if isinstance(window.pattern, Evenly) else len(_starts(place, window, day))


def _starts(place: Place, window: Window, day: date) -> list[datetime]:
    match window.pattern:
        case AtTimes(moments):
            return sorted({moment_on(place, moment, day, window.fallback_opens) for moment in moments})
        case Evenly(count, opens, closes):
            first, last = _span(place, window, day, opens, closes)
            whole_s = (last - first).total_seconds()
            steps = (timedelta(seconds=round(whole_s * n / max(1, count - 1))) for n in range(count))
            return list(dict.fromkeys(first + step for step in steps))  # two at one instant are one cycle
        case Every(minutes, opens, closes):
            first, last = _span(place, window, day, opens, closes)
            count = int((last - first) / timedelta(minutes=minutes)) + 1
            return [first + n * timedelta(minutes=minutes) for n in range(count)]


def _span(place: Place, window: Window, day: date, opens: Moment, closes: Moment) -> tuple[datetime, datetime]:
    """Opening and closing; a window whose end lies before its beginning on the wall clock crosses midnight.

    Where the clock's spring gap swallows its end, the window keeps the length that its wall times say.
    """
    zone = ZoneInfo(place.timezone)
    opening = _wall(place, opens, day, window.fallback_opens)
    closing = _wall(place, closes, day, window.fallback_closes)
    if closing < opening:
        closing = _wall(place, closes, day + DAY, window.fallback_closes)
    first, last = _instant(opening, zone), _instant(closing, zone)
    return first, last if first <= last else first + (closing - opening)


def _wall(place: Place, moment: Moment, day: date, fallback: ClockMoment | None) -> datetime:
    """A moment as the wall clock shows it, naive; the fold tells a repeated hour's second pass."""
    if isinstance(moment, ClockMoment):
        return datetime.combine(day, _time(moment))
    return moment_on(place, moment, day, fallback).astimezone(ZoneInfo(place.timezone)).replace(tzinfo=None)


def _instant(wall: datetime, zone: ZoneInfo) -> datetime:
    """A local wall time as an instant; without a fold, gaps and repeats are read as RFC 5545 does."""
    return wall.replace(tzinfo=zone).astimezone(UTC)


def _time(moment: ClockMoment) -> time:
    return time(moment.minute // 60, moment.minute % 60)


def _days(place: Place, since: datetime, now: datetime) -> list[date]:
    """Every local day whose windows may reach into the time between.

    With the sun and an offset of half a day a window opens up to a day before its own day and closes two after.
    """
    zone = ZoneInfo(place.timezone)
    first, last = since.astimezone(zone).date() - 2 * DAY, now.astimezone(zone).date() + DAY
    return [first + n * DAY for n in range((last - first).days + 1)]


def _middle(before: Cycle, after: Cycle) -> datetime:
    return before.start + (after.start - before.start) / 2


def _start(cycle: Cycle) -> datetime:
    return cycle.start
