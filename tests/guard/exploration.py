"""Every reachable state of the guard under a small alphabet of events, judged in each.

Run as `python -m tests.guard.exploration`.

The limits are small (run 3 s, rest 2, settle 2, 6 s in 12) and time moves by whole seconds, so that the set of
states closes: ages are counted back from now and saturated where more makes no difference.
"""

import argparse
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace

from tests.guard.monitor import BAD, GOOD, LOST, PERMIT_MOST_S, PERMIT_S, STRICTER_S, UNREAD, Judge, Rules

import waaler.guard.asking
import waaler.guard.contacts
import waaler.guard.ending
import waaler.guard.memory
import waaler.guard.moving
import waaler.guard.state
import waaler.guard.step
from waaler.guard import journal
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory, Span
from waaler.guard.messages import (
    Alone,
    Ask,
    BeginHold,
    Clear,
    Cut,
    EndHolds,
    Event,
    Flow,
    Granted,
    Hold,
    HoldKind,
    Input,
    Instant,
    Level,
    LevelRead,
    Message,
    NewLimits,
    Purse,
    ReadBack,
    Relay,
    Wake,
)  # fmt: skip
from waaler.guard.state import Run, State, memory_of
from waaler.guard.watch import Watch

__all__ = ["ALPHABETS", "RULES", "Found", "explore", "small_day"]

RULES = Rules()
ALPHABETS = {
    "runs and cuts": frozenset(
        {"second", "restart", "tray good", "sump good", "ask 1 s by hand", "ask 3 s", "cut", "clock back"}
    ),
    "locks": frozenset(
        {
            "second",
            "restart",
            "tray good",
            "sump good",
            "ask 1 s by hand",
            "supply live",
            "supply dead",
            "clear",
            "cut",
        }
    ),
    "holds": frozenset({"second", "restart", "sump good", "tray good", "ask 3 s", "cut", "service", "resume"}),
    "levels": frozenset({"second", "sump good", "tray good", "tray bad", "tray lost", "ask 3 s"}),
    "limits": frozenset({"second", "restart", "sump good", "tray good", "ask 3 s", "stricter", "looser"}),
    "attended": frozenset({"second", "restart", "sump good", "tray good", "ask 3 s", "attend", "ask attended"}),
    "soak": frozenset({"second", "sump good", "tray good", "ask 3 s", "soak", "ask soak", "resume"}),
    "flow": frozenset(
        {"second", "restart", "sump good", "tray good", "ask 3 s", "water moves", "water stands", "clear"}
    ),
    "self-test": frozenset(
        {"second", "restart", "sump good", "tray good", "ask 3 s", "supply live", "supply dead", "clear"}
    ),
}
"""Parts of the alphabet under which the set of states closes within minutes; all of it together does not."""

LONGEST_FIRST = ("locks", "runs and cuts", "flow", "self-test", "attended", "soak", "limits", "levels", "holds")
SERVICE_S = 2
SHORT_DAY = replace(RULES, day_s=7, most_s=4)
RULES_OF = {
    "flow": replace(SHORT_DAY, has_meter=True),
    "self-test": replace(SHORT_DAY, has_cutoff=True),
    "attended": SHORT_DAY,
    "soak": SHORT_DAY,
    "limits": SHORT_DAY,
}
"""What is fitted, where an alphabet needs more than two floats; a shorter day, where its states would be too many."""

FLOW_L_PER_MIN = 5.0
TEST_S, TESTED_FOR_S = 1.0, 6.0
SMALL_LIMITS = Limits(
    longest_run_s=RULES.longest_s,
    most_per_day_s=RULES.most_s,
    rest_s=RULES.rest_s,
    settle_sump_s=RULES.settle_s,
    settle_tray_s=RULES.settle_s,
    run_back_s=0.0,
    confirm_s=RULES.confirm_s,
    stale_after_s=RULES.stale_s,
    start_delay_s=RULES.start_delay_s,
    most_starts_per_h=10_000,
    attended_rest_s=RULES.attended_rest_s,
    line_drain_s=RULES.line_drain_s,
    flow_within_s=RULES.flow_within_s,
    has_read_back=True,
)
LEVELS = {GOOD: Level.GOOD, BAD: Level.BAD, UNREAD: Level.NOT_READ}
NAMES = {"sump": Input.SUMP_LOW, "tray": Input.TRAY_HIGH}


