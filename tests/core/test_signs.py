"""No sign of water: an alert when nothing moved that usually does, and never a trip."""

from dataclasses import replace

from tests.core.bench import LIMITS, PROBE, Bench

from waaler.core.facts import Outcome
from waaler.guard.messages import Flow, ReadBack
from waaler.plan.sensing import Sensing

KIND = "no-sign-of-water"
SENSED = replace(LIMITS, has_read_back=True)
METERED = replace(LIMITS, normal_flow_l_per_min=10.0, flow_within_s=150.0)
WITH_PROBE = Sensing(advisers=(PROBE,))
STARTS = ("06:00", "09:00", "12:00", "15:00", "18:00")


def run(bench: Bench, clock: str, *messages: Flow | ReadBack, moisture: tuple[float, float] | None = None) -> None:
    """Through the cycle at this full hour and an hour on.

    messages: what the guard hears ten seconds into it. moisture: before the cycle, and five minutes after its start.
    """
    bench.until(f"{int(clock[:2]) - 1:02}:59")
    if moisture is not None:
        bench.read(moisture[0])
    bench.pass_s(70)
    for message in messages:
        bench.tell_guard(message)
    bench.pass_s(300)
    if ReadBack(True) in messages:
        bench.tell_guard(ReadBack(False))
    if moisture is not None:
        bench.read(moisture[1])
    bench.pass_s(3000)


def test_a_supply_that_is_never_live_in_a_run_is_told_though_the_run_was_done() -> None:
    bench = Bench(limits=SENSED)
    run(bench, "06:00")

    assert bench.results()[-1].outcome is Outcome.DONE
    assert KIND in bench.alerts()
    assert "(supply)" in bench.alert_text(KIND)
    assert not bench.core.guard.locks


def test_the_next_run_with_a_sign_resolves_it() -> None:
    bench = Bench(limits=SENSED)
    run(bench, "06:00")
    run(bench, "09:00", ReadBack(True))

    assert KIND not in bench.alerts()


def test_a_probe_that_usually_moves_and_once_does_not_is_a_missing_sign() -> None:
    bench = Bench(sensing=WITH_PROBE)
    for clock in STARTS[:3]:
        run(bench, clock, moisture=(70.0, 80.0))
        assert KIND not in bench.alerts()
    run(bench, "15:00", moisture=(70.0, 70.1))
    assert KIND in bench.alerts()
    run(bench, "18:00", moisture=(69.0, 80.0))

    assert KIND not in bench.alerts()


def test_a_probe_that_seldom_moves_is_no_sign() -> None:
    bench = Bench(sensing=WITH_PROBE)
    run(bench, "06:00", moisture=(70.0, 80.0))
    run(bench, "09:00", moisture=(80.0, 80.1))
    run(bench, "12:00", moisture=(80.0, 80.1))

    assert KIND not in bench.alerts()


def test_one_sign_is_enough() -> None:
    bench = Bench(limits=SENSED, sensing=WITH_PROBE)
    run(bench, "06:00", moisture=(70.0, 80.0))

    assert KIND not in bench.alerts()


def test_a_meter_that_showed_flow_is_a_sign_and_a_bed_without_any_says_nothing() -> None:
    metered = Bench(limits=METERED)
    run(metered, "06:00", Flow(9.0))
    assert KIND not in metered.alerts()
    blind = Bench()
    run(blind, "06:00")

    assert KIND not in blind.alerts()


def test_a_run_too_short_to_judge_is_not_judged() -> None:
    bench = Bench(limits=replace(SENSED, longest_run_s=50.0))
    run(bench, "06:00")

    assert KIND not in bench.alerts()
