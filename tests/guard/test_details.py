"""Details of the guard that a single changed sign would break: readings without a vouch, words, new limits, holds."""

from dataclasses import replace
from math import inf

import pytest
from tests.guard.desk import LIMITS, Desk

from waaler.guard.memory import Memory, Span, pump_seconds
from waaler.guard.messages import (
    BeginHold,
    Clear,
    Ended,
    Event,
    Flow,
    Granted,
    Held,
    Hold,
    HoldKind,
    HoldOver,
    Input,
    Instant,
    Level,
    LevelRead,
    LockStays,
    NewLimits,
    Purse,
    ReadBack,
    Refused,
    Relay,
    Trip,
    TripEnded,
    Tripped,
    Wake,
)  # fmt: skip
from waaler.guard.step import step


def reading_desk(**limits: float) -> Desk:
    """A desk at which both floats are read every 0.25 s, as the daemon does, and vouched for no longer."""
    return Desk(limits=replace(LIMITS, **limits), memory=Memory(last_stop_s=0.0))  # type: ignore[arg-type]


def read_for(desk: Desk, seconds: float) -> None:
    for _ in range(round(seconds * 4)):
        for name in Input:
            desk.tell(LevelRead(name, Level.GOOD))
        desk.pass_s(0.25)
    for name in Input:
        desk.tell(LevelRead(name, Level.GOOD))


def refusal(desk: Desk, *words: object, **named: object) -> Refused:
    (refused,) = [a for a in desk.ask(*words, **named) if isinstance(a, Refused)]  # type: ignore[arg-type]
    return refused


# --- readings ---------------------------------------------------------------------------------


def test_good_time_goes_on_from_reading_to_reading() -> None:
    desk = reading_desk()
    read_for(desk, 120)
    desk.ask()

    assert desk.is_on


def test_a_gap_of_a_second_between_readings_breaks_the_good_time() -> None:
    desk = reading_desk()
    read_for(desk, 119)
    desk.pass_s(1.0)
    read_for(desk, 1)

    assert refusal(desk).reason in {f"{name.value} is good again, but not for long enough yet" for name in Input}


def test_the_deadline_of_a_reading_is_the_second_exactly() -> None:
    desk = Desk().ready()
    for name in Input:
        desk.state = replace(
            desk.state,
            watches=tuple((n, replace(w, read_until_s=desk.long_s)) for n, w in desk.state.watches),
        )
        assert name
    desk.ask(60)
    desk.pass_s(0.999)
    assert desk.is_on
    desk.pass_s(0.001)

    assert not desk.is_on


def test_a_float_seen_bad_once_and_good_for_confirm_is_trusted_again() -> None:
    desk = Desk().ready()
    desk.tell(LevelRead(Input.SUMP_LOW, Level.BAD))
    desk.tell(LevelRead(Input.SUMP_LOW, Level.GOOD, desk.long_s + 1e6))
    assert refusal(desk).free_at_s == desk.long_s + 0.3
    desk.pass_s(0.3)
    desk.ask()

    assert desk.is_on


def test_one_bad_reading_that_stays_the_only_one_is_confirmed_by_nothing() -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.tell(LevelRead(Input.SUMP_LOW, Level.BAD))
    desk.pass_s(0.5)

    assert desk.is_on
    desk.pass_s(0.5)
    assert desk.heard(Tripped)[-1][1] == Tripped(Trip.NOT_READ, "sump_low cannot be read", False, Input.SUMP_LOW)


# --- when the same ask could pass -------------------------------------------------------------


def test_a_refusal_for_an_input_says_when_it_will_be_trusted() -> None:
    desk = Desk(memory=Memory(last_stop_s=0.0))
    desk.read(Level.GOOD)
    desk.pass_s(20)

    assert refusal(desk) == Refused(1, "sump_low has not been good for long enough yet", desk.long_s + 100)


def test_after_a_trip_it_says_so_and_counts_the_settle_time() -> None:
    desk = Desk().ready()
    desk.read(Level.BAD, Input.TRAY_HIGH)
    desk.pass_s(1)
    desk.read(Level.GOOD, Input.TRAY_HIGH)
    desk.pass_s(200)

    found = refusal(desk)
    assert found.reason == "tray_high is good again, but not for long enough yet"
    assert found.free_at_s == pytest.approx(desk.long_s + 1000)


def test_a_level_that_is_bad_but_not_confirmed_is_named() -> None:
    desk = Desk().ready()
    desk.read(Level.BAD, Input.TRAY_HIGH)

    assert refusal(desk) == Refused(1, "tray_high does not read good", None)