@dataclass(frozen=True, slots=True)
class Node:
    """The guard and its judge, both as seen from now."""

    guard: State
    judge: Judge


@dataclass(slots=True)
class Found:
    states: int = 0
    transitions: int = 0
    is_closed: bool = False
    wrong: str | None = None
    trace: tuple[str, ...] = ()


Deed = Callable[[Node], Node]


@contextmanager
def small_day(seconds: float = RULES.day_s) -> Iterator[None]:
    """The rolling day of the guard becomes this long."""
    modules = (waaler.guard.asking, waaler.guard.memory, waaler.guard.state, waaler.guard.ending)
    small = [(module, "DAY_S", float(seconds)) for module in modules]
    small.append((waaler.guard.moving, "FLOW_OFF_FOR_S", float(RULES.flows_s)))
    small += [(waaler.guard.contacts, "TEST_S", TEST_S), (waaler.guard.contacts, "TESTED_FOR_S", TESTED_FOR_S)]
    before = [getattr(module, name) for module, name, _ in small]
    for module, name, value in small:
        setattr(module, name, min(value, getattr(module, name)))
    try:
        yield
    finally:
        for (module, name, _), value in zip(small, before, strict=True):
            setattr(module, name, value)


def explore(
    step: Callable[..., tuple[State, tuple[object, ...], float]],
    most: int | None = None,
    only: frozenset[str] | None = None,
    rules: Rules = RULES,
) -> Found:
    """Breadth first, so that the first wrong found has the shortest trace.

    most: stop after so many states. only: these events of the alphabet, to look deeper among fewer. rules: what is
    fitted.
    """
    deeds = _Deeds(step, rules)
    alphabet = deeds.alphabet()
    assert only is None or only <= set(alphabet)
    with small_day(rules.day_s):
        return _explore(
            {name: deed for name, deed in alphabet.items() if only is None or name in only}, most, deeds
        )


def _explore(alphabet: dict[str, Deed], most: int | None, deeds: "_Deeds") -> Found:
    found = Found()
    first = Node(_canonical(waaler.guard.state.begin(deeds.limits, Memory(), 0.0)), Judge())
    came_from: dict[Node, tuple[Node, str] | None] = {first: None}
    waiting = deque([first])
    while waiting:
        node = waiting.popleft()
        for name, deed in alphabet.items():
            after = deed(node)
            found.transitions += 1
            wrongs = after.judge.wrongs(node.judge, deeds.rules) + _mismatch(after)
            if wrongs:
                found.wrong, found.trace = wrongs[0], (*_trace(came_from, node), name)
                found.states = len(came_from)
                return found
            if after not in came_from:
                came_from[after] = (node, name)
                waiting.append(after)
        if most is not None and len(came_from) >= most:
            break
    found.states, found.is_closed = len(came_from), not waiting
    return found


def _mismatch(node: Node) -> list[str]:
    """The relay follows the guard's own idea of a run."""
    return [] if node.judge.is_on == (node.guard.run is not None) else ["the relay is not what the guard thinks"]


def _trace(came_from: dict[Node, tuple[Node, str] | None], node: Node) -> tuple[str, ...]:
    names: list[str] = []
    while (step := came_from[node]) is not None:
        node, name = step
        names.append(name)
    return tuple(reversed(names))


