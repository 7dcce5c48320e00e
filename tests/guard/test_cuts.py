"""What ends a run, and how soon."""

from dataclasses import replace
from typing import cast

import pytest
from tests.guard.desk import LIMITS, Desk

from waaler.guard.messages import (
    BeginHold,
    Clear,
    Cut,
    Ended,
    Flow,
    Granted,
    Hold,
    HoldKind,
    Input,
    Level,
    LevelRead,
    LockLifted,
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


def about(value: float) -> float:
    """A number that equals any within a rounding of it."""
    return cast(float, pytest.approx(value))


MEANING = {
    Input.SUMP_LOW: (Trip.LOW_SUMP, "sump low"),
    Input.TRAY_HIGH: (Trip.HIGH_TRAY, "tray too full: is the drain blocked?"),
}
HOLD_S = {Input.SUMP_LOW: 1200.0, Input.TRAY_HIGH: 1200.0}


def test_s1_a_run_ends_at_its_deadline() -> None:
    desk = Desk().ready()
    start_s = desk.long_s - desk.zero_s
    desk.ask(120)
    desk.pass_s(1000)

    assert [entry for entry in desk.said if entry[0] >= start_s and not isinstance(entry[1], TripEnded)] == [
        (start_s, Relay(on=True)),
        (start_s, Granted(1, desk.zero_s + start_s + 120)),
        (start_s + 120, Relay(on=False)),
        (start_s + 120, Ended(1, 120.0, "ran its time")),
    ]


def test_s2_no_run_is_granted_longer_than_600_s() -> None:
    desk = Desk().ready()
    desk.ask(5000)
    desk.pass_s(599.9)
    assert desk.is_on
    desk.pass_s(0.1)

    assert not desk.is_on


def test_a_cut_ends_the_run_with_its_reason() -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(20)

    assert desk.tell(Cut("stopped by hand")) == [Relay(on=False), Ended(1, 20.0, "stopped by hand")]


def test_a_cut_without_a_run_does_nothing() -> None:
    assert Desk().ready().tell(Cut("stopped by hand")) == []


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_a_bad_level_cuts_once_it_has_stood_for_confirm(name: Input) -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(20)
    desk.read(Level.BAD, name)
    desk.pass_s(0.29)
    assert desk.is_on
    desk.pass_s(0.02)

    trip, words = MEANING[name]
    assert not desk.is_on
    assert desk.heard(Ended)[-1][1] == Ended(1, about(20.3), words, trip)
    assert desk.heard(Tripped)[-1][1] == Tripped(trip, words, is_locked=False, input=name)


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_one_bad_reading_cuts_nothing(name: Input) -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.tell(LevelRead(name, Level.BAD))
    desk.pass_s(0.02)
    desk.read(Level.GOOD, name)
    desk.pass_s(60)

    assert desk.is_on


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_a_float_that_chatters_counts_as_bad(name: Input) -> None:
    desk = Desk().ready()
    desk.ask(120)
    for tick in range(20):
        desk.tell(LevelRead(name, Level.BAD if tick % 2 == 0 else Level.GOOD))
        desk.pass_s(0.02)

    (ended,) = [action for _, action in desk.heard(Ended)]
    assert isinstance(ended, Ended)
    assert 0.3 <= ended.seconds <= 0.35


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_a_read_that_fails_cuts_at_once(name: Input) -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(20)

    actions = desk.tell(LevelRead(name, Level.NOT_READ))

    assert actions == [
        Tripped(Trip.NOT_READ, f"{name.value} cannot be read", is_locked=False, input=name),
        Relay(on=False),
        Ended(1, 20.0, f"{name.value} cannot be read", Trip.NOT_READ),
    ]


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_no_reading_for_1_s_cuts(name: Input) -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.tell(LevelRead(name, Level.GOOD))
    desk.state = replace(
        desk.state,
        watches=tuple((n, replace(w, read_until_s=desk.long_s) if n is name else w) for n, w in desk.state.watches),
    )
    desk.tell(Wake())
    desk.pass_s(0.99)
    assert desk.is_on
    desk.pass_s(0.02)

    assert not desk.is_on


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_no_start_until_good_for_the_longer_of_settle_and_run_back(name: Input) -> None:
    desk = Desk().ready()
    desk.read(Level.BAD, name)
    desk.pass_s(1)
    desk.read(Level.GOOD, name)
    desk.pass_s(HOLD_S[name] - 0.1)
    desk.ask()
    assert not desk.is_on
    desk.pass_s(0.1)

    assert desk.heard(TripEnded)[-1] == (about(desk.long_s - desk.zero_s), TripEnded(MEANING[name][0], name))
    desk.ask()
    assert desk.is_on


@pytest.mark.parametrize("name", list(Input))
def test_s4_s5_one_bad_reading_begins_the_settle_time_again(name: Input) -> None:
    desk = Desk().ready()
    desk.read(Level.BAD, name)
    desk.pass_s(1)
    desk.read(Level.GOOD, name)
    desk.pass_s(1000)
    desk.tell(LevelRead(name, Level.BAD))
    desk.read(Level.GOOD, name)
    desk.pass_s(1199)
    desk.ask()
    assert not desk.is_on
    desk.pass_s(1)
    desk.ask()

    assert desk.is_on


def test_s4_no_count_of_level_cuts_becomes_a_lock() -> None:
    desk = Desk().ready()
    for _ in range(12):
        desk.ask(60)
        assert desk.is_on
        desk.read(Level.BAD, Input.SUMP_LOW)
        desk.pass_s(1)
        desk.read(Level.GOOD, Input.SUMP_LOW)
        desk.pass_s(1300)

    assert desk.state.locks == frozenset()


def test_s1_a_read_back_that_stays_on_after_off_locks() -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.tell(ReadBack(is_on=True))
    desk.pass_s(60)
    assert not desk.is_on
    desk.pass_s(0.19)
    assert not desk.state.locks
    desk.pass_s(0.02)

    assert desk.heard(Tripped)[-1][1] == Tripped(Trip.OVERRUN, "locked: ran too long", is_locked=True)


def test_s1_a_read_back_that_follows_the_relay_locks_nothing() -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.tell(ReadBack(is_on=True))
    desk.pass_s(60.1)
    desk.tell(ReadBack(is_on=False))
    desk.pass_s(1000)

    assert not desk.state.locks


@pytest.mark.parametrize(("late_s", "is_locked"), [(1.9, False), (2.0, True)])
def test_s1_a_relay_found_on_2_s_past_its_deadline_locks(late_s: float, is_locked: bool) -> None:
    desk = Desk().ready()
    desk.ask(60)
    desk.long_s += 60 + late_s
    desk.tell(Wake())

    assert not desk.is_on
    assert (desk.state.locks == {Trip.OVERRUN}) is is_locked


def test_s7_only_a_person_lifts_a_lock_and_only_if_its_cause_is_gone() -> None:
    desk = Desk().ready()
    desk.tell(ReadBack(is_on=True))
    desk.pass_s(0.3)
    assert desk.tell(Clear("ann")) == [LockStays(Trip.OVERRUN, "the supply behind the last contact is still live")]
    desk.tell(ReadBack(is_on=False))
    desk.pass_s(100_000)
    assert desk.state.locks == {Trip.OVERRUN}

    assert desk.tell(Clear("ann")) == [LockLifted(Trip.OVERRUN, "ann")]
    desk.ask()
    assert desk.is_on


def test_clear_lifts_no_level_trip() -> None:
    desk = Desk().ready()
    desk.read(Level.BAD, Input.TRAY_HIGH)
    desk.pass_s(1)
    desk.tell(Clear("ann"))
    desk.read(Level.GOOD, Input.TRAY_HIGH)
    desk.pass_s(10)

    assert isinstance(desk.ask()[-1], Refused)


WITH_METER = replace(LIMITS, normal_flow_l_per_min=10.0)


def test_no_flow_30_s_after_the_start_cuts_and_locks_nothing() -> None:
    desk = Desk(limits=WITH_METER).ready()
    desk.ask(120)
    desk.tell(Flow(0.0))
    desk.pass_s(29.9)
    assert desk.is_on
    desk.pass_s(0.2)

    assert desk.heard(Ended)[-1][1] == Ended(1, about(30.0), "nothing moves", Trip.NO_FLOW, has_flowed=False)
    assert not desk.state.locks


def test_flow_seen_in_time_lets_the_run_go_on_and_its_loss_cuts() -> None:
    desk = Desk(limits=WITH_METER).ready()
    desk.ask(120)
    desk.pass_s(5)
    desk.tell(Flow(9.0))
    desk.pass_s(60)
    assert desk.is_on
    desk.tell(Flow(0.0))

    assert not desk.is_on


@pytest.mark.parametrize(("l_per_min", "is_locked"), [(2.0, False), (2.1, True)])
def test_flow_above_a_fifth_of_normal_for_30_s_with_the_pump_off_locks(l_per_min: float, is_locked: bool) -> None:
    desk = Desk(limits=WITH_METER).ready()
    desk.tell(Flow(l_per_min))
    desk.pass_s(29.9)
    desk.tell(Flow(l_per_min))
    assert not desk.state.locks
    desk.pass_s(0.2)

    assert (desk.state.locks == {Trip.FLOW_WHILE_OFF}) is is_locked


def test_a_line_that_runs_back_for_60_s_locks_nothing() -> None:
    desk = Desk(limits=WITH_METER).ready()
    desk.ask(60)
    desk.tell(Flow(9.0))
    desk.pass_s(60)
    for _ in range(59):
        desk.tell(Flow(3.0))
        desk.pass_s(1)
    desk.tell(Flow(0.0))
    desk.pass_s(100)

    assert not desk.state.locks


@pytest.mark.parametrize("jump_s", [-86_400.0, -3600.0, 3600.0, 31_536_000.0])
def test_s9_a_wall_step_changes_no_length_and_no_rest(jump_s: float) -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(30)
    desk.step_wall(jump_s)
    desk.tell(Wake())
    desk.pass_s(89.9)
    assert desk.is_on
    desk.pass_s(0.1)
    assert not desk.is_on
    desk.step_wall(jump_s)
    desk.pass_s(299.9)
    desk.ask()
    assert not desk.is_on
    desk.pass_s(0.1)
    desk.ask()

    assert desk.is_on


def test_s12_looser_limits_do_not_lengthen_a_run_in_progress() -> None:
    desk = Desk().ready()
    desk.ask(5000)
    desk.tell(NewLimits(desk.take_limits(longest_run_s=5000.0, most_per_day_s=80_000.0)))
    desk.pass_s(600)

    assert not desk.is_on


def test_s12_stricter_limits_shorten_a_run_at_once() -> None:
    desk = Desk().ready()
    desk.ask(600)
    desk.pass_s(100)
    desk.tell(NewLimits(desk.take_limits(longest_run_s=200.0)))
    desk.pass_s(99.9)
    assert desk.is_on
    desk.pass_s(0.1)
    assert desk.heard(Ended)[-1][1] == Ended(1, about(200.0), "a stricter limit was set")

    desk.pass_s(300)
    desk.ask(600)
    desk.pass_s(50)
    desk.tell(NewLimits(desk.take_limits(most_per_day_s=240.0)))
    assert not desk.is_on


def test_new_limits_do_not_unfit_a_float() -> None:
    desk = Desk().ready()
    desk.tell(NewLimits(desk.take_limits(has_sump_float=False)))
    desk.read(Level.BAD, Input.SUMP_LOW)
    desk.pass_s(1)
    desk.ask()

    assert not desk.is_on


def test_attended_runs_rest_10_s_and_their_starts_are_not_counted() -> None:
    desk = Desk().ready()
    desk.tell(BeginHold(Hold(HoldKind.ATTENDED, desk.long_s + 3600, "ann", most_s=1800)))
    for _ in range(8):
        desk.ask(20, Purse.ATTENDED)
        assert desk.is_on
        desk.pass_s(20 + 10)

    assert not desk.is_on
