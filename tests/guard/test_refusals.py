"""What the guard says no to. Limits stand here again as literals."""

import math
from dataclasses import replace

import pytest
from tests.guard.desk import LIMITS, Desk

from waaler.guard.limits import Limits
from waaler.guard.memory import Memory, Span
from waaler.guard.messages import (
    Ask,
    BeginHold,
    Granted,
    Hold,
    HoldKind,
    Input,
    Level,
    LevelRead,
    Purse,
    Refused,
    Relay,
    Trip,
)  # fmt: skip


def refusal(actions: list) -> str:  # type: ignore[type-arg]
    (refused,) = [action for action in actions if isinstance(action, Refused)]
    assert not [action for action in actions if isinstance(action, (Relay, Granted))]
    return str(refused.reason)


def test_no_run_before_any_input_was_read() -> None:
    desk = Desk()
    desk.pass_s(3600)

    assert refusal(desk.ask()) == "sump_low cannot be read"


@pytest.mark.parametrize(("good_for_s", "is_granted"), [(119.9, False), (120.0, True)])
def test_after_a_start_inputs_must_have_been_good_for_120_s(good_for_s: float, is_granted: bool) -> None:
    desk = Desk(memory=Memory(last_stop_s=0.0))
    desk.read(Level.GOOD)
    desk.pass_s(good_for_s)

    desk.ask()

    assert desk.is_on is is_granted


@pytest.mark.parametrize(("after_s", "is_granted"), [(299.9, False), (300.0, True)])
def test_s6_no_start_within_300_s_of_the_last_stop(after_s: float, is_granted: bool) -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.pass_s(60)
    assert not desk.is_on
    desk.pass_s(after_s)

    desk.ask(60)

    assert desk.is_on is is_granted


@pytest.mark.parametrize(("after_s", "is_granted"), [(299.9, False), (300.0, True)])
def test_s6_a_last_stop_of_unknown_age_counts_as_the_start(after_s: float, is_granted: bool) -> None:
    desk = Desk(memory=Memory(last_stop_s=None))
    desk.read(Level.GOOD)
    desk.pass_s(after_s)

    desk.ask()

    assert desk.is_on is is_granted


def test_an_ask_that_waited_too_long_starts_nothing() -> None:
    desk = Desk().ready()
    ask = Ask(1, 60.0, Purse.PLAN, valid_until_s=desk.long_s + 5.0)
    desk.pass_s(5.1)

    assert refusal(desk.tell(ask)) == "asked too long ago"


@pytest.mark.parametrize("seconds", [math.nan, 0.0, -5.0])
def test_no_run_of_no_length(seconds: float) -> None:
    desk = Desk().ready()

    assert refusal(desk.ask(seconds)) == "no length was asked for"


def test_an_ask_whose_validity_is_no_number_is_refused() -> None:
    desk = Desk().ready()

    assert refusal(desk.tell(Ask(1, 60.0, Purse.PLAN, valid_until_s=math.nan))) == "asked too long ago"


def test_no_second_run_while_one_is_in_progress() -> None:
    desk = Desk().ready()
    desk.ask(120)

    assert refusal(desk.ask(30)) == "another run is in progress"
    assert desk.is_on


def test_no_start_on_a_float_that_was_just_seen_bad_though_not_yet_confirmed() -> None:
    desk = Desk().ready()
    desk.tell(LevelRead(Input.SUMP_LOW, Level.BAD))
    desk.tell(LevelRead(Input.SUMP_LOW, Level.GOOD, desk.long_s + 1e6))

    assert refusal(desk.ask()) == "sump_low has not been good for long enough yet"


@pytest.mark.parametrize("name", list(Input))
def test_no_start_on_a_reading_older_than_1_s(name: Input) -> None:
    desk = Desk(memory=Memory(last_stop_s=0.0))
    desk.read(Level.GOOD, for_s=200.0)
    other = next(i for i in Input if i is not name)
    desk.read(Level.GOOD, other)
    desk.pass_s(200.9)
    desk.tell(LevelRead(other, Level.GOOD, desk.long_s + 1e6))
    desk.pass_s(0.2)

    assert refusal(desk.ask()) == f"{name.value} cannot be read"


@pytest.mark.parametrize(("used_s", "is_granted"), [(3480.0, True), (3481.0, False)])
def test_s3_no_run_past_3600_s_in_24_h(used_s: float, is_granted: bool) -> None:
    spans = (Span(940_000.0, 940_000.0 + used_s / 2), Span(950_000.0, 950_000.0 + used_s / 2, Purse.SPARE))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=0.0)).ready()

    desk.ask(120)

    assert desk.is_on is is_granted


