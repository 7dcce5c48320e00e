"""May this run start? Every reason that says no, and when it would stop saying so."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from waaler.guard.contacts import test_s
from waaler.guard.holds import allowance, forbids
from waaler.guard.memory import DAY_S, HOUR_S
from waaler.guard.messages import Ask, Input, Purse
from waaler.guard.names import Hindrance
from waaler.guard.state import PLAN_PURSES, State, energised_s, starts_last_hour
from waaler.guard.watch import Watch, allows, free_at_s
from waaler.guard.words import words

__all__ = ["Block", "blocks", "granted_until_s", "held_by"]


@dataclass(frozen=True, slots=True)
class Block:
    """free_at_s: when this reason ends if nothing else changes; None if that is unknown."""

    what: Hindrance
    reason: str
    free_at_s: float | None = None


def blocks(state: State, ask: Ask) -> Iterator[Block]:
    """Every reason against this run now. Comparisons are positive, so that a NaN refuses too."""
    if not state.now_s <= ask.valid_until_s:
        yield Block(Hindrance.ORDER, "asked too long ago")
    if not ask.intended_s > state.stopped_s:
        yield Block(Hindrance.ORDER, f"stopped by {state.stopped_by} before it began")
    if not ask.run_id > state.last_run_id:
        yield Block(Hindrance.ORDER, "it was asked for before")
    for hold in state.holds:
        if forbids(hold, ask.purse):
            yield Block(Hindrance.HOLD, f"{hold.kind.value} by {hold.by}", hold.until_s)
    if state.run is not None:
        yield Block(Hindrance.RUN, "another run is in progress", state.run.until_s + state.limits.rest_s)
    for lock in sorted(state.locks):
        yield Block(Hindrance.LOCK, words(lock))
    for name, watch in state.watches:
        yield from _input_blocks(state, name, watch)
    yield from _rest_blocks(state, ask)
    yield from _allowance_blocks(state, ask)


def held_by(state: State) -> Block | None:
    """What would refuse a run by hand now, attended where that was permitted; None if nothing does.

    Of several the one whose end is not known, else the one that ends last.
    """
    purse = Purse.SPARE if allowance(state, Purse.ATTENDED) is None else Purse.ATTENDED
    found = tuple(blocks(state, Ask(state.last_run_id + 1, 1.0, purse, state.now_s)))
    return max(found, key=lambda block: inf if block.free_at_s is None else block.free_at_s, default=None)


def granted_until_s(state: State, ask: Ask) -> float:
    """The deadline of a run that starts now: asked length and self-test, longest run, the hold it belongs to."""
    until_s = state.now_s + min(ask.seconds + test_s(state), state.limits.longest_run_s)
    hold = allowance(state, ask.purse)
    return until_s if hold is None else min(until_s, hold.until_s)


def _input_blocks(state: State, name: Input, watch: Watch) -> Iterator[Block]:
    if allows(watch, state.now_s):
        return
    if watch.trip is not None and watch.good_since_s is None:
        yield Block(Hindrance.TRIP, words(watch.trip, name))
    elif watch.good_since_s is None:
        yield Block(Hindrance.INPUT, f"{name.value} does not read good")
    elif watch.trip is not None:
        yield Block(Hindrance.TRIP, f"{name.value} is good again, but not for long enough yet", free_at_s(watch))
    else:
        yield Block(Hindrance.INPUT, f"{name.value} has not been good for long enough yet", free_at_s(watch))


def _rest_blocks(state: State, ask: Ask) -> Iterator[Block]:
    limits = state.limits
    is_attended = ask.purse is Purse.ATTENDED
    rest_s = limits.attended_rest_s if is_attended else limits.rest_s
    rested_at_s = state.last_stop_s + rest_s
    if not state.now_s >= rested_at_s:
        yield Block(Hindrance.REST, "the pump rests between two runs", rested_at_s)
    starts = () if is_attended else starts_last_hour(state)
    if not len(starts) < limits.most_starts_per_h:
        yield Block(
            Hindrance.REST,
            f"{len(starts)} starts in the last hour",
            starts[len(starts) - limits.most_starts_per_h] + HOUR_S if limits.most_starts_per_h > 0 else None,
        )


def _allowance_blocks(state: State, ask: Ask) -> Iterator[Block]:
    if not ask.seconds > 0:
        yield Block(Hindrance.ORDER, "no length was asked for")
        return
    seconds = granted_until_s(state, ask) - state.now_s
    if ask.purse in PLAN_PURSES:
        reserve_s = ask.reserve_s if ask.purse is Purse.SPARE else 0.0
        over_s = energised_s(state, PLAN_PURSES) + seconds + reserve_s - state.limits.most_per_day_s
        if not over_s <= 0:
            what = "the plan's next 24 h leave too little of" if reserve_s > 0 else "this run would pass"
            yield Block(Hindrance.ALLOWANCE, f"{what} the most per day", _shed_at_s(state, PLAN_PURSES, over_s))
        return
    hold = allowance(state, ask.purse)
    if hold is None:
        yield Block(Hindrance.ALLOWANCE, f"no time for {ask.purse.value} runs was granted")
        return
    own = frozenset({ask.purse})
    if not energised_s(state, own) + seconds <= hold.most_s:
        over_s = energised_s(state, own) + seconds - hold.most_s
        reason = f"this run would pass the most for {ask.purse.value} runs"
        yield Block(Hindrance.ALLOWANCE, reason, _shed_at_s(state, own, over_s))


def _shed_at_s(state: State, purses: frozenset[Purse], over_s: float) -> float | None:
    """When so much of the last 24 h's pump time is a day old; None if that will not be enough."""
    since_s = state.now_s - DAY_S
    for span in sorted(state.spans, key=lambda span: span.started_s):
        if span.purse not in purses:
            continue
        begun_s = max(span.started_s, since_s)
        inside_s = max(0.0, span.ended_s - begun_s)
        if over_s <= inside_s:
            return begun_s + over_s + DAY_S
        over_s -= inside_s
    return None
