"""The life of a run: wanted, intent written, asked of the guard, running, ended.

One run is on its way at a time; the others wait in the queue. An intent is written before the guard is asked,
but a disk that does not answer within two seconds keeps no plant waiting.
"""

from dataclasses import replace
from math import inf

from waaler.core import demand, doses, evidence
from waaler.core.alert import AlertKind, Severity
from waaler.core.doses import account, give_up
from waaler.core.facts import Cause, Outcome, RunIntent, RunResult, RunStarted
from waaler.core.messages import Recorded
from waaler.core.state import Active, Stage, Wanted
from waaler.core.turn import Turn
from waaler.guard.messages import Ask, Cut, Granted, Purse, Refused
from waaler.plan.advisers import mark_start
from waaler.plan.timetable import cycles_of_day

__all__ = ["advance", "give_back", "granted", "recorded", "refused", "write_off"]

INTENT_WAIT_S = 2.0
ASK_VALID_S = 5.0
GUARD_WAIT_S = 10.0
CONFIRM_WITHIN_S = 120.0
DAY_S = 86_400.0


def write_off(turn: Turn, wanted: Wanted, outcome: Outcome, reason: str) -> None:
    """Records a run that is not even asked for: skipped or missed."""
    run_id = _write_intent(turn, wanted)
    turn.write(RunResult(run_id, turn.at, outcome, 0.0, reason))


def advance(turn: Turn) -> float:
    """Moves the run on its way as far as it goes; the instant at which it next needs a look."""
    active = turn.state.runs.active
    if active is None:
        return _begin_next(turn)
    if active.stage is Stage.INTENT:
        latest_s = active.since_s + INTENT_WAIT_S
        if turn.now_s >= latest_s:
            _history_fails(turn)
            _ask(turn, active)
            return advance(turn)
        return latest_s
    if active.stage is Stage.ASKED:
        # it may have been granted all the same: until such a run would be over, nothing is said of it
        latest_s = active.since_s + ASK_VALID_S + active.wanted.seconds + GUARD_WAIT_S
        if turn.now_s >= latest_s:
            seconds = min(active.wanted.seconds, turn.state.setup.limits.longest_run_s)
            give_up(turn, active, seconds, "the guard did not answer")
            return advance(turn)
        return latest_s
    if turn.now_s >= active.until_s + GUARD_WAIT_S:
        seconds = active.until_s - min(active.since_s, active.asked_s)
        give_up(turn, active, seconds, "the guard did not tell its end")
        return advance(turn)
    return min(active.until_s + GUARD_WAIT_S, _look_at_person(turn, active))


def _look_at_person(turn: Turn, active: Active) -> float:
    """Cuts an attended run that nobody confirms; the instant of the next look."""
    if active.wanted.purse is not Purse.ATTENDED:
        return inf
    if turn.now_s >= turn.state.runs.confirmed_s + CONFIRM_WITHIN_S:
        turn.put(replace(turn.state.runs, confirmed_s=inf))
        turn.tell_guard(Cut("nobody confirmed to stand by for 2 min"))
    return turn.state.runs.confirmed_s + CONFIRM_WITHIN_S


def recorded(turn: Turn, message: Recorded) -> None:
    """The intent is on disk (or never will be): ask the guard."""
    if message.is_kept:
        turn.over(AlertKind.HISTORY_NOT_KEPT)
    else:
        _history_fails(turn)
    active = turn.state.runs.active
    if active is not None and active.run_id == message.run_id and active.stage is Stage.INTENT:
        _ask(turn, active)


