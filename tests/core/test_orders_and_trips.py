"""What people order, and what trips do to the plan and to what people are told."""

import pytest
from tests.core.bench import Bench

from waaler.core.facts import AlertRaised, Cause, Outcome
from waaler.core.messages import OrderKind
from waaler.guard.limits import Limits
from waaler.guard.messages import Input, Level, Purse, ReadBack, Trip

DONE = (Cause.PLAN, Outcome.DONE, 120)


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "seconds", "text"),
    [
        (OrderKind.PAUSE, 0.0, "give a length of at most 12 h"),
        (OrderKind.PAUSE, 12 * 3600 + 1, "give a length of at most 12 h"),
        (OrderKind.SERVICE, 13 * 3600, "give a length of at most 12 h"),
        (OrderKind.SOAK, 49 * 3600, "give a length of at most 48 h"),
        (OrderKind.RESUME, 0.0, "nothing is paused"),
        (OrderKind.CLEAR, 0.0, "nothing is locked; other trips end by themselves"),
    ],
)
def test_an_order_that_makes_no_sense_is_answered_with_what_does(
    kind: OrderKind, seconds: float, text: str
) -> None:
    answer = Bench().order(kind, seconds)

    assert answer is not None
    assert (answer.is_done, answer.text) == (False, text)


def test_water_by_hand_is_refused_with_the_guards_reason_while_the_tray_is_full() -> None:
    bench = Bench()
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.pass_s(1)

    answer = bench.order(OrderKind.WATER, 60)

    assert answer is not None
    assert (answer.is_done, answer.text) == (False, "refused: tray too full: is the drain blocked?")
    assert bench.outcomes() == [(Cause.HAND, Outcome.REFUSED, 0)]


def test_water_by_hand_while_a_run_is_on_is_refused() -> None:
    bench = Bench()
    bench.until("06:01")

    answer = bench.order(OrderKind.WATER, 60)

    assert answer is not None
    assert answer.text == "another run is on its way; stop it first"


def test_water_by_hand_is_refused_while_hands_may_be_in_the_sump() -> None:
    bench = Bench()
    bench.pass_s(600)
    bench.order(OrderKind.SERVICE, 3600)

    answer = bench.order(OrderKind.WATER, 60)

    assert answer is not None
    assert not answer.is_done
    assert not bench.is_on


# --- orders -----------------------------------------------------------------------------------


def test_water_by_hand_runs_in_the_orderers_name_and_is_never_longer_than_the_longest_run() -> None:
    bench = Bench()
    bench.pass_s(600)
    answer = bench.order(OrderKind.WATER, 3000)
    assert answer is not None
    assert (answer.is_done, answer.text) == (True, "running for 600 s")
    bench.pass_s(700)

    assert bench.outcomes() == [(Cause.HAND, Outcome.DONE, 600)]
    assert (bench.intents()[0].by, bench.intents()[0].reason) == ("ann", "ordered by ann")
    assert bench.intents()[0].purse is Purse.SPARE


def test_stop_ends_this_run_only() -> None:
    bench = Bench()
    bench.until("06:01")
    bench.order(OrderKind.STOP)
    assert not bench.is_on
    bench.until("09:05")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.STOPPED, 60), DONE]
    assert bench.results()[0].reason == "stopped by ann"


def test_a_pause_cuts_and_misses_cycles_and_ends_by_itself() -> None:
    bench = Bench()
    bench.until("06:01")
    bench.order(OrderKind.PAUSE, 4 * 3600)
    assert not bench.is_on
    bench.until("12:05")

    assert bench.outcomes() == [
        (Cause.PLAN, Outcome.STOPPED, 60),
        (Cause.PLAN, Outcome.MISSED, 0),
        (Cause.CATCH_UP, Outcome.DONE, 120),
        DONE,
    ]
    assert bench.results()[1].reason == "pause by ann"
    assert bench.deeds()[:2] == ["pause", "pause-over"]


def test_resume_ends_a_pause_early() -> None:
    bench = Bench()
    bench.order(OrderKind.PAUSE, 4 * 3600)
    bench.pass_s(600)
    bench.order(OrderKind.RESUME)
    bench.until("06:10")

    assert bench.outcomes() == [DONE]


def test_a_pause_longer_than_the_longest_gap_alerts_until_it_is_over() -> None:
    bench = Bench()
    bench.order(OrderKind.PAUSE, 6 * 3600)
    assert "paused-long" in bench.alerts()
    bench.pass_s(6 * 3600)

    assert "paused-long" not in bench.alerts()


def test_a_service_is_silent_about_levels_and_ends_by_itself() -> None:
    bench = Bench()
    bench.order(OrderKind.SERVICE, 3600)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.pass_s(3000)
    assert bench.alerts() == set()
    bench.pass_s(700)

    assert bench.alerts() == {"tray-high"}
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    bench.pass_s(1300)
    assert bench.alerts() == {"sump-low"}


def test_a_soak_runs_the_longest_run_with_rest_between_and_ends_at_its_hour() -> None:
    bench = Bench()
    bench.pass_s(600)
    bench.order(OrderKind.SOAK, 2 * 3600)
    bench.pass_s(2 * 3600)
    runs = [outcome for outcome in bench.outcomes() if outcome[0] is Cause.SOAK]
    assert runs[:4] == [(Cause.SOAK, Outcome.DONE, 600)] * 4
    assert len(runs) >= 6
    bench.until("09:10")

    assert [outcome for outcome in bench.outcomes() if outcome[1] is Outcome.SKIPPED] == [
        (Cause.PLAN, Outcome.SKIPPED, 0)
    ]
    assert bench.outcomes()[-1] == DONE


