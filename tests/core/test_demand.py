"""Cycles by light and by what the crop has drunk: when they come, what resets them, what happens without their input."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from tests.core.bench import PLAN, Bench

from waaler.bed.crops import Crop, Stages
from waaler.bed.demand import Shelter, Site
from waaler.bed.figures import Figures
from waaler.bed.pots import Pot, alike
from waaler.bed.thirst import Thirst
from waaler.bed.weather import Weather
from waaler.core.facts import Cause, Outcome
from waaler.guard.messages import Input, Instant, Level, Relay
from waaler.plan.sensing import Adviser, AdviserKind, Sensing
from waaler.plan.types import ClockMoment, Evenly, OnDemand, PerDemand, PerLight, Plan, Trigger, Window

ROOF = Adviser("roof", AdviserKind.LIGHT, lowest=-1.0, highest=1300.0, most_change_per_min=float("inf"))
AIR = Adviser("air", AdviserKind.TEMPERATURE, most_change_per_min=10.0)
PLANTED = datetime(2026, 5, 1, tzinfo=UTC).date()
CROP = Crop("beans", Stages((1, 1, 400, 1), 1.0, 0.3), PLANTED, 0.5, 1.5, 2.5)
THIRST = Thirst(
    Site(38.72, 50.0, Shelter(0.7, False)),
    Figures(pots=alike(2, Pot(crop=CROP))),
    Weather(((28.0, 14.0),) * 12),
    -9.14,
)


def plan(trigger: Trigger, least_gap_s: float = 1800.0, most: int = 20) -> Plan:
    """The fallback waters at 06 and 18 h."""
    rule = OnDemand(trigger, ClockMoment(6 * 60), ClockMoment(20 * 60), least_gap_s, most)
    window = Window("sun", Evenly(2, ClockMoment(6 * 60), ClockMoment(18 * 60)), 120.0, on_demand=rule)
    return Plan(PLAN.place, (window,), longest_gap_s=20 * 3600.0)


def sunny_until(bench: Bench, clock: str, w_per_m2: float | None = 500.0, air_c: float | None = 21.0) -> None:
    """Reads every two minutes up to a local hour, today or tomorrow."""
    zone = datetime.fromisoformat(bench.start).tzinfo
    local = datetime.fromtimestamp(bench.wall_s).astimezone(zone)
    hour, minute = map(int, clock.split(":"))
    end = local.replace(hour=hour, minute=minute)
    end += timedelta(days=1) if end <= local else timedelta()
    while bench.wall_s < end.timestamp() - 1:
        bench.pass_s(120.0)
        for adviser in bench.sensing.advisers:
            bench.read(w_per_m2 if adviser is ROOF else air_c, adviser.name)


def bench_of(trigger: Trigger, sensing: Sensing, least_gap_s: float = 1800.0, most: int = 20) -> Bench:
    return Bench(plan=plan(trigger, least_gap_s, most), sensing=sensing, thirst=THIRST)


def causes(bench: Bench) -> list[tuple[Cause, Outcome]]:
    return [(cause, outcome) for cause, outcome, _ in bench.outcomes()]


def starts(bench: Bench) -> list[Instant]:
    return [at for at, output in bench.outputs if isinstance(output, Relay) and output.on]


BY_LIGHT = Sensing(advisers=(ROOF,))
BY_AIR = Sensing(advisers=(AIR,))
ON_DEMAND = (Cause.ON_DEMAND, Outcome.DONE)


# --- light ------------------------------------------------------------------------------------


def test_without_light_nothing_is_asked_and_the_fallback_waits_for_the_longest_gap() -> None:
    bench = bench_of(PerLight("roof", 1.2), BY_LIGHT)
    sunny_until(bench, "19:00", w_per_m2=0.0)

    assert causes(bench) == [(Cause.PLAN, Outcome.DONE)]  # at 18 h, a day after the last


def test_with_the_light_sensor_not_valid_the_windows_own_cycles_count() -> None:
    bench = bench_of(PerLight("roof", 1.2), BY_LIGHT)
    sunny_until(bench, "19:00", w_per_m2=None)

    assert causes(bench) == [(Cause.PLAN, Outcome.DONE)] * 2


def test_a_cycle_comes_each_time_the_light_since_the_last_run_passes_the_sum() -> None:
    """500 W/m2 are 1.8 MJ/m2 an hour: a cycle every 40 minutes for 1.2 MJ/m2, from 06:00 when the window opens."""
    bench = bench_of(PerLight("roof", 1.2), BY_LIGHT)
    sunny_until(bench, "10:10")
    begun = [at.wall_s for at in starts(bench)]

    assert causes(bench) == [ON_DEMAND] * 7
    # the window opens at 06:00, an hour after the light was first seen
    assert begun[0] - datetime.fromisoformat(bench.start).timestamp() == pytest.approx(3600.0, abs=121)
    gaps_min = [(b - a) / 60 for a, b in pairwise(begun)]
    assert gaps_min == pytest.approx([41.0] * 6, abs=1.1)  # a sum begins anew when the run ends
    assert bench.intents()[1].reason == "roof: 1.20 MJ/m2 of light since the last full run, 1.2 wanted"


def test_a_least_gap_and_a_most_a_day_hold_whatever_the_light() -> None:
    bench = bench_of(PerLight("roof", 0.3), BY_LIGHT, 3600.0, most=4)
    sunny_until(bench, "19:00")
    begun = [at.long_s for at in starts(bench)]

    assert len(begun) == 4
    assert all(b - a >= 3600 for a, b in pairwise(begun))


def test_light_that_nobody_saw_is_not_summed() -> None:
    bench = bench_of(PerLight("roof", 1.2), BY_LIGHT)
    bench.read(500.0, "roof")
    bench.pass_s(40 * 60.0)
    bench.read(500.0, "roof")

    assert bench.core.decisions.demand.sums == ()


def test_a_light_sensor_that_rests_at_one_value_through_runs_stays_valid_and_skips_nothing() -> None:
    bench = Bench(plan=PLAN, sensing=BY_LIGHT)
    sunny_until(bench, "19:00")

    assert causes(bench) == [(Cause.PLAN, Outcome.DONE)] * 5
    assert bench.alerts() == set()


# --- demand -----------------------------------------------------------------------------------


def test_a_cycle_comes_each_time_the_thirstiest_pot_has_drunk_its_share() -> None:
    bench = bench_of(PerDemand(0.25), BY_AIR)
    sunny_until(bench, "20:30")
    count = causes(bench).count(ON_DEMAND)
    day_l = THIRST.day_l(datetime.fromtimestamp(bench.wall_s, UTC).date())

    assert count == pytest.approx(day_l / 0.25, abs=1.5)
    assert count >= 4
    assert "a pot drank 25" in bench.intents()[0].reason
    assert bench.intents()[0].reason.endswith("mL since the last full run, 250 mL wanted")


def test_after_a_day_of_a_hot_thermometer_cycles_come_more_often() -> None:
    counts = []
    for thermometer in (None, "air"):
        bench = bench_of(PerDemand(0.25, thermometer), BY_AIR)
        for clock, air_c in (("08:00", 20.0), ("20:00", 42.0), ("06:00", 20.0), ("20:30", 42.0)):
            sunny_until(bench, clock, air_c=air_c)
        counts.append(causes(bench).count(ON_DEMAND))

    assert counts[1] > 1.2 * counts[0]


def test_with_the_thermometer_not_valid_the_windows_own_cycles_count() -> None:
    bench = bench_of(PerDemand(0.25, "air"), BY_AIR)
    sunny_until(bench, "19:00", air_c=None)

    assert causes(bench) == [(Cause.PLAN, Outcome.DONE)] * 2


def test_a_refused_cycle_is_asked_for_again_only_after_the_least_gap() -> None:
    bench = bench_of(PerLight("roof", 0.2), BY_LIGHT)
    bench.level(Input.TRAY_HIGH, Level.BAD)
    sunny_until(bench, "09:00")
    refused = [outcome for outcome in causes(bench) if outcome == (Cause.ON_DEMAND, Outcome.REFUSED)]

    assert 5 <= len(refused) <= 7
