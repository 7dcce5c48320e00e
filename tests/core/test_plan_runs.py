"""The plan as it runs: cycles, gaps in time, steps of the clock, restarts."""

from dataclasses import replace
from itertools import pairwise
from math import nextafter

import pytest
from tests.core.bench import LIMITS, PLAN, Bench

from waaler.core import joined, runs
from waaler.core.facts import Cause, Outcome
from waaler.core.memory import Memory, after_loss
from waaler.core.messages import Answer, Look, OrderKind
from waaler.core.state import Active, Stage, Wanted
from waaler.core.turn import Turn
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Ask, Input, Instant, Level, Purse, Relay
from waaler.plan.types import ClockMoment, Evenly, Plan, Window

DONE = (Cause.PLAN, Outcome.DONE, 120)


def test_a_day_runs_as_planned() -> None:
    bench = Bench()
    bench.pass_s(86_400)

    assert bench.outcomes() == [DONE] * 5
    assert [intent.reason for intent in bench.intents()] == ["as planned"] * 5
    assert bench.alerts() == set()


@pytest.mark.parametrize("known", [GuardMemory(last_run_id=50), GuardMemory(reserved_run_id=50)])
def test_run_ids_go_on_above_what_the_guard_remembers(known: GuardMemory) -> None:
    """The records lack what the disk did not take."""
    bench = Bench(memory=Memory(next_run_id=3, guard=known))
    bench.until("07:00")

    assert bench.intents()[0].run_id == 51


def test_the_intent_is_written_before_the_relay_moves_and_the_result_after() -> None:
    bench = Bench()
    bench.until("07:00")

    kinds = [type(getattr(o, "fact", o)).__name__ for _, o in bench.outputs]
    assert kinds == ["RunIntent", "Relay", "RunStarted", "Relay", "RunResult"]


def test_a_cycle_found_minutes_late_still_runs_once() -> None:
    bench = Bench()
    bench.pass_s(3500)
    bench._move(bench.long_s + 700)
    bench.level(Input.SUMP_LOW, Level.GOOD)
    bench.tell(Look())
    bench.pass_s(600)

    assert bench.outcomes() == [DONE]


def test_s16_a_look_less_than_a_microsecond_before_a_cycle_does_not_deal_with_it() -> None:
    bench = Bench()
    bench.pass_s(3000.0)
    six_s = bench.wall_s + 600.0
    for wall_s in (nextafter(six_s, 0.0), six_s + 0.001):
        bench.wall_s = wall_s
        bench.tell(Look())

    assert [intent.key.start_s for intent in bench.intents() if intent.key] == [six_s]


def test_of_cycles_that_passed_unseen_none_older_than_a_quarter_of_an_hour_runs() -> None:
    long_s = 100_000.0
    memory = Memory(
        guard=GuardMemory(last_stop_s=long_s - 7200), last_full_s=long_s - 7200,
        looked_at_s=1_782_014_400.0 - 3600,
    )  # fmt: skip
    bench = Bench(start="2026-06-21T12:30:00+01:00", memory=memory)
    bench.pass_s(60)

    assert [r.outcome for r in bench.results()] == [Outcome.MISSED] * 3
    assert {r.reason for r in bench.results()} == {"its time passed while nothing could run"}
    assert not bench.is_on


@pytest.mark.parametrize("jump_s", [-86_400.0, -3600.0, 3600.0, 86_400.0, 31_536_000.0])
def test_s9_a_clock_step_makes_up_at_most_one_cycle(jump_s: float) -> None:
    bench = Bench()
    bench.until("10:00")
    assert bench.outcomes() == [DONE] * 2
    bench.step_wall(jump_s)
    bench.pass_s(1800)

    done = [outcome for outcome in bench.outcomes() if outcome[1] is Outcome.DONE]
    assert len(done) <= 3


@pytest.mark.parametrize("jump_s", [-3600.0, -2 * 3600.0])
def test_s9_a_clock_set_back_repeats_no_cycle_before_the_longest_gap_has_passed(jump_s: float) -> None:
    bench = Bench()
    bench.until("09:30")
    bench.step_wall(jump_s)
    bench.pass_s(-jump_s)

    assert bench.outcomes() == [DONE] * 2


