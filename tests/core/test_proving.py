"""A new bed waters by itself only once its floats were seen in both states; a person may stand by before."""

import pytest
from tests.core.bench import LIMITS, PLAN, Bench

from waaler.core import decisions
from waaler.core.facts import Cause, Outcome
from waaler.core.memory import Memory, after_loss
from waaler.core.messages import NewPlan, OrderKind
from waaler.core.state import Proving, Setup
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, Purse, Seen
from waaler.plan.sensing import Sensing

ALL = frozenset((name, level) for name in Input for level in (Level.GOOD, Level.BAD))


def new_bench() -> Bench:
    """The guard shows nothing by itself: it has told of every state before."""
    bench = Bench(memory=Memory(GuardMemory(last_stop_s=60_000.0, seen=ALL), last_full_s=60_000.0))
    bench.put(Proving(ALL, ALL))
    return bench


def unproven(memory: Memory, limits: Limits = LIMITS) -> frozenset[tuple[Input, Level]]:
    begun = decisions.begin(Setup(PLAN, Sensing(), limits, must_be_proven=True), memory, Instant(0.0, 1.8e9))
    return begun.proving.unproven


# --- refusals ---------------------------------------------------------------------------------


def test_no_cycle_runs_before_and_the_history_and_an_alert_say_why() -> None:
    bench = new_bench()
    bench.until("18:30")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.REFUSED, 0)] * 5
    assert bench.results()[0].reason == "not commissioned yet: the floats were not seen in both states"
    assert bench.alerts() == {"not-commissioned"}
    assert "sump_low bad, sump_low good, tray_high bad, tray_high good" in bench.alert_text("not-commissioned")


def test_no_soak_before() -> None:
    answer = new_bench().order(OrderKind.SOAK, 3600)

    assert answer is not None
    assert (answer.is_done, answer.text) == (
        False,
        "not commissioned yet: the floats were not seen in both states; walk through `waaler commission` first",
    )


def test_three_of_four_states_are_not_enough() -> None:
    bench = new_bench()
    for mark in sorted(ALL)[:3]:
        bench.tell(Seen(*mark))
    bench.until("06:30")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.REFUSED, 0)]


# --- armed ------------------------------------------------------------------------------------


def test_with_the_last_state_the_plan_goes_on_with_its_next_cycle_and_makes_nothing_up() -> None:
    bench = new_bench()
    bench.until("07:00")
    for mark in sorted(ALL):
        bench.tell(Seen(*mark))
    assert bench.alerts() == set()
    bench.until("09:30")

    assert bench.deeds() == [*["input-seen"] * 4, "armed"]
    assert bench.outcomes() == [(Cause.PLAN, Outcome.REFUSED, 0), (Cause.PLAN, Outcome.DONE, 120)]


def test_a_file_that_accepts_it_in_writing_lets_the_plan_run() -> None:
    bench = new_bench()
    bench.tell(NewPlan(PLAN, Sensing(), LIMITS, may_be_unproven=True))
    bench.until("06:30")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.DONE, 120)]


def test_what_must_be_seen_is_what_is_fitted_and_not_yet_seen_on_a_bed_that_never_watered() -> None:
    assert unproven(Memory()) == ALL
    assert unproven(Memory(GuardMemory(seen=frozenset({(Input.SUMP_LOW, Level.BAD)})))) == ALL - {
        (Input.SUMP_LOW, Level.BAD)
    }
    assert {name for name, _ in unproven(Memory(), Limits(has_tray_float=False))} == {Input.SUMP_LOW}
    assert unproven(Memory(GuardMemory(has_watered=True))) == frozenset()


def test_a_bed_whose_proof_is_lost_with_journal_and_records_waits_for_a_person() -> None:
    assert unproven(after_loss(PLAN, Instant(0.0, 1.8e9))) == ALL


