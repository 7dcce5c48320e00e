"""The guard's memory of the present: frozen, replaced at every step."""

from dataclasses import dataclass, replace
from math import inf

from waaler.guard.limits import Limits
from waaler.guard.memory import DAY_S, HOUR_S, Memory, Ran, Span, pump_seconds
from waaler.guard.messages import Contact, Ended, Hold, Input, Level, LevelRead, Purse, Trip
from waaler.guard.watch import Watch, read

__all__ = [
    "PLAN_PURSES", "Run", "State", "begin", "energised_s", "memory_of", "read_level", "starts_last_hour",
]  # fmt: skip

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
    on though the relay is off; line_on_since_s: the same of the relay's own line. tested_s: when both contacts were
    last seen to cut. stopped_s: a person's last stop. The rest as in Memory.
    """

    limits: Limits
    now_s: float
    last_stop_s: float
    watches: tuple[tuple[Input, Watch], ...]
    run: Run | None = None
    spans: tuple[Span, ...] = ()
    locks: frozenset[Trip] = frozenset()
    holds: tuple[Hold, ...] = ()
    stopped_s: float = -inf
    stopped_by: str = ""
    seen: frozenset[tuple[Input, Level]] = frozenset()
    has_watered: bool = False
    last_run_id: int = 0
    reserved_run_id: int = 0
    ran: tuple[Ran, ...] = ()
    has_no_flow: bool = False
    flow_l_per_min: float | None = None
    flow_read_s: float = 0.0
    flow_since_s: float | None = None
    is_read_back_on: bool = False
    on_since_s: float | None = None
    line_on_since_s: float | None = None
    tested_s: float | None = None


def begin(limits: Limits, memory: Memory, now_s: float) -> State:
    """The state at a start of the daemon: nothing is trusted until it was seen.

    A last stop of unknown age counts as now.
    """
    watches: list[tuple[Input, Watch]] = []
    if limits.has_sump_float:
        watches.append(
            (Input.SUMP_LOW, _unseen(limits, memory, Input.SUMP_LOW, Trip.LOW_SUMP, limits.settle_sump_s, now_s))
        )
    if limits.has_tray_float:
        watches.append(
            (Input.TRAY_HIGH, _unseen(limits, memory, Input.TRAY_HIGH, Trip.HIGH_TRAY, limits.settle_tray_s, now_s))
        )
    return State(
        limits=limits,
        now_s=now_s,
        last_stop_s=now_s if memory.last_stop_s is None else min(memory.last_stop_s, now_s),
        watches=tuple(watches),
        spans=memory.spans,
        locks=memory.locks,
        holds=memory.holds,
        seen=memory.seen,
        has_watered=memory.has_watered,
        last_run_id=memory.last_run_id,
        reserved_run_id=memory.reserved_run_id,
        ran=memory.ran,
    )


def memory_of(state: State) -> Memory:
    """What must outlive this process; a run in progress counts to its deadline."""
    run, spans, open_run = state.run, state.spans, None
    if run is not None:
        spans = (*spans, Span(run.started_s, run.until_s, run.purse))
        seconds = run.until_s - run.started_s
        ended = Ended(run.run_id, seconds, "the guard ended during it; counted to its deadline")
        open_run = Ran(run.until_s, ended, run.purse, seconds)
    return Memory(
        spans=spans,
        last_stop_s=state.last_stop_s if run is None else run.until_s,
        locks=state.locks,
        tripped=frozenset((name, watch.trip) for name, watch in state.watches if watch.trip is not None),
        holds=state.holds,
        seen=state.seen,
        has_watered=state.has_watered,
        last_run_id=state.last_run_id,
        reserved_run_id=state.reserved_run_id,
        ran=state.ran,
        open_run=open_run,
    )


def _unseen(limits: Limits, memory: Memory, name: Input, meaning: Trip, settle_s: float, now_s: float) -> Watch:
    settle_s = max(settle_s, limits.run_back_s)
    trip = next((trip for trip in (meaning, Trip.NOT_READ) if (name, trip) in memory.tripped), None)
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


def starts_last_hour(state: State) -> tuple[float, ...]:
    """Instants of the starts in the last hour, oldest first; attended runs do not count."""
    return tuple(
        span.started_s
        for span in state.spans
        if span.started_s > state.now_s - HOUR_S and span.purse is not Purse.ATTENDED
    )
