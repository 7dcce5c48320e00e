"""A sump too low for a run: tries grow apart, and the first sign of more water ends the wait."""

from itertools import pairwise

import pytest
from tests.core.bench import Bench
from tests.core.test_doses import sump_lasts
from tests.core.test_sump_days import bed

from waaler.core.facts import Amount, Cause, Outcome, RunStarted
from waaler.core.messages import OrderKind
from waaler.core.present import present
from waaler.core.state import Dips, Later
from waaler.guard.messages import Input, Level
from waaler.guard.names import Hindrance

HOUR_S = 3600.0
FILL_S = 60 * 1.5 / (14 * 0.9)
"""Of the invented bed's line, 1.5 L, by its 14 outlets of 0.9 L/min: arithmetic by hand."""


def falls_dry(bench: Bench, seconds: float) -> None:
    """The run in progress goes on for so long; then its sump is low until the water is back."""
    bench.pass_s(seconds)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(180.0)
    bench.level(Input.SUMP_LOW, Level.GOOD)


def dry_since_six(seconds: float = 4.0, bench: Bench | None = None) -> Bench:
    bench = bench or Bench()
    bench.until("06:00")
    falls_dry(bench, seconds)
    return bench


def started(bench: Bench) -> list[float]:
    return [fact.at.long_s for fact in bench.facts() if isinstance(fact, RunStarted)]


def dips(bench: Bench) -> Dips:
    return bench.core.decisions.dips


# --- the wait ---------------------------------------------------------------------------------


def test_a_run_that_gave_the_plants_nothing_is_not_tried_again_at_once() -> None:
    """The bed's floats are trusted again 20 min after the cut; the rest of the dose must not come then."""
    bench = dry_since_six()
    bench.until("07:55")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.CUT_SHORT, 4)]
    assert (dips(bench).vain, dips(bench).pulse_s) == (1, None)


def test_a_sump_that_stays_just_too_low_starts_the_pump_at_most_six_times_a_day() -> None:
    bench = Bench()
    bench.until("05:59")
    for _ in range(2):
        n = len(started(bench))
        sump_lasts(bench, "05:59", 4.0)
        assert 3 <= len(started(bench)[n:]) <= 6
    waits_s = [b - a for a, b in pairwise(started(bench))]
    assert waits_s[0] == pytest.approx(2 * HOUR_S, abs=60)
    assert min(waits_s[1:]) >= 4 * HOUR_S


def test_cycles_that_come_due_meanwhile_are_missed_and_say_why() -> None:
    bench = dry_since_six()
    bench.put(Dips(vain=1, try_at_s=bench.long_s + 4 * HOUR_S))
    bench.until("09:05")

    assert (Cause.PLAN, Outcome.MISSED, 0) in bench.outcomes()
    reasons = [result.reason for result in bench.results() if result.outcome is Outcome.MISSED]
    assert reasons == ["the sump falls low before water reaches the plants"]
    assert bench.core.decisions.account.is_owed


def test_a_soak_waits_too() -> None:
    bench = Bench()
    bench.pass_s(300)
    bench.order(OrderKind.SOAK, 6 * HOUR_S)
    falls_dry(bench, 4.0)
    n = len(started(bench))
    bench.pass_s(1.8 * HOUR_S)

    assert len(started(bench)) == n
    bench.pass_s(0.3 * HOUR_S)
    assert len(started(bench)) == n + 1


@pytest.mark.parametrize(("seconds", "is_vain"), [(36.0, True), (38.0, False)])
def test_a_run_must_outlast_the_fill_of_the_line_by_half_a_minute(seconds: float, is_vain: bool) -> None:
    assert 36.0 < FILL_S + 30.0 < 38.0
    bench = dry_since_six(seconds, bed())

    assert (dips(bench).vain == 1) is is_vain


def test_pulses_are_never_shorter_than_that() -> None:
    bench = bed()
    bench.put(Dips(low_cuts=1))
    dry_since_six(40.0, bench)

    assert dips(bench).pulse_s == pytest.approx(FILL_S + 30.0)