def test_a_float_found_wrong_by_the_commissioning_disarms_whatever_was_seen_before() -> None:
    bench = new_bench()
    for mark in sorted(ALL):
        bench.tell(Seen(*mark))
    bench.order(OrderKind.COMMISSION, text="FAILED, flow_meter: gave no pulse")
    bench.order(OrderKind.NOTE, text="FAILED, sump_low by hand: a float is wrong, somebody wrote")
    assert bench.alerts() == set()
    bench.order(OrderKind.COMMISSION, text="SWAPPED: exchange the two wires", wrong_float=Input.SUMP_LOW)
    assert bench.alerts() == {"not-commissioned"}
    bench.until("06:30")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.REFUSED, 0)]
    assert "disarmed" in bench.deeds()


def test_a_bed_that_has_watered_by_itself_is_not_disarmed_any_more() -> None:
    bench = new_bench()
    for mark in sorted(ALL):
        bench.tell(Seen(*mark))
    bench.until("06:30")
    bench.order(OrderKind.COMMISSION, text="SWAPPED: exchange the two wires", wrong_float=Input.SUMP_LOW)
    bench.until("09:30")

    assert bench.outcomes() == [(Cause.PLAN, Outcome.DONE, 120)] * 2


# --- attended ---------------------------------------------------------------------------------


def attended(bench: Bench) -> Bench:
    bench.pass_s(600)
    answer = bench.order(OrderKind.ATTEND, 3600)
    assert answer is not None
    assert answer.is_done
    return bench


@pytest.mark.parametrize("seconds", [0.0, 6 * 3600 + 1])
def test_an_attended_time_has_a_length_of_at_most_six_hours(seconds: float) -> None:
    answer = Bench().order(OrderKind.ATTEND, seconds)

    assert answer is not None
    assert (answer.is_done, answer.text) == (False, "give a length of at most 6 h")


def test_nobody_attends_through_a_pause() -> None:
    bench = Bench()
    bench.order(OrderKind.PAUSE, 3600)
    answer = bench.order(OrderKind.ATTEND, 3600)

    assert answer is not None
    assert answer.text == "a pause is in progress; `waaler resume` ends it"


def test_nobody_soaks_through_attended_time() -> None:
    bench = Bench()
    bench.order(OrderKind.ATTEND, 3600)
    answer = bench.order(OrderKind.SOAK, 3600)

    assert answer is not None
    assert answer.text == "attended time is in progress; `waaler resume` ends it"


def test_an_attended_run_is_cut_after_two_minutes_without_a_word_and_goes_on_with_one() -> None:
    bench = attended(Bench())
    bench.order(OrderKind.WATER, 500)
    bench.pass_s(119)
    bench.order(OrderKind.CONFIRM)
    bench.pass_s(119)
    assert bench.is_on
    bench.pass_s(2)

    assert not bench.is_on
    assert bench.outcomes() == [(Cause.ATTENDED, Outcome.STOPPED, 239)]
    assert bench.results()[0].reason == "nobody confirmed to stand by for 2 min"


def test_attended_runs_rest_ten_seconds_and_are_counted_apart() -> None:
    bench = attended(Bench())
    for _ in range(8):
        answer = bench.order(OrderKind.WATER, 20)
        assert answer is not None
        assert answer.is_done
        bench.pass_s(30.1)

    assert bench.outcomes() == [(Cause.ATTENDED, Outcome.DONE, 20)] * 8
    assert {span.purse for span in bench.core.guard.spans} == {Purse.ATTENDED}


def test_floats_cut_an_attended_run_too() -> None:
    bench = attended(Bench())
    bench.order(OrderKind.WATER, 100)
    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.pass_s(1)

    assert not bench.is_on
    assert bench.outcomes()[0][:2] == (Cause.ATTENDED, Outcome.CUT_SHORT)


def test_the_plan_waits_while_somebody_attends_and_goes_on_by_itself() -> None:
    bench = attended(new_bench())
    bench.until("06:05")
    assert bench.outcomes() == [(Cause.PLAN, Outcome.MISSED, 0)]
    assert bench.order(OrderKind.RESUME) is not None
    answer = bench.order(OrderKind.WATER, 20)

    assert answer is not None
    assert answer.is_done
    assert bench.intents()[-1].purse is Purse.SPARE
