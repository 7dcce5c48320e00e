"""S14: from the moment a person's hold is answered, no run starts that it forbids."""

from dataclasses import replace

import pytest
from tests.guard.desk import Desk

from waaler.guard import journal
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Action,
    Ask,
    BeginHold,
    Ended,
    EndHolds,
    Granted,
    Held,
    Hold,
    HoldKind,
    HoldOver,
    Instant,
    Purse,
    Refused,
    Relay,
    Stop,
    Stopped,
)  # fmt: skip
from waaler.guard.state import memory_of

HOUR_S = 3600.0


def hold(desk: Desk, kind: HoldKind, seconds: float = HOUR_S, by: str = "ann", most_s: float = 0.0) -> list[Action]:
    return desk.tell(BeginHold(Hold(kind, desk.long_s + seconds, by, most_s), 7))


def refused(actions: list[Action]) -> list[str]:
    assert not [action for action in actions if isinstance(action, Granted | Relay)]
    return [action.reason for action in actions if isinstance(action, Refused)]


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize("purse", list(Purse))
@pytest.mark.parametrize("kind", [HoldKind.SERVICE, HoldKind.PAUSE])
def test_s14_no_run_of_any_kind_starts_during_a_service_or_a_pause(kind: HoldKind, purse: Purse) -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.ATTENDED, most_s=900)
    hold(desk, HoldKind.SOAK, most_s=900)
    hold(desk, kind, 1000)

    assert refused(desk.ask(60, purse))
    desk.pass_s(999.9)
    assert refused(desk.ask(60, purse))
    assert not desk.is_on


def test_s14_a_refusal_names_the_hold_who_wanted_it_and_when_it_ends() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.SERVICE)
    until_s = desk.long_s + HOUR_S

    assert desk.ask() == [Refused(1, "service by ann", until_s)]


@pytest.mark.parametrize("kind", [HoldKind.SERVICE, HoldKind.PAUSE])
def test_s14_a_run_decided_on_before_the_hold_and_asked_for_after_it_is_refused(kind: HoldKind) -> None:
    desk = Desk().ready()
    ask = Ask(1, 120.0, Purse.PLAN, desk.long_s + 5.0, intended_s=desk.long_s)
    desk.pass_s(0.3)
    hold(desk, kind)
    desk.pass_s(0.3)

    assert refused(desk.tell(ask)) == [f"{kind.value} by ann"]


@pytest.mark.parametrize("purse", [Purse.PLAN, Purse.SPARE, Purse.SOAK])
def test_s14_beside_a_person_who_attends_only_their_own_runs_start(purse: Purse) -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.ATTENDED, most_s=900)

    assert refused(desk.ask(60, purse))
    desk.ask(60, Purse.ATTENDED)
    assert desk.is_on


def test_s14_during_a_soak_the_plan_waits_and_a_person_may_water() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.SOAK, most_s=900)

    assert refused(desk.ask(60, Purse.PLAN)) == ["soak by ann"]
    desk.ask(60, Purse.SPARE)
    assert desk.is_on


def test_s3_a_soak_whose_time_is_used_up_says_when_the_first_of_it_is_a_day_old() -> None:
    """300 s of 300 at once; 60 s more fit when the first 60 of them are a day old."""
    desk = Desk().ready()
    hold(desk, HoldKind.SOAK, 40 * HOUR_S, most_s=300)
    begun_s = desk.long_s
    desk.ask(300, Purse.SOAK)
    desk.pass_s(300 + desk.limits.rest_s)

    assert desk.ask(60, Purse.SOAK) == [
        Refused(2, "this run would pass the most for soak runs", begun_s + 60 + 24 * HOUR_S)
    ]
    assert desk.ask(301, Purse.SOAK) == [Refused(3, "this run would pass the most for soak runs", None)]


# --- cuts -------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [HoldKind.SERVICE, HoldKind.PAUSE])
def test_s14_a_service_and_a_pause_cut_the_run_in_progress_before_they_are_answered(kind: HoldKind) -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(20)
    until_s = desk.long_s + HOUR_S

    assert hold(desk, kind) == [
        Relay(on=False),
        Ended(1, 20.0, f"{kind.value} by ann"),
        Held(Hold(kind, until_s, "ann"), 7),
    ]


@pytest.mark.parametrize("kind", [HoldKind.ATTENDED, HoldKind.SOAK])
def test_who_attends_or_soaks_lets_the_run_in_progress_come_to_its_end(kind: HoldKind) -> None:
    desk = Desk().ready()
    desk.ask(120)
    hold(desk, kind, most_s=900)

    assert desk.is_on


# --- how long ---------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", list(HoldKind))
def test_s14_no_order_of_its_own_kind_shortens_a_hold(kind: HoldKind) -> None:
    desk = Desk().ready()
    first = Hold(kind, desk.long_s + 2 * HOUR_S, "ann", 900.0)
    desk.tell(BeginHold(first))

    assert hold(desk, kind, 60, by="ben", most_s=10.0) == [Held(first, 7)]
    assert desk.state.holds == (first,)