def test_what_a_person_at_the_bed_does_to_the_sump_keeps_no_cycle_away() -> None:
    """The walk through a new bed draws the sump down until its float stops the pump."""
    bench = Bench()
    bench.pass_s(300)
    bench.order(OrderKind.ATTEND, 600.0)
    bench.order(OrderKind.WATER, 60.0)
    falls_dry(bench, 4.0)

    assert bench.outcomes() == [(Cause.ATTENDED, Outcome.CUT_SHORT, 4)]
    assert dips(bench) == Dips()


# --- its end ----------------------------------------------------------------------------------


def test_a_refill_waters_as_soon_as_the_float_is_trusted() -> None:
    bench = dry_since_six()
    bench.pass_s(1800)
    bench.order(OrderKind.REFILL)
    bench.pass_s(200)

    assert bench.outcomes()[-1][1] is Outcome.DONE
    assert dips(bench) == Dips()


def test_a_refill_does_not_wait_for_the_next_catch_up() -> None:
    bench = dry_since_six()
    bench.put(Dips(vain=2, try_at_s=bench.long_s + 6 * HOUR_S))
    bench.put(Later(catch_up_at_s=bench.long_s + 6 * HOUR_S))
    bench.until("11:00")
    bench.order(OrderKind.REFILL)
    bench.pass_s(200)

    assert bench.outcomes()[-1] == (Cause.CATCH_UP, Outcome.DONE, 120)


@pytest.mark.parametrize(("litres", "is_enough"), [(46.0, False), (90.0, True)])
def test_a_level_that_can_carry_a_run_ends_the_wait(litres: float, is_enough: bool) -> None:
    """Half a minute at 12.6 L/min and the line's 1.5 L take 7.8 L; the mark is at 45 L."""
    bench = dry_since_six(4.0, bed())
    bench.pass_s(1800)
    bench.order(OrderKind.MEASURE, amounts=(Amount("sump", litres, "L"),))
    bench.pass_s(300)

    assert (bench.outcomes()[-1][1] is Outcome.DONE) is is_enough


def test_a_float_that_was_low_at_rest_and_is_good_again_ends_the_wait() -> None:
    bench = dry_since_six()
    bench.pass_s(1500)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(3000)
    assert bench.alerts() >= {"sump-low"}
    bench.level(Input.SUMP_LOW, Level.GOOD)
    bench.pass_s(1500)

    assert bench.outcomes()[-1][1] is Outcome.DONE
    assert dips(bench).vain == 0


def test_what_a_person_orders_is_tried_at_once_and_ends_the_wait_if_it_lasts() -> None:
    bench = dry_since_six()
    bench.pass_s(1500)
    assert bench.order(OrderKind.WATER, 60.0) is not None
    bench.pass_s(65)

    assert (Cause.HAND, Outcome.DONE, 60) in bench.outcomes()
    assert dips(bench).vain == 0


# --- what is told -----------------------------------------------------------------------------


def test_every_face_says_what_waits_and_until_when() -> None:
    bench = dry_since_six()
    bench.pass_s(1500)

    told = present(bench.core.decisions, bench.core.guard, bench.at)
    assert told.wait is not None
    assert (told.wait.what, f"{told.wait.until:%H:%M}") == (Hindrance.TOO_LOW, "08:00")
    assert told.wait.do == "fill the sump, then `waaler refill`"


def test_the_alert_says_what_to_do_and_when_the_next_try_comes() -> None:
    bench = dry_since_six(4.0, bed())
    bench.pass_s(1500)
    text = bench.alert_now("sump-too-low-for-a-run")

    assert text.startswith("The sump is too low for a run: in the last run it fell low before water reached the")
    assert "Next try: Sun 21 Jun 08:00" in text
    assert "add " in text
    bench.order(OrderKind.REFILL)
    assert "sump-too-low-for-a-run" not in bench.alerts()