@pytest.mark.parametrize(("inside_s", "is_granted"), [(3000.0, True), (3001.0, False)])
def test_s3_of_a_run_that_began_before_the_24_h_only_the_part_inside_counts(
    inside_s: float, is_granted: bool
) -> None:
    edge_s = 1_000_420.0 - 86_400.0
    span = Span(edge_s - 3000.0, edge_s + inside_s)
    desk = Desk(memory=Memory(spans=(span,), last_stop_s=0.0)).ready()
    assert desk.long_s - 86_400.0 == edge_s

    desk.ask(600)

    assert desk.is_on is is_granted


def test_s3_a_hand_run_draws_only_on_what_the_plan_leaves_free() -> None:
    desk = Desk().ready()

    assert refusal(desk.ask(600, Purse.SPARE, reserve_s=3000.1)).startswith("the plan's next 24 h leave too little")
    assert not desk.is_on
    desk.ask(600, Purse.SPARE, reserve_s=3000.0)
    assert desk.is_on


@pytest.mark.parametrize("purse", [Purse.SOAK, Purse.ATTENDED])
def test_s3_no_soak_and_no_attended_run_without_a_persons_hold(purse: Purse) -> None:
    desk = Desk().ready()

    assert refusal(desk.ask(60, purse)) == f"no time for {purse.value} runs was granted"


def test_s3_a_soak_has_a_cap_of_its_own() -> None:
    desk = Desk().ready()
    desk.tell(BeginHold(Hold(HoldKind.SOAK, desk.long_s + 5000.0, "ann", most_s=900.0)))
    desk.ask(600, Purse.SOAK)
    desk.pass_s(600 + 300)

    assert refusal(desk.ask(301, Purse.SOAK)) == "this run would pass the most for soak runs"
    desk.ask(300, Purse.SOAK)
    assert desk.is_on


def test_s3_a_soak_run_ends_when_its_hold_does() -> None:
    desk = Desk().ready()
    desk.tell(BeginHold(Hold(HoldKind.SOAK, desk.long_s + 100.0, "ann", most_s=900.0)))
    desk.ask(600, Purse.SOAK)
    desk.pass_s(99.9)
    assert desk.is_on
    desk.pass_s(0.1)

    assert not desk.is_on


@pytest.mark.parametrize(("starts", "is_granted"), [(5, True), (6, False)])
def test_no_more_than_6_starts_in_an_hour(starts: int, is_granted: bool) -> None:
    now_s = 1_000_000.0 + 420.0
    spans = tuple(Span(now_s - 3599.0 + 10 * n, now_s - 3598.0 + 10 * n) for n in range(starts))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=now_s - 3000.0)).ready()

    actions = desk.ask(60)

    assert desk.is_on is is_granted
    if not is_granted:
        assert refusal(actions) == "6 starts in the last hour"


@pytest.mark.parametrize("lock", [Trip.OVERRUN, Trip.FLOW_WHILE_OFF])
def test_s7_a_lock_refuses_every_run(lock: Trip) -> None:
    desk = Desk(memory=Memory(locks=frozenset({lock}), last_stop_s=0.0)).ready()

    assert refusal(desk.ask()).startswith("locked: ")


def test_a_refusal_says_when_the_same_ask_could_pass() -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.pass_s(60 + 100)

    (refused,) = desk.ask(60)

    assert refused == Refused(2, "the pump rests between two runs", desk.long_s + 200.0)


def test_without_a_sump_float_only_the_tray_is_asked() -> None:
    desk = Desk(limits=Limits(has_sump_float=False))
    desk.read(Level.GOOD, Input.TRAY_HIGH)
    desk.pass_s(LIMITS.start_delay_s + LIMITS.rest_s)

    desk.ask()

    assert desk.is_on


def test_the_same_run_asked_for_twice_is_granted_the_same_deadline_and_one_start() -> None:
    """A refusal of a run that is on its way would go into the records as one that never was."""
    desk = Desk().ready()
    first = desk.ask(60)
    again = Ask(desk.run_id, 60.0, Purse.PLAN, valid_until_s=desk.long_s + 5.0)
    desk.pass_s(2.0)

    assert desk.tell(again) == [action for action in first if isinstance(action, Granted)]
    assert refusal(desk.tell(replace(again, run_id=desk.run_id + 1))) == "another run is in progress"
    desk.pass_s(58.0)
    assert not desk.is_on


def test_a_refusal_by_the_days_cap_says_when_enough_of_it_is_a_day_old() -> None:
    day_s = 86_400.0
    spans = (Span(940_000.0, 941_000.0), Span(950_000.0, 952_000.0), Span(960_000.0, 969_000.0, Purse.SOAK))
    desk = Desk(memory=Memory(spans=spans, last_stop_s=0.0)).ready()

    def free_at_s(reserve_s: float) -> float | None:
        (refused,) = [a for a in desk.ask(600, Purse.SPARE, reserve_s) if isinstance(a, Refused)]
        return refused.free_at_s

    assert free_at_s(100.0) == 940_000.0 + 100.0 + day_s
    assert free_at_s(1500.0) == 950_000.0 + 500.0 + day_s
    assert free_at_s(3001.0) is None, "not even a day without a run would do"