def test_another_run_says_when_it_and_its_rest_are_over() -> None:
    desk = Desk().ready()
    desk.ask(100)

    assert refusal(desk).free_at_s == desk.long_s + 100 + 300


def test_too_many_starts_say_when_the_oldest_is_an_hour_ago() -> None:
    now_s = 1_000_420.0
    spans = tuple(Span(now_s - 3000.0 + 100 * n, now_s - 2999.0 + 100 * n) for n in range(6))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=now_s - 2000)).ready()

    assert refusal(desk, 60) == Refused(1, "6 starts in the last hour", now_s + 600)


def test_with_one_start_an_hour_the_last_start_counts() -> None:
    now_s = 1_000_420.0
    span = Span(now_s - 1800.0, now_s - 1790.0)
    limits = replace(LIMITS, most_starts_per_h=1)
    desk = Desk(limits=limits, memory=Memory(spans=(span,), last_stop_s=now_s - 1790)).ready()

    assert refusal(desk, 60) == Refused(1, "1 starts in the last hour", now_s + 1800)


def test_with_no_start_allowed_nobody_knows_when() -> None:
    desk = Desk(limits=replace(LIMITS, most_starts_per_h=0)).ready()

    assert refusal(desk, 60) == Refused(1, "0 starts in the last hour", None)


def test_a_start_an_hour_ago_exactly_counts_no_more() -> None:
    now_s = 1_000_420.0
    spans = tuple(Span(now_s - 3600.0 + 10 * n, now_s - 3599.0 + 10 * n) for n in range(6))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=now_s - 3000)).ready()
    desk.ask(60)

    assert desk.is_on


def test_an_ask_is_valid_up_to_its_instant() -> None:
    from waaler.guard.messages import Ask

    desk = Desk().ready()
    desk.tell(Ask(1, 60.0, Purse.PLAN, valid_until_s=desk.long_s))

    assert desk.is_on


def test_a_run_of_half_a_second_is_a_run() -> None:
    desk = Desk().ready()
    desk.ask(0.5)

    assert desk.is_on


def test_a_plan_that_passes_the_most_per_day_is_told_so_and_needs_no_reserve() -> None:
    desk = Desk(limits=replace(LIMITS, most_per_day_s=100.0)).ready()

    assert refusal(desk, 101).reason == "this run would pass the most per day"
    desk.ask(100, reserve_s=50.0)
    assert desk.is_on


def test_spans_before_the_time_asked_for_count_nothing() -> None:
    spans = (Span(0.0, 10.0), Span(20.0, 20.5), Span(30.0, 40.0, Purse.SOAK))

    assert pump_seconds(spans, frozenset({Purse.PLAN}), since_s=15.0) == 0.5


# --- memory -----------------------------------------------------------------------------------


@pytest.mark.parametrize("trip", [Trip.LOW_SUMP, Trip.NOT_READ])
def test_s4_an_input_that_had_tripped_owes_its_settle_time_after_a_restart(trip: Trip) -> None:
    desk = Desk(memory=Memory(last_stop_s=0.0, tripped=frozenset({(Input.SUMP_LOW, trip)})))
    desk.read(Level.GOOD)
    desk.pass_s(1199.9)
    desk.ask()
    assert not desk.is_on
    desk.pass_s(0.1)

    assert TripEnded(trip, Input.SUMP_LOW) in [action for _, action in desk.heard(TripEnded)]
    desk.ask()
    assert desk.is_on


def test_with_a_settle_time_shorter_than_the_start_delay_the_start_delay_holds() -> None:
    limits = replace(LIMITS, settle_sump_s=10.0, settle_tray_s=10.0, run_back_s=10.0)
    desk = Desk(limits=limits, memory=Memory(last_stop_s=0.0, tripped=frozenset({(Input.SUMP_LOW, Trip.LOW_SUMP)})))
    desk.read(Level.GOOD)
    desk.pass_s(119.9)
    desk.ask()
    assert not desk.is_on
    desk.pass_s(0.1)
    desk.ask()

    assert desk.is_on


def test_a_soak_outlives_a_restart() -> None:
    soak = Hold(HoldKind.SOAK, 1_010_000.0, "ann", 900.0)
    desk = Desk(memory=Memory(last_stop_s=0.0, holds=(soak,))).ready()
    desk.ask(60, Purse.SOAK)

    assert desk.is_on


def test_pump_time_of_yesterday_is_forgotten_and_todays_is_kept() -> None:
    old, recent = Span(900_000.0, 900_100.0), Span(990_000.0, 990_100.0)
    desk = Desk(memory=Memory(spans=(old, recent), last_stop_s=0.0)).ready()
    desk.ask(60)
    desk.pass_s(60)

    assert [span.started_s for span in desk.state.spans] == [990_000.0, desk.long_s - 60]


