"""What wears is told before it stops: drain, pump, filter; and a sensor that skips much."""

from dataclasses import replace

import pytest
from tests.core.bench import LIMITS, PLAN, PROBE, Bench

from waaler.bed.wear import Upkeep
from waaler.core.care import Care
from waaler.core.facts import Outcome
from waaler.core.memory import Memory
from waaler.core.messages import OrderKind
from waaler.core.state import Given
from waaler.guard.messages import Flow
from waaler.plan.sensing import Adviser, AdviserKind, Sensing

METERED = replace(LIMITS, normal_flow_l_per_min=12.0)
TRAY = Sensing(advisers=(Adviser("tray_wet", AdviserKind.TRAY_WET),))


def run(bench: Bench, l_per_min: float) -> None:
    """The next cycle at this flow."""
    while not bench.is_on:
        bench.pass_s(30)
    while bench.is_on:
        bench.tell_guard(Flow(l_per_min))
        bench.tell(Flow(l_per_min))
        bench.pass_s(1)
    bench.tell_guard(Flow(0.0))


def dry_after(bench: Bench, seconds: float) -> None:
    """The next cycle wets the tray, which falls dry so long after its end."""
    while not bench.is_on:
        bench.pass_s(30)
    while bench.is_on:
        bench.read(1.0, "tray_wet")
        bench.pass_s(10)
    ended_s = bench.core.decisions.account.last_stop_s
    while bench.long_s < ended_s + seconds:
        bench.read(1.0, "tray_wet")
        bench.pass_s(min(10.0, ended_s + seconds - bench.long_s))
    bench.read(0.0, "tray_wet")


@pytest.mark.parametrize(("l_per_min", "is_weak"), [(9.0, False), (8.9, True)])
def test_a_pump_of_less_than_three_quarters_of_its_flow_in_three_runs_is_weaker(
    l_per_min: float, is_weak: bool
) -> None:
    bench = Bench(limits=METERED)
    for _ in range(2):
        run(bench, l_per_min)
        assert "pump-weaker" not in bench.alerts()
    run(bench, l_per_min)

    assert ("pump-weaker" in bench.alerts()) is is_weak
    run(bench, 12.0)
    assert "pump-weaker" not in bench.alerts()


def test_a_meter_that_only_the_file_has_is_not_judged_by() -> None:
    bench = Bench()
    bench.new_plan(PLAN, METERED)
    for _ in range(4):
        run(bench, 6.0)

    assert bench.alerts() == set()
    assert {outcome for _, outcome, _ in bench.outcomes()} == {Outcome.DONE}


def test_what_told_of_the_drain_is_over_when_its_sensor_is_taken_out() -> None:
    bench = Bench(sensing=TRAY)
    for seconds in (600.0,) * 3 + (1500.0,) * 3:
        dry_after(bench, seconds)
    assert "drain-slowing" in bench.alerts()
    bench.sensing = Sensing()
    bench.new_plan(PLAN)

    assert "drain-slowing" not in bench.alerts()


def test_the_text_tells_both_flows() -> None:
    bench = Bench(limits=METERED)
    for _ in range(3):
        run(bench, 6.0)

    assert bench.alert_text("pump-weaker").startswith(
        "The pump is weaker than it was: 6 L/min, 50 % of its usual 12 L/min, in three runs.\n"
    )


@pytest.mark.parametrize(("seconds", "is_slow"), [(900.0, False), (930.0, True)])
def test_a_tray_that_dries_half_as_late_again_three_times_has_a_slowing_drain(
    seconds: float, is_slow: bool
) -> None:
    bench = Bench(sensing=TRAY)
    for _ in range(3):
        dry_after(bench, 600.0)
    for _ in range(3):
        assert "drain-slowing" not in bench.alerts()
        dry_after(bench, seconds)

    assert ("drain-slowing" in bench.alerts()) is is_slow
    dry_after(bench, 600.0)
    assert "drain-slowing" not in bench.alerts()


@pytest.mark.parametrize(
    ("upkeep", "is_due"),
    [
        (Upkeep(107_880.0, 0), True),
        (Upkeep(107_879.0, 0), False),
        (Upkeep(0.0, 499), True),
        (Upkeep(0.0, 498), False),
    ],
)
def test_pump_and_filter_are_due_by_hours_or_starts_until_somebody_cleaned_them(
    upkeep: Upkeep, is_due: bool
) -> None:
    bench = Bench(memory=Memory(upkeep=upkeep), care=Care())
    bench.until("06:10")

    assert ("cleaning-due" in bench.alerts()) is is_due
    answer = bench.order(OrderKind.CLEANED, text="filter")
    assert answer is not None
    assert answer.is_done
    assert "cleaning-due" not in bench.alerts()
    assert "cleaned" in bench.deeds()


@pytest.mark.parametrize(("skips", "is_many"), [(1, False), (2, True)])
def test_a_third_of_the_cycles_left_out_is_many(skips: int, is_many: bool) -> None:
    past = [Given(99_000.0 + n, 120.0, 0.0 if n < skips else 120.0, is_skip=n < skips) for n in range(5)]
    bench = Bench(memory=Memory(given=tuple(past)), sensing=Sensing(advisers=(PROBE,)))

    assert ("many-skips" in bench.alerts()) is is_many
    bench.pass_s(86_400)
    assert "many-skips" not in bench.alerts()
