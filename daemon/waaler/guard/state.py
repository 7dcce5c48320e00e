"""The guard's memory of the present: frozen, replaced at every step."""

from dataclasses import dataclass, replace

from waaler.guard.limits import Limits
from waaler.guard.memory import DAY_S, HOUR_S, Memory, Span, pump_seconds
from waaler.guard.messages import Contact, Input, Level, LevelRead, Permit, Purse, Trip
from waaler.guard.watch import Watch, read

__all__ = ["PLAN_PURSES", "Run", "State", "begin", "energised_s", "permit_of", "read_level", "starts_last_hour"]

PLAN_PURSES = frozenset({Purse.PLAN, Purse.SPARE})
"""The purses that share `most_per_day`; soak and attended runs have caps of their own."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run in progress. because: what will be said when until_s is reached.

    testing: the contact that is energised alone, up to test_until_s; None once water is meant to move.
    waters_from_s: when that began. has_flowed, was_live: what was seen since.
    """

    run_id: int
    purse: Purse
    started_s: float
    until_s: float
    because: str = "ran its time"
    testing: Contact | None = None
    test_until_s: float = 0.0
    waters_from_s: float = 0.0
    has_flowed: bool = False
    was_live: bool = False


@dataclass(frozen=True, slots=True)
class State:
    """now_s: the last instant seen; time never runs back. last_stop_s: the start of the daemon until a run ends.

    flow_since_s: since when water moves though the pump is off. on_since_s: since when the read-back says
    on though the relay is off. tested_s: when both contacts were last seen to cut.
    """

    limits: Limits
    now_s: float
    last_stop_s: float
    watches: tuple[tuple[Input, Watch], ...]
    run: Run | None = None
    spans: tuple[Span, ...] = ()
    locks: frozenset[Trip] = frozenset()
    permits: tuple[Permit, ...] = ()
    has_no_flow: bool = False
    flow_l_per_min: float | None = None
    flow_read_s: float = 0.0
    flow_since_s: float | None = None
    is_read_back_on: bool = False
    on_since_s: float | None = None
    tested_s: float | None = None


def begin(limits: Limits, memory: Memory, now_s: float) -> State:
    """The state at a start of the daemon: nothing is trusted until it was seen.

    A last stop of unknown age counts as now.
    """
    watches: list[tuple[Input, Watch]] = []
    if limits.has_sump_float:
        watches.append((Input.SUMP_LOW, _unseen(limits, memory, Trip.LOW_SUMP, limits.settle_sump_s, now_s)))
    if limits.has_tray_float:
        watches.append((Input.TRAY_HIGH, _unseen(limits, memory, Trip.HIGH_TRAY, limits.settle_tray_s, now_s)))
    return State(
        limits=limits,
        now_s=now_s,
        last_stop_s=now_s if memory.last_stop_s is None else min(memory.last_stop_s, now_s),
        watches=tuple(watches),
        spans=memory.spans,
        locks=memory.locks,
        permits=memory.permits,
    )


def _unseen(limits: Limits, memory: Memory, meaning: Trip, settle_s: float, now_s: float) -> Watch:
    settle_s = max(settle_s, limits.run_back_s)
    trip = next((trip for trip in (meaning, Trip.NOT_READ) if trip in memory.tripped), None)
    return Watch(
        meaning=meaning,
        confirm_s=limits.confirm_s,
        stale_after_s=limits.stale_after_s,
        settle_s=settle_s,
        hold_s=limits.start_delay_s if trip is None else max(settle_s, limits.start_delay_s),
        read_until_s=now_s,
        trip=trip,
    )


def read_level(state: State, message: LevelRead, now_s: float) -> State:
    """The state after a reading of a protective input; one that is not fitted changes nothing."""
    until_s = now_s if message.until_s is None else message.until_s
    watches = tuple(
        (name, read(watch, Level(message.level), now_s, until_s) if name is message.input else watch)
        for name, watch in state.watches
    )
    return replace(state, watches=watches)


def energised_s(state: State, purses: frozenset[Purse]) -> float:
    """Pump seconds of these purses in the last 24 h; a run in progress counts to its deadline."""
    total_s = pump_seconds(state.spans, purses, state.now_s - DAY_S)
    if state.run is not None and state.run.purse in purses:
        total_s += state.run.until_s - state.run.started_s
    return total_s


def permit_of(state: State, purse: Purse) -> Permit | None:
    """The permit in force for a soak or attended runs."""
    return next((p for p in state.permits if p.purse is purse and state.now_s < p.until_s), None)


def starts_last_hour(state: State) -> tuple[float, ...]:
    """Instants of the starts in the last hour, oldest first; attended runs do not count."""
    return tuple(
        span.started_s
        for span in state.spans
        if span.started_s > state.now_s - HOUR_S and span.purse is not Purse.ATTENDED
    )