def test_a_longer_order_lengthens_a_hold_and_names_who_gave_it() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.PAUSE, 60)
    hold(desk, HoldKind.PAUSE, HOUR_S, by="ben")

    assert desk.state.holds == (Hold(HoldKind.PAUSE, desk.long_s + HOUR_S, "ben"),)


def test_s14_a_pause_beside_a_service_ends_by_itself_and_leaves_the_service() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.SERVICE, 2 * HOUR_S)
    hold(desk, HoldKind.PAUSE, 60)
    desk.pass_s(60)

    assert desk.heard(HoldOver) == [(desk.long_s - desk.zero_s, HoldOver(HoldKind.PAUSE))]
    assert refused(desk.ask()) == ["service by ann"]


def test_a_hold_ends_by_itself_at_its_instant_and_not_before() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.SERVICE, 1000)
    desk.pass_s(999.9)
    assert desk.heard(HoldOver) == []
    desk.pass_s(0.1)

    assert desk.heard(HoldOver) == [(desk.long_s - desk.zero_s, HoldOver(HoldKind.SERVICE))]
    desk.ask()
    assert desk.is_on


def test_a_person_ends_every_hold_at_once() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.PAUSE)
    hold(desk, HoldKind.SERVICE)

    assert desk.tell(EndHolds("ben", 8)) == [
        HoldOver(HoldKind.SERVICE, "ben", 8),
        HoldOver(HoldKind.PAUSE, "ben", 8),
    ]
    desk.ask()
    assert desk.is_on


def test_the_run_of_a_hold_ends_with_it() -> None:
    desk = Desk().ready()
    hold(desk, HoldKind.ATTENDED, most_s=900)
    desk.ask(120, Purse.ATTENDED)
    desk.pass_s(20)

    actions = desk.tell(EndHolds("ann"))

    assert actions == [Relay(on=False), Ended(1, 20.0, "ended by ann"), HoldOver(HoldKind.ATTENDED, "ann")]


def test_a_run_of_the_plan_goes_on_when_somebody_ends_the_holds() -> None:
    desk = Desk().ready()
    desk.ask(120)
    hold(desk, HoldKind.ATTENDED, most_s=900)
    desk.tell(EndHolds("ann"))

    assert desk.is_on


@pytest.mark.parametrize("kind", list(HoldKind))
def test_s14_a_hold_survives_a_restart_through_the_journals_bytes(kind: HoldKind) -> None:
    desk = Desk().ready()
    hold(desk, kind, HOUR_S, most_s=900.0)
    at = Instant(desk.long_s, desk.wall_s)
    found = journal.read(journal.line("t", "boot", at, memory_of(desk.state)), "t")
    again = Desk(memory=journal.as_known_now(found, "boot", at), long_s=desk.long_s).ready()

    assert again.state.holds == desk.state.holds
    assert refused(again.ask(60, Purse.PLAN)) == [f"{kind.value} by ann"]


def test_a_hold_that_ran_out_while_the_guard_was_away_is_over_at_once() -> None:
    desk = Desk(memory=Memory(holds=(Hold(HoldKind.SERVICE, 999_000.0, "ann"),))).ready()

    assert desk.heard(HoldOver) == [(0.0, HoldOver(HoldKind.SERVICE))]


# --- stop -------------------------------------------------------------------------------------


def test_a_stop_ends_the_run_in_progress_and_is_told() -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(20)

    assert desk.tell(Stop("ann")) == [Relay(on=False), Ended(1, 20.0, "stopped by ann"), Stopped("ann")]


def test_a_run_decided_on_before_a_stop_and_asked_for_after_it_is_refused_and_the_next_is_not() -> None:
    desk = Desk().ready()
    ask = Ask(1, 120.0, Purse.PLAN, desk.long_s + 5.0, intended_s=desk.long_s)
    desk.pass_s(0.3)
    assert desk.tell(Stop("ann")) == [Stopped("ann")]
    desk.pass_s(0.3)

    assert refused(desk.tell(ask)) == ["stopped by ann before it began"]
    desk.tell(replace(ask, run_id=2, intended_s=desk.long_s))
    assert desk.is_on


# --- run ids ----------------------------------------------------------------------------------


def test_no_run_id_is_granted_twice() -> None:
    desk = Desk(memory=Memory(last_run_id=9)).ready()

    assert refused(desk.tell(Ask(9, 60.0, Purse.PLAN, desk.long_s + 5.0))) == ["it was asked for before"]
    desk.tell(Ask(10, 60.0, Purse.PLAN, desk.long_s + 5.0))
    assert desk.is_on
    assert memory_of(desk.state).last_run_id == 10
