"""What is owed is made up: unsure clocks, soaks with a trip, demand that was refused, skips that would last too long."""

from dataclasses import replace
from datetime import date

import pytest
from tests.core.bench import FAR_S, LIMITS, LISBON, PLAN, PROBE, Bench
from tests.core.test_sensing import read_until

from waaler.core.facts import Cause, Outcome
from waaler.core.memory import Memory
from waaler.core.messages import Look, OrderKind
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Flow, Input, Level, LevelRead
from waaler.plan.sensing import Sensing
from waaler.plan.types import AtTimes, Below, ClockMoment, OnDemand, Plan, Window

METERED = replace(LIMITS, normal_flow_l_per_min=12.0)
HOUR_S = 3600.0


def at_hours(*hours: int, longest_gap_s: float | None = None) -> Plan:
    moments = tuple(ClockMoment(hour * 60) for hour in hours)
    return Plan(LISBON, (Window("day", AtTimes(moments), 120.0),), longest_gap_s=longest_gap_s)


# --- an unsure clock --------------------------------------------------------------------------


@pytest.mark.parametrize("last_stop_s", [None, 100_000.0 - 20.0, 100_000.0 - 8 * HOUR_S])
def test_an_unsure_boot_asks_for_its_catch_up_when_the_guard_can_grant_it(last_stop_s: float | None) -> None:
    bench = Bench(
        is_sure=False, memory=Memory(GuardMemory(last_stop_s=last_stop_s)), start="2026-06-21T03:00:00+01:00"
    )
    bench.pass_s(HOUR_S / 3)

    assert bench.outcomes() == [(Cause.CATCH_UP, Outcome.DONE, 120)]


SPRING = replace(PLAN.windows[0], name="spring", starts=date(2026, 3, 15), ends=date(2026, 4, 30))
SUMMER = replace(PLAN.windows[0], name="summer", seconds=180.0, starts=date(2026, 5, 1), ends=date(2026, 10, 15))


@pytest.mark.parametrize("start", ["2025-02-01", "2026-03-01"])
def test_an_unsure_clock_before_the_season_waters_by_the_season_with_the_most_water(start: str) -> None:
    bench = Bench(plan=Plan(LISBON, (SPRING, SUMMER)), start=f"{start}T05:00:00+00:00", is_sure=False)
    bench.pass_s(86_400)

    by_plan = [intent for intent in bench.intents() if intent.cause is Cause.PLAN]
    assert [(intent.key.window, intent.seconds) for intent in by_plan if intent.key] == [("summer", 180.0)] * 5
    assert all(intent.reason.endswith("clock unsure") for intent in by_plan)
    assert "cycle-missed" not in bench.alerts()


@pytest.mark.parametrize(
    ("start", "is_sure", "windows"),
    [
        ("2026-03-01", True, set()),
        ("2026-04-01", False, {"spring"}),
        ("2026-06-01", False, {"summer"}),
        ("2026-11-01", False, set()),
    ],
)
def test_a_season_is_left_as_it_is_by_a_sure_clock_in_a_season_and_after_the_last(
    start: str, is_sure: bool, windows: set[str]
) -> None:
    plan = Plan(LISBON, (SPRING, SUMMER))
    memory = Memory(GuardMemory(last_stop_s=60_000.0), last_full_s=60_000.0)
    bench = Bench(plan=plan, start=f"{start}T05:00:00+00:00", is_sure=is_sure, memory=memory)
    bench.pass_s(86_400)

    assert {intent.key.window for intent in bench.intents() if intent.key} == windows


def test_when_the_clock_is_set_the_dates_of_the_file_count_again() -> None:
    bench = Bench(plan=Plan(LISBON, (SUMMER,)), start="2026-03-01T05:00:00+00:00", is_sure=False)
    bench.until("07:00")
    assert [cause for cause, _, _ in bench.outcomes()].count(Cause.PLAN) == 1
    bench.is_sure = True
    bench.tell(Look())
    n = len(bench.results())
    bench.pass_s(86_400)

    assert bench.results()[n:] == []


# --- soak -------------------------------------------------------------------------------------


def test_a_soak_goes_on_once_water_moves_again() -> None:
    bench = Bench(limits=METERED)
    bench.until("05:10")
    bench.order(OrderKind.SOAK, 24 * HOUR_S)
    bench.pass_s(60)
    assert [result.outcome for result in bench.results()] == [Outcome.CUT_SHORT]
    tries = [len(bench.intents())]
    bench.pass_s(1800)
    tries.append(len(bench.intents()))
    assert tries == [1, 2], "tried again after half an hour, and not before"
    bench.pass_s(1770)
    while bench.long_s < 100_000.0 + 4 * HOUR_S:
        bench.pass_s(5)
        if bench.is_on:
            bench.tell_guard(Flow(12.0))

    done = [result for result in bench.results() if result.outcome is Outcome.DONE]
    assert len(done) >= 6


# --- demand -----------------------------------------------------------------------------------


def test_asks_on_demand_that_were_refused_leave_the_days_number_as_it_is() -> None:
    rule = OnDemand(Below("pot_3", 70.0), ClockMoment(5 * 60), ClockMoment(22 * 60), 1800.0, 3)
    window = replace(at_hours(6, 18).windows[0], on_demand=rule)
    bench = Bench(plan=Plan(LISBON, (window,)), sensing=Sensing(advisers=(PROBE,)))
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.tell_guard(LevelRead(Input.TRAY_HIGH, Level.BAD, FAR_S))
    read_until(bench, "09:00", 65.0)
    assert len(bench.results()) > 3
    assert {outcome for _, outcome, _ in bench.outcomes()} == {Outcome.REFUSED}
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    read_until(bench, "17:00", 65.0)

    done = [cause for cause, outcome, _ in bench.outcomes() if outcome is Outcome.DONE]
    assert done == [Cause.ON_DEMAND] * 3


# --- skips ------------------------------------------------------------------------------------


def skips(plan: Plan, until: str = "18:30") -> list[str]:
    bench = Bench(plan=plan, sensing=Sensing(advisers=(PROBE,)))
    read_until(bench, until, 97.0)
    return [result.outcome.value for result in bench.results()]


def test_the_last_cycle_before_a_night_that_would_become_too_long_is_not_left_out() -> None:
    assert skips(at_hours(7, 17)) == ["done", "done"]


def test_a_cycle_between_two_others_may_be_left_out() -> None:
    assert skips(at_hours(7, 12, 17)) == ["done", "skipped", "done"]


@pytest.mark.parametrize(("gap_h", "is_skipped"), [(9.9, False), (10.1, True)])
def test_a_skip_looks_forward_to_the_next_cycle_by_the_files_longest_gap(gap_h: float, is_skipped: bool) -> None:
    plan = at_hours(7, 12, 17, longest_gap_s=gap_h * HOUR_S)

    assert (skips(plan, "12:30")[1] == "skipped") is is_skipped


def test_the_reason_says_that_the_next_cycle_would_come_too_late() -> None:
    bench = Bench(plan=at_hours(7, 17), sensing=Sensing(advisers=(PROBE,)))
    read_until(bench, "17:30", 97.0)

    assert bench.intents()[-1].reason == "as planned: pot_3 reads 97 %, but the next cycle would come too late"