def test_s9_a_clock_set_back_a_day_lets_no_day_pass_without_water() -> None:
    bench = Bench()
    bench.pass_s(86_400)
    bench.step_wall(-86_400.0)
    before = len(bench.results())
    bench.pass_s(86_400)

    assert len(bench.results()) - before >= 4


def test_a_new_plan_makes_up_nothing_that_is_past() -> None:
    bench = Bench()
    bench.until("10:00")
    bench.new_plan(Plan(PLAN.place, (Window("day", Evenly(25, ClockMoment(6 * 60), ClockMoment(18 * 60)), 120.0),)))
    bench.pass_s(60)

    assert bench.outcomes() == [DONE] * 2
    bench.until("10:35")
    assert bench.outcomes() == [DONE] * 3
    assert "new-plan" in bench.deeds()


def test_a_refused_cycle_is_caught_up_once_the_longest_gap_has_passed() -> None:
    bench = Bench()
    bench.until("08:59")
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.until("09:05")
    assert bench.outcomes()[-1] == (Cause.PLAN, Outcome.REFUSED, 0)
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    bench.until("10:25")
    assert bench.outcomes()[-1] == (Cause.PLAN, Outcome.REFUSED, 0)
    bench.until("10:40")

    assert bench.outcomes()[-1] == (Cause.CATCH_UP, Outcome.DONE, 120)
    bench.until("20:00")
    assert [o for o in bench.outcomes() if o[0] is Cause.CATCH_UP] == [(Cause.CATCH_UP, Outcome.DONE, 120)]


def test_a_bed_that_waits_too_long_is_an_urgent_alert_until_a_full_run() -> None:
    bench = Bench()
    bench.until("08:59")
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.until("12:30")
    assert {"cycle-missed", "tray-high"} <= bench.alerts()
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    bench.until("15:10")

    assert bench.alerts() == set()


# --- an unsure clock --------------------------------------------------------------------------


def test_a_boot_with_an_unsure_clock_waters_once_after_two_minutes_of_good_inputs() -> None:
    bench = Bench(is_sure=False, start="2026-06-21T02:00:00+01:00")
    bench.pass_s(119)
    assert not bench.is_on
    bench.pass_s(240)

    assert bench.outcomes() == [(Cause.CATCH_UP, Outcome.DONE, 120)]
    assert "clock unsure" in bench.intents()[0].reason
    assert "clock-unsure" in bench.alerts()


def test_power_that_comes_and_goes_every_three_minutes_does_not_loop() -> None:
    bench = Bench(is_sure=False, start="2026-06-21T02:00:00+01:00")
    bench.pass_s(400)
    caught_up_s = bench.core.decisions.account.last_full_s
    memory = Memory(
        guard=GuardMemory(last_stop_s=caught_up_s), last_full_s=caught_up_s, last_catch_up_s=caught_up_s
    )
    for _ in range(5):
        again = Bench(is_sure=False, start="2026-06-21T02:10:00+01:00", memory=memory, long_s=bench.long_s)
        again.pass_s(180)
        assert again.outcomes() == []


def test_while_the_clock_is_unsure_no_gap_exceeds_the_plans_daytime_gap() -> None:
    bench = Bench(is_sure=False, start="2026-06-21T19:00:00+01:00")
    bench.pass_s(11 * 3600)

    ends = [result.at.long_s for result in bench.results() if result.outcome is Outcome.DONE]
    gaps = [b - a for a, b in pairwise(ends)]
    assert len(ends) >= 3
    assert max(gaps) <= 3 * 3600 * 1.5 + 300


def test_a_clock_that_becomes_sure_tells_nothing_of_the_time_before() -> None:
    bench = Bench(is_sure=False, start="2026-01-01T00:00:00+00:00")
    bench.pass_s(600)
    bench.is_sure = True
    bench.step_wall(170 * 86_400.0 + 3600 * 13)
    bench.pass_s(60)

    assert not [result for result in bench.results() if result.outcome is Outcome.MISSED]
    assert "clock-unsure" not in bench.alerts()