def granted(turn: Turn, message: Granted) -> None:
    active = _asked(turn, message.run_id)
    if active is None:
        return
    seconds = message.until_s - turn.now_s
    evidence.judge_signs(turn)
    evidence.run_began(turn)
    turn.put(replace(turn.state.announcing, must_announce=False, announced_until_s=-inf))
    if active.wanted.cause not in doses.BY_PEOPLE:
        turn.put(replace(turn.state.proving, must_prove=frozenset()))
    turn.go_on_with(replace(active, stage=Stage.RUNNING, since_s=turn.now_s, until_s=message.until_s))
    known = turn.state.advice
    turn.put(replace(known, advisers=tuple(mark_start(adviser) for adviser in known.advisers)))
    if active.wanted.cause is Cause.ON_DEMAND and active.wanted.pulse == 1:
        demand.count(turn)
    turn.write(RunStarted(message.run_id, turn.at, seconds))
    turn.answer(active.wanted.order_id, True, f"running for {seconds:.0f} s")


def _asked(turn: Turn, run_id: int) -> Active | None:
    """The run on its way if it still waits for an answer: a second one changes nothing."""
    active = turn.state.runs.active
    return active if active is not None and active.run_id == run_id and active.stage is Stage.ASKED else None


def refused(turn: Turn, message: Refused) -> None:
    active = _asked(turn, message.run_id)
    if active is None:
        return
    wanted = active.wanted
    turn.go_on_with(None)
    turn.put(replace(turn.state.announcing, announced_until_s=-inf))
    turn.write(RunResult(active.run_id, turn.at, Outcome.REFUSED, 0.0, message.reason))
    turn.answer(wanted.order_id, False, f"refused: {message.reason}")
    account(turn, wanted, 0.0)
    if wanted.cause is Cause.CATCH_UP:
        retry_s = message.free_at_s or turn.now_s + 600.0
        turn.put(replace(turn.state.later, catch_up_at_s=max(retry_s, turn.now_s + 1.0)))
    elif wanted.cause is Cause.SOAK:
        retry_s = message.free_at_s or turn.now_s + 300.0
        turn.put(replace(turn.state.later, soak_at_s=max(retry_s, turn.now_s + 60.0)))
    elif wanted.cause is Cause.PLAN:
        retry_s = message.free_at_s or turn.now_s + 600.0
        turn.put(replace(turn.state.account, is_owed=True))
        turn.put(replace(turn.state.later, catch_up_at_s=max(retry_s, turn.state.later.catch_up_at_s)))
    doses.after_refusal(turn, wanted, message.free_at_s)


def give_back(turn: Turn, outcome: Outcome, reason: str) -> None:
    """Whatever waits, and a run that was not asked for yet, is not made; each is written down.

    One that was asked for is the guard's to refuse, and to tell of.
    """
    active = turn.state.runs.active
    queued = (() if active is None else (active.wanted,)) + turn.state.runs.queue
    if outcome is Outcome.MISSED and any(wanted.cause is Cause.PLAN for wanted in queued):
        turn.put(replace(turn.state.account, is_owed=True))
    if active is not None and active.stage is Stage.INTENT:
        turn.go_on_with(None)
        turn.put(replace(turn.state.announcing, announced_until_s=-inf))
        turn.write(RunResult(active.run_id, turn.at, outcome, 0.0, reason))
        turn.answer(active.wanted.order_id, False, reason)
    for wanted in turn.state.runs.queue:
        write_off(turn, wanted, outcome, reason)
        turn.answer(wanted.order_id, False, reason)
    turn.put(replace(turn.state.runs, queue=()))


def _begin_next(turn: Turn) -> float:
    _let_go(turn)
    queue = turn.state.runs.queue
    if not queue and turn.state.announcing.announced_until_s > -inf:
        turn.put(replace(turn.state.announcing, announced_until_s=-inf))
    expires_s = min((wanted.expires_s for wanted in queue), default=inf)
    ready = [wanted for wanted in queue if not doses.must_wait(turn, wanted)]
    if not ready:
        try_at_s = turn.state.dips.try_at_s
        return min(expires_s, try_at_s if try_at_s > turn.now_s else inf)
    first = min(ready, key=lambda wanted: wanted.not_before_s)
    if first.not_before_s > turn.now_s:
        return min(first.not_before_s, expires_s)
    if (start_s := _announced_until_s(turn, first)) > turn.now_s:
        return start_s
    ready = [wanted for wanted in turn.state.runs.queue if not doses.must_wait(turn, wanted)]
    first = min(ready, key=lambda wanted: wanted.not_before_s)
    queue = tuple(wanted for wanted in turn.state.runs.queue if wanted is not first)
    turn.put(replace(turn.state.runs, queue=queue))
    run_id = _write_intent(turn, first)
    turn.go_on_with(Active(run_id, first, Stage.INTENT, turn.now_s))
    return turn.now_s + INTENT_WAIT_S


