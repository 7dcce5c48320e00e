"""Orders of a person while a run is on its way: nothing starts after the answer, and nothing vanishes."""

from dataclasses import replace

import pytest
from tests.core.bench import Bench

from waaler.core import decisions
from waaler.core.facts import Cause, Deed, Outcome, RunIntent, RunResult
from waaler.core.messages import Answer, Event, Look, Order, OrderKind, Recorded, ToGuard, Write
from waaler.guard.messages import Ask, BeginHold, HoldOver, Instant, Stop, Stopped
from waaler.guard.messages import Event as GuardEvent
from waaler.guard.messages import Wake as GuardWake
from waaler.guard.step import step as step_guard


def after_the_commit(bench: Bench, kind: OrderKind) -> tuple[list[object], list[object]]:
    """A slow card: the intent of 06:00 is committed half a second after a person's order. What the decisions say to
    the order, and what they and the guard say after the guard heard it."""
    bench.until("05:59")
    state, guard = bench.core.decisions, bench.core.guard

    def at(seconds: float) -> Instant:
        return Instant(bench.long_s + seconds, bench.wall_s + seconds)

    state, _, _ = decisions.step(state, Event(at(60.5), Look()))
    assert state.runs.active is not None
    run_id = state.runs.active.run_id
    state, first, _ = decisions.step(state, Event(at(60.8), Order(7, kind, "ann", 3600.0)))
    said: list[object] = []
    for action in first:
        if isinstance(action, ToGuard):
            guard, answers, _ = step_guard(guard, GuardEvent(at(60.8), action.message))
            said += answers
    state, recorded, _ = decisions.step(state, Event(at(61.1), Recorded(run_id)))
    asks = [action.message for action in recorded if isinstance(action, ToGuard)]
    for ask in asks:
        guard, answers, _ = step_guard(guard, GuardEvent(at(61.1), ask))
        said += answers
    guard, _, _ = step_guard(guard, GuardEvent(at(61.2), GuardWake()))
    assert guard.run is None
    for answer in said:
        state, more, _ = decisions.step(state, Event(at(61.2), answer))  # type: ignore[arg-type]
        said = [*said, *more]
    assert state.runs.active is None
    return list(first), said


@pytest.mark.parametrize("kind", [OrderKind.SERVICE, OrderKind.PAUSE, OrderKind.STOP])
def test_s14_a_run_whose_intent_waits_for_its_commit_does_not_start_after_the_order(kind: OrderKind) -> None:
    first, said = after_the_commit(Bench(), kind)

    assert not [action for action in said if isinstance(action, Ask)]
    results = [action.fact for action in said if isinstance(action, Write) and isinstance(action.fact, RunResult)]
    assert [(result.outcome, result.seconds) for result in results] == [(Outcome.REFUSED, 0.0)]
    assert "ann" in results[0].reason
    assert isinstance(first[0], ToGuard)
    assert isinstance(first[0].message, BeginHold | Stop)


@pytest.mark.parametrize("kind", [OrderKind.SERVICE, OrderKind.PAUSE])
def test_s14_a_hold_is_answered_only_when_the_guard_holds(kind: OrderKind) -> None:
    first, said = after_the_commit(Bench(), kind)

    assert not [action for action in first if isinstance(action, Answer)]
    (answer,) = [action for action in said if isinstance(action, Answer)]
    assert answer.is_done
    assert answer.text.startswith(f"{kind.value} until ")


def announced(bench: Bench) -> Bench:
    bench.put(replace(bench.core.decisions.setup, announce_s=15.0))
    bench.until("06:00")
    bench.pass_s(5)
    assert len(bench.core.decisions.runs.queue) == 1
    return bench


def test_s16_what_waited_for_its_turn_when_a_pause_came_is_missed_and_owed() -> None:
    bench = announced(Bench())
    bench.order(OrderKind.PAUSE, 60.0)

    assert bench.outcomes() == [(Cause.PLAN, Outcome.MISSED, 0)]
    assert bench.results()[0].reason == "pause by ann"
    assert bench.core.decisions.account.is_owed
    assert bench.core.decisions.runs.queue == ()


def test_s16_what_waited_for_its_turn_when_a_person_said_stop_is_written_down_and_not_owed() -> None:
    bench = announced(Bench())
    bench.order(OrderKind.STOP)

    assert bench.outcomes() == [(Cause.PLAN, Outcome.STOPPED, 0)]
    assert not bench.core.decisions.account.is_owed


def test_a_stop_at_the_guards_own_socket_takes_away_what_waits_too() -> None:
    bench = announced(Bench())
    bench.tell(Stopped("ben"))

    assert [result.reason for result in bench.results()] == ["stopped by ben before it began"]


def test_to_end_two_holds_is_answered_once() -> None:
    bench = Bench()
    bench.order(OrderKind.PAUSE, 7200.0)
    bench.order(OrderKind.SERVICE, 3600.0)
    n = len(bench.outputs)
    bench.order(OrderKind.RESUME)

    answers = [output for _, output in bench.outputs[n:] if isinstance(output, Answer)]
    assert [(answer.is_done, answer.text) for answer in answers] == [(True, "pause ended; the plan goes on")]
    assert bench.core.guard.holds == ()
    assert bench.core.decisions.barriers.holds == ()


def test_a_short_pause_neither_ends_nor_shortens_a_service() -> None:
    bench = Bench()
    bench.until("08:00")
    bench.order(OrderKind.SERVICE, 7200.0)
    answer = bench.order(OrderKind.PAUSE, 60.0)
    assert answer is not None
    assert answer.text.endswith("; service stands as well")
    bench.until("09:30")

    causes = [fact.cause for fact in bench.facts() if isinstance(fact, RunIntent)]
    assert causes == [Cause.PLAN] * 2
    assert bench.outcomes()[1] == (Cause.PLAN, Outcome.MISSED, 0)
    assert bench.order(OrderKind.SOAK, 3600.0) is not None
    assert bench.core.guard.holds[0].kind.value == "service"
    assert len(bench.core.guard.holds) == 1


@pytest.mark.parametrize("kind", [OrderKind.SERVICE, OrderKind.PAUSE, OrderKind.SOAK, OrderKind.ATTEND])
def test_a_hold_whose_end_the_guard_could_not_tell_ends_all_the_same_and_is_told_once(kind: OrderKind) -> None:
    bench = Bench()
    bench.order(kind, 600.0)
    (hold,) = bench.core.decisions.barriers.holds
    state, facts = bench.core.decisions, []
    long_s, wake_s = hold.until_s, 0.0
    for long_s in (hold.until_s, hold.until_s + 9.9, hold.until_s + 10.0):
        at = Instant(long_s, bench.wall_s + long_s - bench.long_s)
        state, actions, wake_s = decisions.step(state, Event(at, Look()))
        facts += [action.fact for action in actions if isinstance(action, Write)]
        assert wake_s > long_s, "woken without end"
        assert state.barriers.holds == (() if long_s == hold.until_s + 10.0 else (hold,))
    state, actions, _ = decisions.step(state, Event(Instant(long_s, bench.wall_s), HoldOver(hold.kind)))

    told = [fact for fact in facts if isinstance(fact, Deed)]
    assert [deed.what for deed in told] == [f"{hold.kind.value}-over"]
    assert not [action for action in actions if isinstance(action, Write)]