# --- records that fail ------------------------------------------------------------------------


def test_s10_an_intent_that_is_not_recorded_within_2_s_keeps_no_plant_waiting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench()
    monkeypatch.setattr(joined, "Recorded", lambda run_id, is_kept: Look())
    bench.until("06:00")
    assert not bench.is_on
    bench.pass_s(1.9)
    assert not bench.is_on
    bench.pass_s(0.2)

    assert bench.is_on
    assert "history-not-kept" in bench.alerts()
    assert [o for _, o in bench.outputs if isinstance(o, Relay)] == [Relay(on=True)]


def test_a_run_that_the_guard_never_answered_counts_in_full_once_it_would_be_over(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench()
    true = joined._step_guard
    deaf = lambda now, at, said, outputs: (now, []) if isinstance(said, Ask) else true(now, at, said, outputs)  # noqa: E731
    monkeypatch.setattr(joined, "_step_guard", deaf)
    bench.until("06:00")
    bench.pass_s(120 + 14)
    assert bench.results() == []
    bench.pass_s(2)

    (result,) = bench.results()
    assert (result.outcome, result.seconds, result.reason) == (
        Outcome.INTERRUPTED, 120.0, "the guard did not answer",
    )  # fmt: skip


def test_a_person_whose_run_the_guard_never_answered_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench()
    true = joined._step_guard
    deaf = lambda now, at, said, outputs: (now, []) if isinstance(said, Ask) else true(now, at, said, outputs)  # noqa: E731
    monkeypatch.setattr(joined, "_step_guard", deaf)
    bench.pass_s(600)
    assert bench.order(OrderKind.WATER, 60.0) is None
    bench.pass_s(60 + 16)

    (answer,) = [output for _, output in bench.outputs if isinstance(output, Answer)]
    assert (answer.is_done, answer.text) == (False, "the guard did not answer")


def test_a_run_that_the_guard_never_answered_counts_no_longer_than_it_can_have_been(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench(limits=replace(LIMITS, longest_run_s=100.0))
    true = joined._step_guard
    deaf = lambda now, at, said, outputs: (now, []) if isinstance(said, Ask) else true(now, at, said, outputs)  # noqa: E731
    monkeypatch.setattr(joined, "_step_guard", deaf)
    bench.pass_s(600)
    bench.order(OrderKind.WATER, 160.0)
    bench.pass_s(160 + 16)

    assert [result.seconds for result in bench.results()] == [100.0]


def test_after_lost_records_no_run_id_is_given_that_the_guard_has_granted() -> None:
    guard = GuardMemory(last_stop_s=60_000.0, last_run_id=7, reserved_run_id=9)
    bench = Bench(memory=Memory(guard, last_full_s=60_000.0))
    bench.until("06:30")

    assert [intent.run_id for intent in bench.intents()] == [10]
    assert bench.outcomes() == [DONE]


def test_run_ids_after_a_loss_of_journal_and_records_lie_above_any_that_an_unread_history_may_have() -> None:
    lost = after_loss(PLAN, Instant(0.0, 1_782_864_000.0))

    assert lost.next_run_id == lost.guard.reserved_run_id + 1 == 82_864_001
    assert after_loss(PLAN, Instant(0.0, 0.0)).next_run_id == 1, "a clock that was never set gives no numbers"


def test_at_the_instant_that_it_asked_to_be_woken_it_never_asks_for_the_same_again() -> None:
    """Two seconds after this instant are less than two seconds after it, in binary fractions."""
    since_s = 32767.418684543725
    assert (since_s + 2.0) - since_s < 2.0
    bench = Bench()
    state = bench.core.decisions
    turn = Turn(state, replace(bench.at, long_s=since_s + 2.0))
    wanted = Wanted(Cause.HAND, Purse.SPARE, 30.0, "ordered by ann")
    turn.go_on_with(Active(1, wanted, Stage.INTENT, since_s))

    assert runs.advance(turn) > turn.now_s
