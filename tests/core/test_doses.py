"""What a cycle shall get: full runs, pulses, what a cut or a refusal leaves, and what is too late."""

from dataclasses import replace
from itertools import pairwise

import pytest
from tests.core.bench import FAR_S, LIMITS, LISBON, PLAN, Bench

from waaler.core.facts import Cause, Outcome
from waaler.core.messages import OrderKind
from waaler.core.state import Later
from waaler.guard.messages import Ended, Input, Level, LevelRead, Trip, Wake
from waaler.plan.types import ClockMoment, Evenly, Plan, Window

DONE = (Cause.PLAN, Outcome.DONE, 120)


def plan_of(count: int, seconds: float, opens: int = 6, closes: int = 18) -> Plan:
    pattern = Evenly(count, ClockMoment(opens * 60), ClockMoment(closes * 60))
    return Plan(LISBON, (Window("day", pattern, seconds),))


def sump_lasts(bench: Bench, clock: str, run_s: float) -> None:
    """Up to this hour the float falls run_s into each run, and is good again 3 min after it."""
    end_s = bench.long_s + _seconds_until(bench, clock)
    begun_s: float | None = None
    while bench.long_s < end_s:
        bench.pass_s(1.0)
        if bench.is_on and begun_s is None:
            begun_s = bench.long_s
        elif begun_s is not None and bench.is_on and bench.long_s - begun_s >= run_s:
            bench.level(Input.SUMP_LOW, Level.BAD)
            bench.pass_s(180.0)
            bench.level(Input.SUMP_LOW, Level.GOOD)
        if not bench.is_on:
            begun_s = None


def _seconds_until(bench: Bench, clock: str) -> float:
    before = (bench.core, bench.long_s, bench.wall_s, list(bench.outputs))
    bench.until(clock)
    seconds = bench.long_s - before[1]
    bench.core, bench.long_s, bench.wall_s, bench.outputs = before
    return seconds


# --- full runs --------------------------------------------------------------------------------


@pytest.mark.parametrize(("seconds", "is_full"), [(2.0, False), (107.0, False), (108.0, True), (300.0, True)])
def test_a_run_by_hand_is_a_full_one_from_nine_tenths_of_the_plans_dose(seconds: float, is_full: bool) -> None:
    bench = Bench()
    bench.until("07:00")
    bench.order(OrderKind.PAUSE, 3 * 3600.0)
    bench.until("10:05")
    bench.put(Later(catch_up_at_s=FAR_S))
    assert bench.core.decisions.account.is_owed
    bench.order(OrderKind.WATER, seconds)
    bench.pass_s(400)

    assert bench.results()[-1].is_full is is_full
    assert bench.core.decisions.account.is_owed is not is_full


def test_a_soak_is_no_full_run() -> None:
    bench = Bench()
    bench.order(OrderKind.SOAK, 3600.0)
    bench.pass_s(3000)

    assert Outcome.DONE in [result.outcome for result in bench.results()]
    assert not any(result.is_full for result in bench.results())


def test_a_run_cut_short_by_less_than_a_tenth_is_full_and_one_cut_by_more_is_owed() -> None:
    for seconds, is_full in ((110, True), (100, False)):
        bench = Bench()
        bench.until("06:00")
        bench.pass_s(seconds)
        bench.level(Input.TRAY_HIGH, Level.BAD)
        bench.pass_s(1)

        assert bench.outcomes() == [(Cause.PLAN, Outcome.CUT_SHORT, seconds)]
        assert bench.core.decisions.account.is_owed is not is_full


# --- pulses -----------------------------------------------------------------------------------