# --- holds ------------------------------------------------------------------------------------


def test_a_hold_is_confirmed_and_its_end_is_told() -> None:
    desk = Desk().ready()
    soak = Hold(HoldKind.SOAK, desk.long_s + 100, "ann", 900)

    assert desk.tell(BeginHold(soak, 7)) == [Held(soak, 7)]
    desk.pass_s(100)
    assert desk.heard(HoldOver) == [(desk.long_s - desk.zero_s, HoldOver(HoldKind.SOAK))]


def test_attended_starts_do_not_use_up_the_plans_starts() -> None:
    now_s = 1_000_420.0
    spans = tuple(Span(now_s - 3000.0 + n, now_s - 2999.5 + n, Purse.ATTENDED) for n in range(9))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=now_s - 2000)).ready()
    desk.ask(60)

    assert desk.is_on


def test_attended_runs_go_on_when_the_plans_starts_are_used_up() -> None:
    now_s = 1_000_420.0
    spans = tuple(Span(now_s - 3000.0 + 100 * n, now_s - 2999.0 + 100 * n) for n in range(6))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=now_s - 2000)).ready()
    desk.tell(BeginHold(Hold(HoldKind.ATTENDED, desk.long_s + 1000, "ann", 900)))
    desk.ask(20, Purse.ATTENDED)

    assert desk.is_on


# --- flow -------------------------------------------------------------------------------------

METER = replace(LIMITS, normal_flow_l_per_min=10.0)


def test_nothing_moves_is_told_and_ends_with_the_first_flow() -> None:
    desk = Desk(limits=METER).ready()
    desk.ask(60)
    desk.pass_s(30)
    assert desk.heard(Tripped)[-1][1] == Tripped(Trip.NO_FLOW, "nothing moves", is_locked=False)
    desk.pass_s(300)
    assert desk.tell(Flow(0.5)) == []
    desk.ask(60)
    desk.pass_s(1)
    assert desk.tell(Flow(0.0)) == []

    assert desk.tell(Flow(0.5)) == [TripEnded(Trip.NO_FLOW)]
    assert desk.tell(Flow(0.5)) == []
    desk.pass_s(40)
    assert desk.is_on


def test_flow_read_before_the_start_is_no_flow() -> None:
    desk = Desk(limits=METER).ready()
    desk.tell(Flow(1.0))
    desk.ask(60)
    desk.pass_s(30)

    assert desk.heard(Ended)[-1][1] == Ended(1, 30.0, "nothing moves", Trip.NO_FLOW, has_flowed=False)


def test_flow_counts_from_the_end_of_the_lines_draining_on() -> None:
    desk = Desk(limits=METER).ready()
    desk.ask(60)
    desk.tell(Flow(9.0))
    desk.pass_s(60 + 60)
    desk.tell(Flow(9.0))
    desk.pass_s(29)
    assert not desk.state.locks
    desk.pass_s(1)

    assert desk.state.locks == {Trip.FLOW_WHILE_OFF}


def test_flow_counts_from_the_very_second_at_which_the_line_has_drained() -> None:
    desk = Desk(limits=METER).ready()
    desk.ask(60)
    desk.tell(Flow(9.0))
    desk.pass_s(60)
    stopped_s = desk.state.last_stop_s
    desk.pass_s(stopped_s + 60 - desk.long_s)
    assert desk.long_s == stopped_s + 60
    desk.tell(Flow(9.0))

    assert desk.state.flow_since_s == desk.long_s


def test_a_guard_with_nothing_to_watch_sleeps_until_it_is_asked() -> None:
    desk = Desk(limits=replace(LIMITS, has_sump_float=False, has_tray_float=False))

    assert desk.wake_s <= desk.long_s
    desk.tell(Wake())
    assert desk.wake_s == inf


def test_a_reserve_of_less_than_a_second_is_told_as_a_reserve() -> None:
    desk = Desk(limits=replace(LIMITS, most_per_day_s=120.0)).ready()
    answer = desk.ask(120, Purse.SPARE, reserve_s=0.5)[-1]

    assert isinstance(answer, Refused)
    assert answer.reason == "the plan's next 24 h leave too little of the most per day"


def test_water_that_still_moves_keeps_its_lock() -> None:
    desk = Desk(limits=METER).ready()
    desk.tell(Flow(9.0))
    desk.pass_s(31)
    assert desk.tell(Clear("ann")) == [LockStays(Trip.FLOW_WHILE_OFF, "water still moves")]
    desk.tell(Flow(0.0))
    desk.tell(Clear("ann"))

    assert not desk.state.locks