def test_s16_a_cycle_that_a_soak_stands_for_is_written_down_at_its_time() -> None:
    bench = Bench(limits=Limits(most_starts_per_h=1))
    bench.until("08:37")
    bench.order(OrderKind.SOAK, 7200.0)
    bench.until("09:01")

    (skipped,) = [result for result in bench.results() if result.outcome is Outcome.SKIPPED]
    assert skipped.at.wall_s == bench.wall_s - 60.0


def test_a_soak_goes_on_after_a_refill() -> None:
    bench = Bench()
    bench.order(OrderKind.SOAK, 10 * 3600)
    bench.pass_s(700)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(3600)
    assert "sump-low" in bench.alerts()
    assert bench.alert_text("sump-low").startswith("First fill: the dry media have taken")
    bench.level(Input.SUMP_LOW, Level.GOOD)
    before = len(bench.results())
    bench.pass_s(2 * 3600)

    assert len([r for r in bench.results()[before:] if r.outcome is Outcome.DONE]) >= 3
    assert bench.alerts() == set()


def test_a_lock_is_released_by_clear_once_its_cause_is_gone() -> None:
    bench = Bench()
    bench.tell_guard(ReadBack(is_on=True))
    bench.pass_s(1)
    assert "overrun" in bench.alerts()
    bench.until("06:05")
    assert bench.outcomes() == [(Cause.PLAN, Outcome.REFUSED, 0)]
    bench.order(OrderKind.CLEAR)
    assert "overrun" in bench.alerts()
    bench.tell_guard(ReadBack(is_on=False))

    answer = bench.order(OrderKind.CLEAR)

    assert answer is not None
    assert answer.is_done
    assert "overrun" not in bench.alerts()
    bench.until("09:05")
    assert bench.outcomes()[-1] == DONE


# --- the sump's two levels --------------------------------------------------------------------


def dip(bench: Bench, after_s: float = 60.0) -> None:
    """The sump's float falls so long into the run that is on, and rises again once the water is back."""
    bench.pass_s(after_s)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(60)
    bench.level(Input.SUMP_LOW, Level.GOOD)


def test_a_single_dip_in_a_run_cuts_it_and_alarms_nobody() -> None:
    bench = Bench()
    bench.until("06:00")
    dip(bench)
    bench.pass_s(7200)

    assert bench.outcomes() == [(Cause.PLAN, Outcome.CUT_SHORT, 60), (Cause.PLAN, Outcome.DONE, 60)]
    assert bench.results()[0].reason == "sump low"
    assert "sump-low" not in bench.alerts()


def test_a_sump_still_low_when_the_water_is_back_is_urgent_and_nobody_is_told_to_refill_before() -> None:
    bench = Bench()
    bench.until("06:01")
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(2 * 1200)  # run-back, and as long again as a float that was good would have kept the trip
    assert bench.alerts() == set()
    bench.pass_s(30)

    assert bench.alert_text("sump-low").startswith("Sump low at rest.")


def test_a_sump_that_reads_good_once_the_water_is_back_is_not_low_at_rest_though_the_trip_still_stands() -> None:
    bench = Bench()
    bench.until("06:01")
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(600)
    bench.level(Input.SUMP_LOW, Level.GOOD)
    bench.pass_s(1199)
    assert Trip.LOW_SUMP in bench.core.decisions.barriers.trips
    bench.pass_s(4000)

    assert bench.core.decisions.barriers.trips == frozenset()
    assert not [fact for fact in bench.facts() if isinstance(fact, AlertRaised)]


def test_a_sump_that_gets_low_at_rest_is_told_at_once_and_after_a_refill_only_if_it_stays_low() -> None:
    bench = Bench()
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(1)
    assert "sump-low" in bench.alerts()

    bench.order(OrderKind.REFILL, litres=100.0)
    bench.level(Input.SUMP_LOW, Level.GOOD)
    bench.pass_s(4000)
    assert "sump-low" not in bench.alerts()
    assert sum(isinstance(fact, AlertRaised) and fact.kind == "sump-low" for fact in bench.facts()) == 1


def test_while_the_tray_is_high_nobody_is_told_to_refill() -> None:
    bench = Bench()
    bench.until("06:01")
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.pass_s(20_000)

    assert "sump-low" not in bench.alerts()
    assert "Do NOT add water" in bench.alert_text("tray-high")


def test_after_two_dips_in_a_row_doses_come_in_pulses_until_a_refill() -> None:
    bench = Bench()
    bench.until("06:00")
    dip(bench)
    bench.until("09:00")
    dip(bench)
    assert [end for _, end, _ in bench.outcomes()] == [Outcome.CUT_SHORT, Outcome.DONE, Outcome.CUT_SHORT]
    assert "sump-low-in-runs" in bench.alerts()
    bench.until("11:00")
    n = len(bench.intents())
    bench.until("14:00")
    pulses = bench.intents()[n:]
    assert [(intent.pulse, intent.pulses, intent.seconds) for intent in pulses] == [
        (1, 3, 40.0),
        (2, 3, 40.0),
        (3, 3, 40.0),
    ]
    starts = [intent.at.long_s for intent in pulses]
    assert starts[1] - starts[0] >= 40 + 1200
    assert "sump-low-in-runs" in bench.alerts(), "until a refill"

    bench.order(OrderKind.REFILL, litres=60.0)
    bench.until("18:05")

    assert bench.outcomes()[-1] == DONE
    assert "sump-low-in-runs" not in bench.alerts()