def test_every_dose_is_given_whole_though_the_sump_sinks_on() -> None:
    bench = Bench(plan=plan_of(5, 240.0))
    bench.until("05:59")
    sump_lasts(bench, "10:30", 100.0)
    sump_lasts(bench, "20:30", 70.0)

    given: dict[float, float] = {}
    planned: dict[float, float] = {}
    results = {result.run_id: result for result in bench.results()}
    for intent in bench.intents():
        assert intent.key is not None
        start_s = intent.key.start_s
        given[start_s] = given.get(start_s, 0.0) + results[intent.run_id].seconds
        planned[start_s] = planned.get(start_s, 0.0) + intent.planned_seconds
    assert [round(seconds) for seconds in given.values()] == [240] * 5
    assert [round(seconds) for seconds in planned.values()] == [240] * 5, "no second of the plan counts twice"
    assert Outcome.REFUSED not in {result.outcome for result in bench.results()}
    starts = [intent.at.long_s for intent in bench.intents()]
    assert min(b - a for a, b in pairwise(starts)) >= LIMITS.run_back_s


def test_pulses_expire_with_their_cycle_and_never_pile_up() -> None:
    """Eight cycles of 300 s, 2 h apart, in pulses of 30 s, 20 min apart: six of ten come in time."""
    bench = Bench(plan=plan_of(8, 300.0, 6, 20), limits=replace(LIMITS, most_per_day_s=4 * 2400.0))
    bench.until("05:59")
    sump_lasts(bench, "05:59", 35.0)
    for _ in range(2):
        n = len(bench.results())
        sump_lasts(bench, "05:59", 35.0)

        results = bench.results()[n:]
        assert sum(result.seconds for result in results) > 8 * 6 * 28.0
        over = [result for result in results if "its cycle's time is over" in result.reason]
        assert len(over) >= 8
        assert {result.outcome for result in over} == {Outcome.CUT_SHORT}
        assert len(bench.core.decisions.runs.queue) <= 1
    bench.order(OrderKind.REFILL, litres=100.0)
    n = len(bench.results())
    bench.pass_s(86_400)

    assert [round(r.seconds) for r in bench.results()[n:] if r.seconds > 60] == [300] * 8


def test_of_a_dose_that_was_cut_the_rest_waits_for_the_float_and_then_comes() -> None:
    bench = Bench(plan=plan_of(5, 240.0))
    bench.until("06:00")
    bench.pass_s(100)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(3600)
    assert bench.outcomes() == [(Cause.PLAN, Outcome.CUT_SHORT, 100)], "not asked for while the float is low"
    bench.level(Input.SUMP_LOW, Level.GOOD)
    bench.pass_s(1200 + 150)

    assert bench.outcomes() == [(Cause.PLAN, Outcome.CUT_SHORT, 100), (Cause.PLAN, Outcome.DONE, 140)]
    assert bench.intents()[-1].reason == "as planned; what a cut left of it"
    assert bench.results()[-1].is_full


def test_a_dip_in_every_cycle_leads_to_pulses_though_each_rest_ran() -> None:
    bench = Bench(plan=plan_of(5, 240.0))
    bench.until("05:59")
    sump_lasts(bench, "11:00", 150.0)

    assert bench.core.decisions.dips.pulse_s == pytest.approx(0.8 * 150.0, abs=2.0)


def test_in_pulses_a_single_cut_shortens_them() -> None:
    bench = Bench(plan=plan_of(5, 240.0))
    bench.until("05:59")
    sump_lasts(bench, "11:00", 150.0)
    sump_lasts(bench, "12:10", 80.0)

    assert bench.core.decisions.dips.pulse_s == pytest.approx(0.8 * 80.0, abs=2.0)


def test_what_a_person_stopped_is_not_made_up() -> None:
    bench = Bench(plan=plan_of(5, 240.0))
    bench.until("06:00")
    bench.pass_s(100)
    bench.order(OrderKind.STOP)
    bench.until("08:59")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.STOPPED, 100)]


# --- refusals ---------------------------------------------------------------------------------


