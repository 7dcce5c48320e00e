"""The cycles of a day: spacing, order, clock changes, midnight, the sun."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from waaler.plan.timetable import (
    cycles_of_day,
    day_seconds,
    daytime_gap_s,
    due,
    hot_day_cycles,
    is_open,
    longest_gap_s,
    moment_on,
    upcoming,
)  # fmt: skip
from waaler.plan.types import (
    AtTimes,
    Below,
    ClockMoment,
    Evenly,
    Every,
    HotDay,
    OnDemand,
    Pattern,
    Place,
    Plan,
    SunEvent,
    SunMoment,
    Window,
)  # fmt: skip

LISBON = Place("Europe/Lisbon", 38.72, -9.14)
ZONES = yaml.safe_load((Path(__file__).parents[1] / "reference" / "time_zones.yaml").read_text())


def at(hour: int, minute: int = 0) -> ClockMoment:
    return ClockMoment(hour * 60 + minute)


def plan(pattern: Pattern, place: Place = LISBON, **window: object) -> Plan:
    return Plan(place, (Window("day", pattern, 120.0, **window),))  # type: ignore[arg-type]


def local(plan: Plan, day: date) -> list[str]:
    zone = ZoneInfo(plan.place.timezone)
    return [cycle.start.astimezone(zone).strftime("%d %H:%M:%S") for cycle in cycles_of_day(plan, day)]


DAY = date(2026, 6, 21)


# --- the three kinds --------------------------------------------------------------------------


def test_cycles_are_spaced_evenly_from_the_opening_to_the_closing() -> None:
    assert local(plan(Evenly(4, at(6), at(18))), DAY) == [
        "21 06:00:00",
        "21 10:00:00",
        "21 14:00:00",
        "21 18:00:00",
    ]


def test_a_single_cycle_stands_at_the_opening() -> None:
    assert local(plan(Evenly(1, at(6), at(18))), DAY) == ["21 06:00:00"]


def test_every_so_often_ends_at_or_before_the_closing() -> None:
    assert local(plan(Every(90, at(9), at(12))), DAY) == ["21 09:00:00", "21 10:30:00", "21 12:00:00"]
    assert local(plan(Every(90, at(9), at(11, 59))), DAY) == ["21 09:00:00", "21 10:30:00"]


def test_times_are_put_in_order_and_a_time_given_twice_counts_once() -> None:
    assert local(plan(AtTimes((at(18), at(6), at(6)))), DAY) == ["21 06:00:00", "21 18:00:00"]


def test_a_window_over_midnight_belongs_to_the_day_it_opens() -> None:
    over = plan(Evenly(3, at(22), at(2)))

    assert local(over, DAY) == ["21 22:00:00", "22 00:00:00", "22 02:00:00"]
    assert {cycle.key.day for cycle in cycles_of_day(over, DAY)} == {DAY}


def test_weekdays_and_dates_say_whether_a_window_opens() -> None:
    limited = plan(AtTimes((at(6),)), weekdays=frozenset({6}), starts=date(2026, 6, 20), ends=date(2026, 6, 27))

    assert [day for n in range(20) if cycles_of_day(limited, day := date(2026, 6, 14) + timedelta(n))] == [DAY]


# --- clock changes, checked against RFC 5545 --------------------------------------------------


@pytest.mark.parametrize("case", ZONES["resolve_cases"], ids=lambda case: f"{case['zone']} {case['local']}")
def test_a_missing_local_time_is_read_before_the_gap_and_a_repeated_one_is_the_first(case: dict[str, str]) -> None:
    wall = datetime.fromisoformat(case["local"])
    found = moment_on(Place(case["zone"], 0.0, 0.0), at(wall.hour, wall.minute), wall.date())

    assert found == datetime.fromisoformat(case["rfc5545_utc"])


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [("Europe/Lisbon", date(2024, 3, 31), 11.0), ("Europe/Lisbon", date(2024, 10, 27), 13.0),
     ("Australia/Lord_Howe", date(2024, 10, 6), 11.5), ("America/New_York", date(2024, 11, 3), 13.0)],
)  # fmt: skip
def test_over_a_clock_change_cycles_are_spaced_in_elapsed_time(zone: str, day: date, hours: float) -> None:
    starts = [c.start for c in cycles_of_day(plan(Evenly(5, at(0, 30), at(12, 30)), Place(zone, 0.0, 0.0)), day)]

    assert (starts[-1] - starts[0]).total_seconds() == hours * 3600
    assert len({(b - a) for a, b in pairwise(starts)}) == 1


# --- laws -------------------------------------------------------------------------------------

PLACES = st.sampled_from(
    [LISBON, Place("America/New_York", 40.7, -74.0), Place("Australia/Lord_Howe", -31.6, 159.1),
     Place("Europe/Oslo", 69.65, 18.96), Place("Asia/Kolkata", 28.6, 77.2), Place("Pacific/Apia", -13.8, -171.8)]
)  # fmt: skip
MOMENTS = st.one_of(
    st.builds(ClockMoment, st.integers(0, 1439)),
    st.builds(SunMoment, st.sampled_from(SunEvent), st.integers(-240, 240)),
)
DAYS = st.dates(date(2024, 1, 1), date(2028, 12, 31))


@given(PLACES, MOMENTS, MOMENTS, st.integers(1, 24), DAYS)
def test_any_window_gives_its_count_in_order_within_a_day_and_evenly(
    place: Place, opens: ClockMoment, closes: ClockMoment, count: int, day: date
) -> None:
    cycles = cycles_of_day(plan(Evenly(count, opens, closes), place), day)

    starts = [cycle.start for cycle in cycles]
    whole_s = round((starts[-1] - starts[0]).total_seconds())
    assert len(starts) == min(count, whole_s + 1)  # starts lie on whole seconds, and two on one are one
    assert starts == sorted(starts)
    assert starts[-1] - starts[0] <= timedelta(hours=49)
    gaps = [(b - a).total_seconds() for a, b in pairwise(starts)]
    assert not gaps or max(gaps) - min(gaps) <= 1
    assert [cycle.key.n for cycle in sorted(cycles, key=lambda c: c.key.n)] == list(range(1, len(starts) + 1))


@given(
    PLACES,
    MOMENTS,
    st.integers(1, 12),
    st.datetimes(datetime(2024, 1, 1), datetime(2028, 1, 1)),
    st.lists(st.floats(60, 40_000), min_size=1, max_size=12),
)
def test_looking_often_or_seldom_finds_every_cycle_once(
    place: Place, opens: ClockMoment, count: int, start: datetime, steps: list[float]
) -> None:
    some = plan(Evenly(count, opens, at(20)), place)
    first = now = start.replace(tzinfo=UTC)
    found = []
    for step in steps:
        after = now + timedelta(seconds=step)
        if after - first > timedelta(days=1.5):
            break
        found += [cycle.key for cycle in due(some, now, after)]
        now = after

    assert len(found) == len(set(found))
    assert found == [cycle.key for cycle in due(some, first, now)]


@given(PLACES, MOMENTS, st.integers(1, 12), st.datetimes(datetime(2024, 1, 1), datetime(2028, 1, 1)))
def test_the_next_cycle_is_the_first_that_will_be_due(
    place: Place, opens: ClockMoment, count: int, start: datetime
) -> None:
    some = plan(Evenly(count, opens, at(20)), place)
    now = start.replace(tzinfo=UTC)
    (following,) = upcoming(some, now)

    assert following.start > now
    assert due(some, now, following.start)[0].start == following.start


# --- the rest ---------------------------------------------------------------------------------


def test_due_looks_no_further_back_than_two_days() -> None:
    now = datetime(2026, 6, 21, 12, tzinfo=UTC)

    assert len(due(plan(AtTimes((at(6),))), now - timedelta(days=400), now)) == 2


def test_upcoming_finds_nothing_in_a_plan_whose_windows_are_over() -> None:
    assert upcoming(plan(AtTimes((at(6),)), ends=date(2020, 1, 1)), datetime(2026, 1, 1, tzinfo=UTC)) == ()


def test_gaps_and_seconds_of_a_day() -> None:
    some = plan(Evenly(4, at(6), at(18)))

    assert day_seconds(some, DAY) == 480.0
    assert daytime_gap_s(some, DAY) == 4 * 3600
    assert longest_gap_s(some, DAY) == 6 * 3600
    assert daytime_gap_s(plan(AtTimes((at(6),))), DAY) == 86_400


def test_hot_day_cycles_stand_between_the_midday_cycles() -> None:
    some = Plan(LISBON, (Window("day", Evenly(5, at(6), at(18)), 120.0),), hot_day=HotDay(32.0, 2))
    zone = ZoneInfo("Europe/Lisbon")

    extra = hot_day_cycles(some, DAY)

    assert [cycle.start.astimezone(zone).strftime("%H:%M") for cycle in extra] == ["10:30", "13:30"]
    assert len({cycle.key for cycle in extra}) == 2


@pytest.mark.parametrize(("clock", "answer"), [((5, 59), False), ((6, 0), True), ((20, 0), True), ((20, 1), False)])
def test_an_on_demand_window_is_open_between_its_moments(clock: tuple[int, int], answer: bool) -> None:
    window = Window(
        "d", Evenly(3, at(6), at(18)), 120.0, on_demand=OnDemand(Below("p", 70), at(6), at(20), 3600, 4)
    )
    some = Plan(LISBON, (window,))
    now = datetime(2026, 6, 21, *clock, tzinfo=ZoneInfo("Europe/Lisbon")).astimezone(UTC)

    assert is_open(some, window, now) is answer


def test_where_the_sun_does_not_set_the_fallback_stands_in() -> None:
    tromso = Place("Europe/Oslo", 69.65, 18.96)
    some = plan(
        Evenly(2, SunMoment(SunEvent.SUNRISE), SunMoment(SunEvent.SUNSET)), tromso,
        fallback_opens=at(5, 30), fallback_closes=at(21),
    )  # fmt: skip

    assert local(some, DAY) == ["21 05:30:00", "21 21:00:00"]
    assert local(plan(Evenly(2, SunMoment(SunEvent.SUNRISE), SunMoment(SunEvent.SUNSET)), tromso), DAY) == [
        "21 06:00:00",
        "21 20:00:00",
    ]


# --- the edges of days -------------------------------------------------------------------------------


def test_a_window_swallowed_by_the_spring_gap_keeps_its_cycles_and_its_length() -> None:
    vienna = Place("Europe/Vienna", 48.2, 16.37)
    for opens, closes in ((at(2, 30), at(3, 10)), (at(2, 10), at(3, 0)), (at(2, 59), at(3, 0))):
        for day in (date(2026, 3, 28), date(2026, 3, 29), date(2026, 3, 30)):
            starts = [cycle.start for cycle in cycles_of_day(plan(Evenly(3, opens, closes), vienna), day)]
            assert len(starts) == 3
            assert starts[-1] - starts[0] == timedelta(minutes=closes.minute - opens.minute)


def test_a_cycle_half_a_day_before_dawn_is_due_and_foreseen_though_its_own_day_has_not_begun() -> None:
    early = plan(AtTimes((SunMoment(SunEvent.DAWN, -720),)))
    (cycle,) = cycles_of_day(early, DAY)
    assert cycle.start.astimezone(ZoneInfo("Europe/Lisbon")).date() < DAY

    assert due(early, cycle.start - timedelta(minutes=1), cycle.start) == (cycle,)
    assert upcoming(early, cycle.start - timedelta(minutes=1)) == (cycle,)


def test_a_cycle_half_a_day_after_sunset_over_midnight_is_due_and_foreseen() -> None:
    late = plan(Evenly(2, SunMoment(SunEvent.SUNSET, 719), SunMoment(SunEvent.SUNSET, 700)))
    last = cycles_of_day(late, DAY)[-1]
    assert (last.start.astimezone(ZoneInfo("Europe/Lisbon")).date() - DAY).days == 2

    assert due(late, last.start - timedelta(minutes=1), last.start) == (last,)
    assert last in upcoming(late, last.start - timedelta(minutes=1), 2)


MOMENTS = st.builds(ClockMoment, st.integers(0, 1439)) | st.builds(
    SunMoment, st.sampled_from(SunEvent), st.integers(-720, 720)
)


@given(opens=MOMENTS, closes=MOMENTS, count=st.integers(1, 5), start_h=st.integers(0, 24 * 365))
def test_whatever_the_moments_every_cycle_is_foreseen_in_the_order_in_which_it_falls_due(
    opens: ClockMoment | SunMoment, closes: ClockMoment | SunMoment, count: int, start_h: int
) -> None:
    watched = plan(Evenly(count, opens, closes))
    since = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=start_h)
    fallen = due(watched, since, since + timedelta(days=2))
    first = since.date()
    all_cycles = [c for n in range(-4, 6) for c in cycles_of_day(watched, first + timedelta(days=n))]
    expected = sorted(c.start for c in all_cycles if since < c.start <= since + timedelta(days=2))

    assert [cycle.start for cycle in fallen] == expected
    assert [cycle.start for cycle in upcoming(watched, since, len(expected))] == expected