class _Deeds:
    """Each event of the alphabet, done to the guard and told to the judge."""

    def __init__(self, step: Callable[..., tuple[State, tuple[object, ...], float]], rules: Rules) -> None:
        self._guard_step, self.rules = step, rules
        self.limits = replace(
            SMALL_LIMITS,
            most_per_day_s=float(rules.most_s),
            normal_flow_l_per_min=FLOW_L_PER_MIN if rules.has_meter else None,
            has_cutoff=rules.has_cutoff,
        )

    def alphabet(self) -> dict[str, Deed]:
        deeds: dict[str, Deed] = {
            "second": self._second,
            "ask 3 s": lambda node: self._say(node, Ask(1, 3.0, Purse.PLAN, 0.0)),
            "ask 1 s by hand": lambda node: self._say(node, Ask(2, 1.0, Purse.SPARE, 0.0, reserve_s=3.0)),
            "cut": lambda node: self._say(node, Cut("cut")),
            "clear": self._clear,
            "supply live": lambda node: self._supply(node, True),
            "supply dead": lambda node: self._supply(node, False),
            "restart": self._restart,
            "service": self._service,
            "attend": lambda node: self._permit(node, HoldKind.ATTENDED),
            "soak": lambda node: self._permit(node, HoldKind.SOAK),
            "ask attended": lambda node: self._say(node, Ask(3, 1.0, Purse.ATTENDED, 0.0)),
            "ask soak": lambda node: self._say(node, Ask(4, 1.0, Purse.SOAK, 0.0)),
            "stricter": lambda node: self._limit(node, True),
            "looser": lambda node: self._limit(node, False),
            "water moves": lambda node: self._flow(node, True),
            "water stands": lambda node: self._flow(node, False),
            "resume": lambda node: self._say(Node(node.guard, node.judge.resumed()), EndHolds("ann")),
            "clock back": lambda node: self._say(node, Wake(), wall_s=-86_400.0),
        }
        for name in NAMES:
            for what in (GOOD, BAD, UNREAD, LOST):
                deeds[f"{name} {what}"] = lambda node, name=name, what=what: self._show(node, name, what)  # type: ignore[misc]
        return deeds

    def _say(self, node: Node, message: Message, now_s: float = 0.0, wall_s: float = 0.0) -> Node:
        guard, actions, _ = self._guard_step(node.guard, Event(Instant(now_s, wall_s), message))
        judge = node.judge
        for action in actions:
            if isinstance(action, Granted) and isinstance(message, Ask):
                judge = judge.granted(message.purse.value, round(action.until_s - now_s))
        for action in actions:
            if isinstance(action, Relay):
                judge = judge.relay(action.on)
            elif isinstance(action, Alone):
                judge = judge.relay(True, action.contact.name)
        return Node(_canonical(guard) if now_s == 0.0 else guard, judge.acted(RULES))

    def _second(self, node: Node) -> Node:
        """A second passes; every input that is not lost is read at its end."""
        node = self._say(Node(node.guard, node.judge.second(RULES)), Wake(), now_s=1.0)
        node = Node(_canonical(node.guard), node.judge)
        return self._read_all(node)

    def _read_all(self, node: Node) -> Node:
        for name, seen in node.judge.inputs():
            if seen.shows != LOST:
                node = self._say(node, LevelRead(NAMES[name], LEVELS[seen.shows]))
        return self._flow(node, node.judge.is_flowing) if self.rules.has_meter else node

    def _flow(self, node: Node, is_flowing: bool) -> Node:
        judge = node.judge.flows(is_flowing, self.rules)
        return self._say(Node(node.guard, judge), Flow(FLOW_L_PER_MIN if is_flowing else 0.0))

    def _limit(self, node: Node, is_strict: bool) -> Node:
        strict = replace(
            self.limits, longest_run_s=float(STRICTER_S["longest_s"]), most_per_day_s=float(STRICTER_S["most_s"])
        )
        judge = node.judge.limited(is_strict, self.rules)
        return self._say(Node(node.guard, judge), NewLimits(strict if is_strict else self.limits))

    def _permit(self, node: Node, kind: HoldKind) -> Node:
        hold = Hold(kind, float(PERMIT_S), "ann", float(PERMIT_MOST_S))
        after = self._say(node, BeginHold(hold))
        return Node(after.guard, after.judge.permitted(kind.value, PERMIT_S))

    def _show(self, node: Node, name: str, what: str) -> Node:
        node = Node(node.guard, node.judge.shows(name, what).acted(RULES))
        return node if what == LOST else self._say(node, LevelRead(NAMES[name], LEVELS[what]))

    def _supply(self, node: Node, is_live: bool) -> Node:
        return self._say(Node(node.guard, replace(node.judge, is_live=is_live)), ReadBack(is_live))

    def _clear(self, node: Node) -> Node:
        return self._say(Node(node.guard, node.judge.clears()), Clear("ann"))

    def _service(self, node: Node) -> Node:
        hold = Hold(HoldKind.SERVICE, float(SERVICE_S), "ann")
        after = self._say(node, BeginHold(hold))
        return Node(after.guard, replace(after.judge, held_s=max(node.judge.held_s, SERVICE_S)))

    def _restart(self, node: Node) -> Node:
        guard = _canonical(waaler.guard.state.begin(node.guard.limits, _memory(node.guard), 0.0))
        node = self._read_all(Node(guard, node.judge.restarts(RULES)))
        return self._say(node, ReadBack(node.judge.is_live))