def test_a_cycle_refused_for_the_pumps_rest_runs_when_the_rest_is_over() -> None:
    bench = Bench()
    bench.until("05:57")
    bench.order(OrderKind.WATER, 60.0)
    bench.pass_s(600)

    assert bench.outcomes() == [(Cause.HAND, Outcome.DONE, 60), (Cause.PLAN, Outcome.REFUSED, 0), DONE]
    assert [intent.planned_seconds for intent in bench.intents()] == [0.0, 120.0, 0.0], "counted once"
    assert bench.intents()[-1].at.wall_s - bench.intents()[1].at.wall_s == pytest.approx(180.0, abs=2.0)


def test_a_cycle_that_could_begin_only_a_quarter_of_an_hour_late_is_left_to_the_catch_up() -> None:
    bench = Bench()
    bench.until("05:45")
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.tell_guard(LevelRead(Input.TRAY_HIGH, Level.BAD, FAR_S))
    bench.until("05:59")
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    bench.until("08:59")

    assert bench.outcomes()[0] == (Cause.PLAN, Outcome.REFUSED, 0)
    assert {cause for cause, _, _ in bench.outcomes()[1:]} <= {Cause.CATCH_UP}


def test_a_catch_up_that_the_days_cap_refuses_is_asked_again_when_the_cap_has_room() -> None:
    bench = Bench(limits=replace(LIMITS, most_per_day_s=900.0))
    bench.until("23:00")
    bench.pass_s(10 * 3600)
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.tell_guard(LevelRead(Input.TRAY_HIGH, Level.BAD, FAR_S))
    bench.pass_s(8 * 3600)
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    n = len(bench.results())
    bench.pass_s(14 * 3600)

    assert sum(result.outcome is Outcome.REFUSED for result in bench.results()[n:]) <= 2


# --- the guard's late word --------------------------------------------------------------------


def test_a_run_that_was_given_up_gets_its_true_end_when_the_guard_tells_it() -> None:
    bench = Bench()
    bench.until("06:00")
    active = bench.core.decisions.runs.active
    assert active is not None
    bench.core = replace(bench.core, guard_wake_s=FAR_S, is_wire_apart=True)
    bench.pass_s(150)
    (given_up,) = bench.results()
    assert (given_up.outcome, given_up.seconds) == (Outcome.INTERRUPTED, 120.0)
    assert bench.core.decisions.account.is_owed
    bench.tell(Ended(active.run_id, 119.9, "ran its time"))

    assert [(r.run_id, r.outcome, r.seconds, r.is_full) for r in bench.results()[1:]] == [
        (active.run_id, Outcome.DONE, 119.9, True)
    ]
    assert not bench.core.decisions.account.is_owed
    assert sum(given.planned_s for given in bench.core.decisions.account.given) == PLAN.windows[0].seconds
    bench.core = replace(bench.core, is_wire_apart=False)
    bench.tell_guard(Wake())


def test_s16_of_several_runs_that_were_given_up_each_gets_its_true_end() -> None:
    """A guard that stood still for minutes: the run that it overran, and another that was asked for meanwhile."""
    bench = Bench()
    bench.until("06:00")
    bench.core = replace(bench.core, guard_wake_s=FAR_S, is_wire_apart=True)
    bench.pass_s(150)
    bench.order(OrderKind.WATER, 60.0)
    bench.pass_s(90)
    first, second = (result.run_id for result in bench.results())
    bench.tell(Ended(first, 390.0, "locked: ran too long", Trip.OVERRUN))

    assert [(r.run_id, r.outcome, r.seconds) for r in bench.results()[2:]] == [(first, Outcome.CUT_SHORT, 390.0)]
    bench.tell(Ended(second, 60.0, "ran its time"))
    assert bench.results()[-1].seconds == 60.0


def test_an_end_that_is_told_twice_is_written_once() -> None:
    bench = Bench()
    bench.until("06:30")
    (result,) = bench.results()
    bench.tell(Ended(result.run_id, result.seconds, result.reason))

    assert bench.results() == [result]
