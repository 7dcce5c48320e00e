"""What sensors change of the plan, and what they may not."""

from dataclasses import replace
from datetime import datetime

import pytest
from tests.core.bench import PLAN, PROBE, Bench

from waaler.core.facts import Cause, Outcome
from waaler.core.messages import OrderKind
from waaler.plan.sensing import Adviser, AdviserKind, Sensing
from waaler.plan.types import Below, ClockMoment, Evenly, HotDay, OnDemand, Plan, Window

SENSING = Sensing(advisers=(PROBE,))
DONE = (Cause.PLAN, Outcome.DONE, 120)
SKIPPED = (Cause.PLAN, Outcome.SKIPPED, 0)


def day(bench: Bench, *values: float | None, every_s: float = 120.0) -> None:
    """The probe reads the values in turn, one for each cycle, all the time before that cycle; ends after 18 h."""
    hours = ("06:05", "09:05", "12:05", "15:05", "18:05")
    for value, clock in zip(values, hours, strict=False):
        read_until(bench, clock, value, every_s)


def read_until(bench: Bench, clock: str, value: float | None, every_s: float = 120.0) -> None:
    hour, minute = map(int, clock.split(":"))
    base = datetime.fromisoformat(bench.start).replace(hour=hour, minute=minute)
    while bench.wall_s < base.timestamp():
        if value is not None:
            # a real probe never stands quite still
            bench.read(value + (0.4 if int(bench.long_s / every_s) % 2 else -0.4))
        bench.pass_s(min(every_s, base.timestamp() - bench.wall_s))


def test_the_days_first_cycle_runs_however_wet_it_is() -> None:
    bench = Bench(sensing=SENSING)
    day(bench, 99)

    assert bench.outcomes() == [DONE]
    assert bench.intents()[0].reason == "as planned: pot_3 reads 99 %, but the day's first cycle always runs"


def test_a_wet_probe_skips_one_cycle_but_never_two_in_a_row() -> None:
    bench = Bench(sensing=SENSING)
    day(bench, 99, 99, 99, 99, 99)

    assert bench.outcomes() == [DONE, SKIPPED, DONE, SKIPPED, DONE]
    assert bench.results()[1].reason == "pot_3 reads 99 %: wet enough"


def test_at_least_half_of_the_planned_minutes_run_whatever_the_sensors_say() -> None:
    bench = Bench(sensing=replace(SENSING, skip_at_most=5), plan=replace(PLAN, longest_gap_s=86_400.0))
    day(bench, 99, 99, 99, 99, 99)

    given = sum(result.seconds for result in bench.results())
    assert given >= 0.5 * 5 * 120


def test_no_skip_by_a_probe_that_was_never_calibrated() -> None:
    bench = Bench(sensing=Sensing(advisers=(replace(PROBE, is_calibrated=False),)))
    day(bench, 99, 99)

    assert bench.outcomes() == [DONE, DONE]
    assert bench.intents()[1].reason.endswith("but pot_3 was never calibrated")


@pytest.mark.parametrize(("celsius", "is_skipped"), [(30.0, True), (30.1, False)])
def test_no_skip_above_30_c(celsius: float, is_skipped: bool) -> None:
    air = Adviser("air", AdviserKind.TEMPERATURE, stale_after_s=1e6)
    bench = Bench(sensing=Sensing(advisers=(PROBE, air)))
    day(bench, 99)
    bench.read(celsius, "air")
    read_until(bench, "09:05", 99)

    assert (bench.outcomes()[1] == SKIPPED) is is_skipped


def test_a_dry_probe_beats_every_wet_one() -> None:
    other = replace(PROBE, name="pot_9")
    bench = Bench(sensing=Sensing(advisers=(PROBE, other)))
    bench.until("08:58")
    bench.read(99)
    bench.read(54, "pot_9")
    bench.until("09:10")

    assert bench.outcomes()[1] == (Cause.PLAN, Outcome.DONE, 132)
    assert bench.intents()[1].reason == "pot_9 reads 54 %, below its dry mark 60 %: 12 s longer"


def test_a_very_dry_probe_lengthens_by_half_at_most() -> None:
    bench = Bench(sensing=SENSING)
    day(bench, 5)

    assert bench.outcomes()[0] == (Cause.PLAN, Outcome.DONE, 180)


def test_still_dry_half_an_hour_later_gives_one_extra_run_and_no_second() -> None:
    bench = Bench(sensing=SENSING)
    day(bench, 30, 30)

    assert bench.outcomes() == [
        (Cause.PLAN, Outcome.DONE, 180),
        (Cause.EXTRA, Outcome.DONE, 120),
        (Cause.PLAN, Outcome.DONE, 180),
    ]