def _let_go(turn: Turn) -> None:
    """Doses whose cycle's time is over: what is left of them is not given, and written down."""
    over = tuple(wanted for wanted in turn.state.runs.queue if turn.now_s >= wanted.expires_s)
    if not over:
        return
    left = tuple(wanted for wanted in turn.state.runs.queue if wanted not in over)
    turn.put(replace(turn.state.runs, queue=left))
    for wanted in over:
        if wanted.given_s > 0 or not wanted.refusals:
            reason = f"its cycle's time is over; {doses.left_s(wanted):.0f} s of its dose are left"
            write_off(turn, wanted, Outcome.CUT_SHORT if wanted.given_s > 0 else Outcome.MISSED, reason)
        if wanted.cause is Cause.PLAN:
            turn.put(replace(turn.state.account, is_owed=True))


def _announced_until_s(turn: Turn, first: Wanted) -> float:
    """When a start that must be announced may come, -inf for any other. Whoever ordered it is answered at once."""
    state = turn.state
    if not state.announcing.must_announce or state.setup.announce_s <= 0 or first.purse is Purse.ATTENDED:
        return -inf
    if state.announcing.announced_until_s == -inf:
        turn.answer(first.order_id, True, f"announced at the bed; it starts in {state.setup.announce_s:.0f} s")
        queue = tuple(replace(one, order_id=None) if one is first else one for one in state.runs.queue)
        turn.put(replace(turn.state.runs, queue=queue))
        turn.put(replace(turn.state.announcing, announced_until_s=turn.now_s + state.setup.announce_s))
    return turn.state.announcing.announced_until_s


def _write_intent(turn: Turn, wanted: Wanted) -> int:
    run_id = turn.state.runs.next_run_id
    turn.put(replace(turn.state.runs, next_run_id=run_id + 1))
    reason = doses.why(wanted) + ("" if turn.at.is_sure else "; clock unsure")
    turn.write(
        RunIntent(
            run_id,
            turn.at,
            wanted.cause,
            wanted.purse,
            wanted.seconds,
            reason,
            wanted.key,
            wanted.pulse,
            wanted.pulses,
            wanted.by,
            wanted.planned_s,
        )
    )
    return run_id


def _history_fails(turn: Turn) -> None:
    turn.find(AlertKind.HISTORY_NOT_KEPT, Severity.SOON)


def _ask(turn: Turn, active: Active) -> None:
    wanted = active.wanted
    reserve_s = _plan_next_day_s(turn) if wanted.purse is Purse.SPARE else 0.0
    ask = Ask(active.run_id, wanted.seconds, wanted.purse, turn.now_s + ASK_VALID_S, reserve_s, active.since_s)
    turn.go_on_with(replace(active, stage=Stage.ASKED, since_s=turn.now_s, asked_s=turn.now_s))
    turn.tell_guard(ask)


def _plan_next_day_s(turn: Turn) -> float:
    """Pump seconds that the plan wants in the next 24 h; fallbacks of on-demand windows included."""
    until_s = turn.at.wall_s + DAY_S
    tomorrow = turn.local_of(until_s).date()
    cycles = {c.key: c for day in (turn.today, tomorrow) for c in cycles_of_day(turn.plan, day)}
    return sum(c.seconds for c in cycles.values() if turn.at.wall_s < c.start.timestamp() <= until_s)
