"""A start after a trip, a boot or a pause is announced at the bed; any other begins at once."""

from dataclasses import replace

import pytest
from tests.core.bench import Bench

from waaler.core.facts import Cause, Outcome
from waaler.core.messages import OrderKind
from waaler.guard.messages import Input, Level


def bench_with_buzzer() -> Bench:
    bench = Bench()
    bench.put(replace(bench.core.decisions.setup, announce_s=15.0))
    bench.pass_s(300)
    return bench


def started_after_s(bench: Bench, order: OrderKind = OrderKind.WATER) -> float:
    """Seconds from an order to the relay."""
    bench.order(order, 30)
    for seconds in range(60):
        if bench.is_on:
            return seconds
        bench.pass_s(1)
    raise AssertionError("nothing began")


def rested(bench: Bench) -> Bench:
    started_after_s(bench)
    bench.pass_s(400)
    return bench


def test_the_first_start_after_a_boot_is_announced_for_15_s_and_the_order_is_answered_at_once() -> None:
    bench = bench_with_buzzer()
    answer = bench.order(OrderKind.WATER, 30)

    assert answer is not None
    assert (answer.is_done, answer.text) == (True, "announced at the bed; it starts in 15 s")
    bench.pass_s(14.9)
    assert not bench.is_on
    bench.pass_s(0.2)
    assert bench.is_on


def test_the_next_start_needs_no_announcement() -> None:
    assert started_after_s(rested(bench_with_buzzer())) == 0


def test_without_light_and_buzzer_nothing_is_announced() -> None:
    bench = Bench()
    bench.pass_s(300)

    assert started_after_s(bench) == 0


def _pause_and_resume(bench: Bench) -> None:
    bench.order(OrderKind.PAUSE, 60)
    bench.order(OrderKind.RESUME)


def _pause_that_ends(bench: Bench) -> None:
    bench.order(OrderKind.PAUSE, 60)
    bench.pass_s(61)


def _trip_that_ends(bench: Bench) -> None:
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.pass_s(1)
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    bench.pass_s(1300)


@pytest.mark.parametrize("before", [_pause_and_resume, _pause_that_ends, _trip_that_ends])
def test_a_start_after_a_pause_or_a_trip_is_announced_again(before: object) -> None:
    bench = rested(bench_with_buzzer())
    assert callable(before)
    before(bench)

    assert started_after_s(bench) == 15


def test_a_stop_during_the_announcement_keeps_the_pump_off_and_is_in_the_history() -> None:
    bench = bench_with_buzzer()
    bench.order(OrderKind.WATER, 30)
    bench.pass_s(5)
    bench.order(OrderKind.STOP)
    bench.pass_s(60)

    assert not bench.is_on
    assert bench.outcomes() == [(Cause.HAND, Outcome.STOPPED, 0)]
    assert started_after_s(bench) == 15


def test_a_trip_during_the_announcement_is_refused_by_the_guard() -> None:
    bench = bench_with_buzzer()
    bench.order(OrderKind.WATER, 30)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(20)

    assert not bench.is_on
    assert bench.outcomes() == [(Cause.HAND, Outcome.REFUSED, 0)]


def test_a_planned_cycle_is_announced_and_then_runs_its_time() -> None:
    bench = bench_with_buzzer()
    bench.until("06:00")
    assert not bench.is_on
    bench.pass_s(16)
    assert bench.is_on
    bench.pass_s(200)

    assert bench.outcomes() == [(Cause.PLAN, Outcome.DONE, 120)]


def test_whoever_attends_needs_no_announcement() -> None:
    bench = bench_with_buzzer()
    bench.order(OrderKind.ATTEND, 3600)

    assert started_after_s(bench) == 0