@pytest.mark.parametrize("value", [None, 130.0, -20.0])
def test_a_probe_that_is_silent_or_out_of_range_changes_nothing_and_alerts(value: float | None) -> None:
    bench = Bench(sensing=SENSING)
    day(bench, value, value, value)

    assert bench.outcomes() == [DONE] * 3
    assert "not-valid-pot-3" in bench.alerts()


def test_a_probe_that_never_moves_is_not_believed_after_three_runs() -> None:
    bench = Bench(sensing=replace(SENSING, skip_at_most=1))
    while len(bench.results()) < 8:
        bench.read(99.0)
        bench.pass_s(120)

    assert bench.outcomes() == [DONE, SKIPPED, DONE, SKIPPED, DONE, DONE, DONE, DONE]
    assert "has not changed through 3 runs" in bench.alert_text("not-valid-pot-3")


def test_a_puddle_that_keeps_the_tray_wet_for_ever_is_not_believed_for_ever() -> None:
    tray = Adviser("tray_wet", AdviserKind.TRAY_WET, stale_after_s=1e9)
    bench = Bench(sensing=Sensing(advisers=(tray,)))
    for _ in range(6):
        for clock in ("06:05", "09:05", "12:05", "15:05", "18:05"):
            bench.until(clock.replace(":05", ":00"))
            bench.read(1.0, "tray_wet")
            bench.pass_s(300)
            bench.read(1.0, "tray_wet")

    assert bench.outcomes()[-5:] == [DONE] * 5


def test_a_reading_within_20_min_of_a_run_says_nothing() -> None:
    bench = Bench(sensing=SENSING)
    bench.until("08:45")
    bench.order(OrderKind.WATER, 30)
    bench.pass_s(600)
    bench.read(99)
    bench.until("09:05")

    assert bench.intents()[-1].reason == "as planned"


# --- on demand, hot days ----------------------------------------------------------------------

ON_DEMAND = Plan(
    PLAN.place,
    (
        Window(
            "day",
            Evenly(3, ClockMoment(6 * 60), ClockMoment(18 * 60)),
            120.0,
            on_demand=OnDemand(Below("pot_3", 70.0), ClockMoment(6 * 60), ClockMoment(20 * 60), 3600.0, 4),
        ),
    ),
)


def test_on_demand_runs_when_the_probe_falls_below_its_mark_and_rests_between() -> None:
    bench = Bench(plan=ON_DEMAND, sensing=SENSING)
    day(bench, 80, 65)

    causes = [outcome[0] for outcome in bench.outcomes()]
    assert causes == [
        Cause.PLAN,
        Cause.ON_DEMAND,
        Cause.ON_DEMAND,
    ]  # after the night's gap the fallback counts once
    assert bench.intents()[1].reason == "pot_3 reads 65 %, below 70 %"


def test_on_demand_gives_no_more_than_its_most_a_day_and_none_outside_its_window() -> None:
    bench = Bench(plan=ON_DEMAND, sensing=SENSING)
    day(bench, 65, 65, 65, 65, 65)
    read_until(bench, "23:59", 65)

    assert [o for o in bench.outcomes() if o[0] is Cause.ON_DEMAND] == [(Cause.ON_DEMAND, Outcome.DONE, 120)] * 4


def test_with_the_probe_not_valid_the_fallback_cycles_count() -> None:
    bench = Bench(plan=ON_DEMAND, sensing=SENSING)
    day(bench, None, None, None, None, None)

    assert bench.outcomes() == [DONE] * 3


def test_a_fallback_cycle_counts_when_nothing_ran_for_the_longest_gap() -> None:
    bench = Bench(plan=ON_DEMAND, sensing=SENSING)
    day(bench, 95, 95, 95, 95, 95)

    assert bench.outcomes() != []
    assert all(outcome[0] is Cause.PLAN for outcome in bench.outcomes())


def test_a_hot_day_brings_its_extra_cycles() -> None:
    air = Adviser("air", AdviserKind.TEMPERATURE, stale_after_s=1e6)
    plan = replace(PLAN, hot_day=HotDay(above_c=32.0, extra_cycles=2))
    bench = Bench(plan=plan, sensing=Sensing(advisers=(air,)))
    bench.until("09:30")
    bench.read(32.0, "air")
    bench.until("10:00")
    bench.read(33.5, "air")
    bench.until("20:00")

    assert bench.outcomes() == [DONE] * 7
    assert [intent.key.window for intent in bench.intents() if intent.key].count("hot day") == 2
