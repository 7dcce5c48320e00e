"""What the safety table has against a run: asked of every grant, and of every refusal that has no cause."""

from collections.abc import Iterator
from math import inf
from typing import TYPE_CHECKING

from waaler.rehearsal.rules import ATTENDED, DAY_S, PLAN_PURSES, Asked

if TYPE_CHECKING:
    from waaler.rehearsal.monitor import Monitor

__all__ = ["OWN_PURSE", "against", "used_s"]

HOUR_S = 3600.0
COUNTED_PURSES = PLAN_PURSES | {"soak"}
OWN_PURSE = {"attended": "attended", "soak": "soak"}
MAY_BESIDE = {"attended": {"attended"}, "soak": {"soak", "spare"}}
"""What a hold lets through; a service and a pause nothing."""


def against(judge: "Monitor", at_s: float, ask: Asked, seconds: float, slack_s: float) -> Iterator[str]:
    """What the table has against this run now. slack_s: below 0 only what surely holds, else what may hold."""
    rules, is_attended = judge.rules, ask.purse == ATTENDED
    if at_s + slack_s > ask.valid_until_s:
        yield "S1: asked too long ago"
    if ask.intended_s <= judge.stopped_s + (slack_s if slack_s > 0 else 0.0):
        yield "S14: a person stopped it before it began"
    if ask.run_id <= judge.highest:
        yield f"run ids repeat: {ask.run_id} after {judge.highest}"
    if not ask.seconds > 0:
        yield "no length was asked for"
    if judge.run is not None:
        yield "another run is in progress"
    for hold in judge.holds.values():
        until_s = hold.until_s + slack_s - (judge.fuzz_s if slack_s < 0 else 0.0)
        if until_s > at_s and ask.purse not in MAY_BESIDE.get(hold.kind, ()):
            yield f"S14: a {hold.kind} stands"
    for trip in judge.locks:
        yield f"S7: locked by {trip}"
    for name, seen in judge.inputs.items():
        if seen.ready_s(rules.confirm_s, slack_s > 0) + slack_s > at_s:
            yield f"S4/S5: {name} is {seen.level}, or has not been good for long enough"
    rest_s = rules.attended_rest_s if is_attended else rules.rest_s
    last_s = -inf if judge.last_off_s is None else judge.last_off_s
    if slack_s > 0:
        last_s = max(last_s, judge.booted_s)
    fuzz_s = judge.fuzz_s if slack_s < 0 else 0.0
    if last_s + rest_s + slack_s - fuzz_s > at_s:
        yield f"S6: {at_s - last_s:.1f} s after the last stop"
    yield from _against_caps(judge, at_s, ask, seconds, slack_s)


def _against_caps(judge: "Monitor", at_s: float, ask: Asked, seconds: float, slack_s: float) -> Iterator[str]:
    rules = judge.rules
    since_s = at_s - HOUR_S - slack_s + (judge.fuzz_s if slack_s < 0 else 0.0)
    starts = sum(1 for span in judge.spans if span.on_s > since_s and span.purse in COUNTED_PURSES)
    if ask.purse != ATTENDED and starts >= rules.most_starts:
        yield f"{starts} starts in the last hour"
    is_counted = slack_s > 0
    if ask.purse in PLAN_PURSES:
        so_far_s = used_s(judge, at_s, PLAN_PURSES, is_counted)
        reserve_s = ask.reserve_s if ask.purse == "spare" else 0.0
        if so_far_s + seconds + reserve_s + slack_s > rules.most_s:
            yield f"S3: {so_far_s:.0f} s in 24 h, {seconds:.0f} s more and {reserve_s:.0f} s kept free"
        return
    hold = next((hold for hold in judge.holds.values() if OWN_PURSE.get(hold.kind) == ask.purse), None)
    if hold is None and (slack_s > 0 or at_s >= judge.doubt_until_s):
        yield f"S3: nobody granted time for {ask.purse} runs"
    elif (
        hold is not None
        and used_s(judge, at_s, frozenset({ask.purse}), is_counted) + seconds + slack_s > hold.most_s
    ):
        yield f"S3: more than the time granted for {ask.purse} runs"


def used_s(judge: "Monitor", at_s: float, purses: frozenset[str], is_counted: bool = False) -> float:
    """Seconds of the last 24 h. is_counted: what nobody saw counts to its deadline."""
    since_s = at_s - DAY_S + (0.0 if is_counted else judge.fuzz_s)
    total_s = 0.0
    for span in reversed(judge.spans):
        end_s = span.counted_s if is_counted else span.off_s
        if end_s < since_s - HOUR_S:
            break
        if span.purse in purses:
            total_s += max(0.0, end_s - max(span.on_s, since_s))
    if judge.run is not None and judge.run.purse in purses:
        total_s += at_s - max(judge.run.on_s, since_s)
    return total_s