def test_a_moving_line_does_not_keep_the_lock_of_a_live_supply() -> None:
    desk = Desk(limits=METER).ready()
    desk.tell(ReadBack(is_on=True))
    desk.pass_s(1)
    desk.tell(ReadBack(is_on=False))
    desk.tell(Flow(9.0))
    desk.tell(Clear("ann"))

    assert not desk.state.locks


def test_both_locks_at_one_instant_are_both_told() -> None:
    desk = Desk(limits=METER).ready()
    desk.tell(Flow(9.0))
    desk.pass_s(29.9)
    desk.tell(ReadBack(is_on=True))
    desk.state, actions, _ = step(desk.state, Event(Instant(desk.long_s + 1.0, 0.0), Wake()))

    assert [action.trip for action in actions if isinstance(action, Tripped)] == [Trip.OVERRUN, Trip.FLOW_WHILE_OFF]


def test_what_was_seen_while_off_does_not_count_into_the_time_after_the_next_run() -> None:
    desk = Desk(limits=METER).ready()
    desk.tell(Flow(9.0))
    desk.pass_s(20)
    desk.ask(60)
    desk.pass_s(60)
    desk.pass_s(15)

    assert not desk.state.locks


def test_a_late_end_tells_the_overrun() -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.long_s += 65
    actions = desk.tell(Wake())

    assert actions == [
        Relay(on=False),
        Ended(1, 65.0, "locked: ran too long", Trip.OVERRUN),
        Tripped(Trip.OVERRUN, "locked: ran too long", is_locked=True),
    ]


# --- new limits -------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "limit"), [(Input.SUMP_LOW, "settle_sump_s"), (Input.TRAY_HIGH, "settle_tray_s")])
def test_s12_a_longer_settle_time_holds_at_once_for_an_input_that_tripped(name: Input, limit: str) -> None:
    desk = Desk().ready()
    desk.read(Level.BAD, name)
    desk.pass_s(1)
    desk.read(Level.GOOD, name)
    desk.tell(NewLimits(desk.take_limits(**{limit: 2000.0})))
    desk.pass_s(1999)
    desk.ask()
    assert not desk.is_on
    desk.pass_s(1)
    desk.ask()

    assert desk.is_on


def test_new_settle_times_hold_for_the_next_trip_too() -> None:
    desk = Desk().ready()
    desk.tell(NewLimits(desk.take_limits(settle_sump_s=50.0, run_back_s=50.0)))
    desk.read(Level.BAD, Input.SUMP_LOW)
    desk.pass_s(1)
    desk.read(Level.GOOD, Input.SUMP_LOW)
    desk.pass_s(50)
    desk.ask()

    assert desk.is_on


def test_new_limits_do_not_touch_an_input_that_is_trusted() -> None:
    desk = Desk().ready()
    desk.tell(NewLimits(desk.take_limits(start_delay_s=5000.0)))
    desk.ask()

    assert desk.is_on


def test_during_the_start_delay_new_limits_do_not_forgive_it() -> None:
    desk = Desk(memory=Memory(last_stop_s=0.0))
    desk.read(Level.GOOD)
    desk.pass_s(60)
    desk.tell(NewLimits(desk.take_limits()))
    desk.ask()

    assert not desk.is_on


def test_new_confirm_and_stale_times_hold_at_once() -> None:
    desk = Desk().ready()
    desk.tell(NewLimits(desk.take_limits(confirm_s=2.0, stale_after_s=5.0)))
    desk.ask(60)
    desk.read(Level.BAD, Input.SUMP_LOW)
    desk.pass_s(1.9)
    assert desk.is_on
    desk.pass_s(0.2)
    assert not desk.is_on

    assert all((watch.confirm_s, watch.stale_after_s) == (2.0, 5.0) for _, watch in desk.state.watches)


def test_new_limits_hold_from_the_next_ask_and_keep_what_is_fitted() -> None:
    desk = Desk(limits=replace(LIMITS, has_read_back=True)).ready()
    desk.tell(NewLimits(replace(LIMITS, longest_run_s=50.0, has_read_back=False, has_tray_float=False)))

    assert desk.state.limits.has_read_back
    assert desk.state.limits.has_tray_float
    assert desk.state.limits.has_sump_float
    assert desk.ask(600)[1] == Granted(1, desk.long_s + 50)


def test_equal_limits_leave_the_words_of_a_runs_end_alone() -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.tell(NewLimits(desk.take_limits()))
    desk.pass_s(60)

    assert desk.heard(Ended)[-1][1] == Ended(1, 60.0, "ran its time")