def _memory(guard: State) -> Memory:
    """What the journal's own bytes give back; a run in progress counts to its deadline.

    No state is handed on: what the journal does not tell is not known.
    """
    at = Instant(0.0, 0.0)
    written = journal.line("bed", "boot", at, memory_of(guard))
    return journal.as_known_now(journal.read(written, "bed"), "boot", at)


def _canonical(guard: State) -> State:
    """The same state with now at 0 and every age saturated."""
    now_s = guard.now_s
    return replace(
        guard,
        now_s=0.0,
        last_stop_s=max(guard.last_stop_s - now_s, -float(RULES.rest_s)),
        watches=tuple((name, _young(watch, now_s)) for name, watch in guard.watches),
        run=None if guard.run is None else _shifted(guard.run, now_s),
        holds=tuple(replace(hold, until_s=hold.until_s - now_s) for hold in guard.holds),
        seen=frozenset(),
        has_watered=False,
        last_run_id=0,
        reserved_run_id=0,
        ran=(),
        spans=_merged(guard.spans, now_s),
        flow_read_s=max(guard.flow_read_s - now_s, -4.0),
        flow_since_s=None if guard.flow_since_s is None else max(guard.flow_since_s - now_s, -float(RULES.flows_s)),
        tested_s=None if guard.tested_s is None else max(guard.tested_s - now_s, -TESTED_FOR_S),
        on_since_s=None if guard.on_since_s is None else max(guard.on_since_s - now_s, -1.0),
    )


def _shifted(run: Run, now_s: float) -> Run:
    return replace(
        run,
        started_s=run.started_s - now_s,
        until_s=run.until_s - now_s,
        waters_from_s=run.waters_from_s - now_s,
        test_until_s=run.test_until_s - now_s if run.testing is not None else 0.0,
        has_flowed=False,
        was_live=False,
    )


def _young(watch: Watch, now_s: float) -> Watch:
    oldest_s = -float(RULES.confirm_s + RULES.stale_s + RULES.settle_s)
    return replace(
        watch,
        read_until_s=max(watch.read_until_s - now_s, -float(RULES.stale_s)),
        bad_since_s=None if watch.bad_since_s is None else max(watch.bad_since_s - now_s, oldest_s),
        good_since_s=None if watch.good_since_s is None else max(watch.good_since_s - now_s, oldest_s),
    )


def _merged(spans: tuple[Span, ...], now_s: float) -> tuple[Span, ...]:
    """Only what lies inside the day; plan and spare share one cap, so that they are one."""
    merged: list[Span] = []
    for span in spans:
        start_s, end_s = max(span.started_s - now_s, -waaler.guard.memory.DAY_S), span.ended_s - now_s
        if end_s <= start_s:
            continue
        purse = Purse.PLAN if span.purse is Purse.SPARE else span.purse
        if merged and merged[-1].ended_s == start_s and merged[-1].purse is purse:
            merged[-1] = Span(merged[-1].started_s, end_s, purse)
        else:
            merged.append(Span(start_s, end_s, purse))
    return tuple(merged)


def closed(name: str) -> Found:
    """The search with one of the alphabets, to its end."""
    from waaler.guard.step import step

    return explore(step, only=ALPHABETS[name], rules=RULES_OF.get(name, RULES))


def main() -> int:
    argparse.ArgumentParser(description=__doc__).parse_args()
    started_s = time.perf_counter()
    is_wrong = False
    with ProcessPoolExecutor() as pool:
        for name, found in zip(LONGEST_FIRST, pool.map(closed, LONGEST_FIRST), strict=True):
            end = "the set is closed" if found.is_closed else "the set is not closed"
            print(f"{name}: {found.states} states, {found.transitions} transitions; {end}", flush=True)
            if found.wrong is not None:
                is_wrong = True
                print(f"WRONG: {found.wrong}\n  " + "\n  ".join(found.trace))
    print(f"in {time.perf_counter() - started_s:.0f} s")
    return 1 if is_wrong else 0


if __name__ == "__main__":
    sys.exit(main())
