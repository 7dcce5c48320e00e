"""A cycle is its planned instant: an edit loses none that is still to come, and repeats none that ran."""

from dataclasses import replace
from datetime import datetime

import pytest
from tests.core.bench import LIMITS, LISBON, Bench

from waaler.core.facts import Outcome
from waaler.core.messages import NewPlan, OrderKind
from waaler.plan.sensing import Sensing
from waaler.plan.types import AtTimes, Below, ClockMoment, Evenly, HotDay, OnDemand, Plan, Window

DAY_S = 86_400.0


def at_hours(*hours: float) -> Plan:
    moments = tuple(ClockMoment(round(hour * 60)) for hour in hours)
    return Plan(LISBON, (Window("day", AtTimes(moments), 120.0),))


def evenly(count: int, opens: int, closes: int) -> Plan:
    return Plan(LISBON, (Window("day", Evenly(count, ClockMoment(opens * 60), ClockMoment(closes * 60)), 120.0),))


def became(bench: Bench) -> list[tuple[str, str]]:
    """What became of each cycle: its planned local time, and how it ended, in the order of the records."""
    planned = {intent.run_id: intent.key for intent in bench.intents()}
    found = []
    for result in bench.results():
        key = planned[result.run_id]
        if key is None:
            continue  # a catch-up
        local = datetime.fromtimestamp(key.start_s, datetime.fromisoformat(bench.start).tzinfo)
        found.append((f"{local:%H:%M}", result.outcome.value))
    return found


def done(*hours: str) -> list[tuple[str, str]]:
    return [(hour, "done") for hour in hours]


# --- what an edit takes away -------------------------------------------------------------------


def test_s16_a_cycle_that_an_edit_takes_away_before_its_time_is_written_down() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("12:10")
    bench.new_plan(at_hours(7, 12))
    bench.pass_s(6 * 3600)

    assert became(bench) == [*done("07:00", "12:00"), ("17:00", "taken away")]
    assert bench.results()[-1].reason == "an edit of the plan took it away"
    assert not bench.core.decisions.account.is_owed


def test_s16_what_is_taken_away_tomorrow_was_never_planned() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("20:00")
    bench.new_plan(at_hours(7, 12))

    assert became(bench) == done("07:00", "12:00", "17:00")


def test_s16_of_a_night_that_began_yesterday_the_rest_is_taken_away() -> None:
    night = Plan(LISBON, (Window("night", Evenly(5, ClockMoment(22 * 60), ClockMoment(6 * 60)), 120.0),))
    bench = Bench(plan=night)
    bench.until("01:00")
    bench.new_plan(at_hours(12))

    assert became(bench)[-3:] == [("02:00", "taken away"), ("04:00", "taken away"), ("06:00", "taken away")]


def test_s16_cycles_of_a_hot_day_are_taken_away_too() -> None:
    hot = replace(at_hours(7, 12, 17), hot_day=HotDay(32.0, 1))
    bench = Bench(plan=hot)
    bench.put(replace(bench.core.decisions.calendar, hot_day=datetime(2026, 6, 21).date()))
    bench.until("07:30")
    bench.new_plan(at_hours(7, 12, 17))

    assert became(bench) == [*done("07:00"), ("09:30", "taken away")]


def test_a_fallback_that_nobody_needed_yet_is_no_loss() -> None:
    rule = OnDemand(Below("pot_3", 70.0), ClockMoment(300), ClockMoment(1320), 1800.0, 6)
    window = replace(at_hours(7, 17).windows[0], on_demand=rule)
    bench = Bench(plan=Plan(LISBON, (window,)))
    bench.until("10:00")
    bench.new_plan(at_hours(6))

    assert [outcome for _, outcome in became(bench)].count("taken away") == 0


# --- what an edit leaves -----------------------------------------------------------------------


def test_taking_the_first_cycle_out_after_it_ran_loses_none_of_the_day() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("12:10")
    bench.new_plan(at_hours(12, 17))
    bench.pass_s(DAY_S)

    assert became(bench) == done("07:00", "12:00", "17:00", "12:00")


@pytest.mark.parametrize(("count", "closes"), [(4, 20), (3, 20), (9, 18)])
def test_another_number_of_cycles_runs_every_one_that_the_new_plan_still_has(count: int, closes: int) -> None:
    bench = Bench(plan=evenly(6, 8, 18))
    bench.until("14:10")
    bench.new_plan(evenly(count, 8, closes))
    bench.until("23:00")

    step_h = (closes - 8) / (count - 1)
    hours = [8 + n * step_h for n in range(count)]
    to_come = [f"{int(hour):02}:{round(hour % 1 * 60):02}" for hour in hours if hour > 14 + 1 / 6]
    ran = [hour for hour, outcome in became(bench) if outcome == "done"]
    assert ran == ["08:00", "10:00", "12:00", "14:00", *to_come]


def test_an_edit_that_leaves_the_times_repeats_nothing_and_takes_nothing_away() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("12:00")
    bench.pass_s(30)
    bench.new_plan(replace(at_hours(7, 12, 17), windows=(replace(at_hours(7, 12, 17).windows[0], seconds=60.0),)))
    bench.until("18:00")

    assert became(bench) == done("07:00", "12:00", "17:00")
    assert [result.seconds for result in bench.results()] == [120.0, 120.0, 60.0]


def test_a_cycle_that_came_due_in_the_moment_of_the_edit_goes_by_the_plan_before() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("11:59")
    bench._move(bench.long_s + 65.0)
    bench.new_plan(at_hours(7, 17))
    bench.pass_s(300)

    assert became(bench) == done("07:00", "12:00")


def test_a_cycle_that_was_taken_away_and_given_back_before_its_time_runs() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("12:10")
    bench.new_plan(at_hours(7, 12))
    bench.new_plan(at_hours(7, 12, 17))
    bench.until("18:00")

    assert became(bench) == [*done("07:00", "12:00"), ("17:00", "taken away"), ("17:00", "done")]


def test_an_edit_during_a_pause_neither_ends_it_nor_loses_what_comes_after() -> None:
    bench = Bench(plan=at_hours(7, 12, 17))
    bench.until("11:00")
    bench.order(OrderKind.PAUSE, 2 * 3600.0)
    bench.until("12:30")
    bench.tell(NewPlan(at_hours(12, 17), Sensing(), LIMITS))
    bench.until("18:00")

    assert became(bench) == [*done("07:00"), ("12:00", Outcome.MISSED.value), *done("17:00")]
