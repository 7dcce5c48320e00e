"""What the core wants written down: the frozen facts that records keep and readers tell.

Wall times are seconds since 1970 UTC; a fact's own moment is its `at`.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import inf

from waaler.bed.ledger import Entry
from waaler.bed.wear import Wear
from waaler.core.alert import About, Severity
from waaler.core.status import Present
from waaler.guard.messages import Input, Instant, Purse, Trip
from waaler.plan.types import CycleKey

__all__ = [
    "Act", "AlertAcknowledged", "AlertRaised", "AlertReminded", "AlertResolved", "AlertReworded", "Amount", "Cause",
    "Deed", "Fact", "Outcome", "PresentNoted", "RunIntent", "RunResult", "RunStarted", "Severity", "SumpNoted",
    "TripBegan", "TripOver", "WearNoted",
]  # fmt: skip


class Cause(StrEnum):
    """Who wanted the run."""

    PLAN = "plan"
    EXTRA = "extra"
    ON_DEMAND = "on demand"
    CATCH_UP = "catch-up"
    HAND = "by hand"
    SOAK = "soak"
    ATTENDED = "attended"


class Outcome(StrEnum):
    """How a run ended, as people read it."""

    DONE = "done"
    CUT_SHORT = "cut short"
    STOPPED = "stopped"
    """Ended early by a person's order."""
    REFUSED = "refused"
    SKIPPED = "skipped"
    MISSED = "missed"
    """Its time passed while nothing could run: power off, paused, service."""
    TAKEN_AWAY = "taken away"
    """An edit of the plan took the cycle away before its time."""
    INTERRUPTED = "interrupted"
    """The daemon died between intent and result."""


@dataclass(frozen=True, slots=True)
class RunIntent:
    """Written before the relay moves. key: of the cycle, None for a run without one.

    run_id: unique and rising for the life of the records. seconds: what will be asked for. pulse, pulses: the
    number of this run among the runs of its cycle. planned_seconds: what the plan has for it,
    0 if it has none. reason: why this run, and why this long, in words.
    """

    run_id: int
    at: Instant
    cause: Cause
    purse: Purse
    seconds: float
    reason: str
    key: CycleKey | None = None
    pulse: int = 1
    pulses: int = 1
    by: str | None = None
    planned_seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class RunStarted:
    """The guard granted the run; seconds: until its deadline."""

    run_id: int
    at: Instant
    seconds: float


@dataclass(frozen=True, slots=True)
class RunResult:
    """The run's end. Comes alone, after its intent, for refused, skipped and missed cycles too (seconds 0).

    is_full: with it the dose was given that the plan has for such a run.
    """

    run_id: int
    at: Instant
    outcome: Outcome
    seconds: float
    reason: str
    is_full: bool = False


@dataclass(frozen=True, slots=True)
class AlertRaised:
    """Something a person must know. kind: a short fixed name (`sump-low`); text: one line for each thing to know,
    as it is told now. about: the facts that the text was made of. says_refill: whether it speaks of a refill.

    Raised again while it stands, it has become more severe.
    """

    at: Instant
    kind: str
    severity: Severity
    text: str
    about: About = None
    says_refill: bool = False


@dataclass(frozen=True, slots=True)
class AlertReminded:
    """It still stands and nobody took it on. reminders: how often it was told again. person: whose turn it is, by
    the place in the contacts."""

    at: Instant
    kind: str
    text: str
    reminders: int
    person: int = 0
    about: About = None
    says_refill: bool = False


@dataclass(frozen=True, slots=True)
class AlertReworded:
    """What was told last is no longer true, or not safe; nobody is told anew but those who show it."""

    at: Instant
    kind: str
    text: str
    about: About = None
    says_refill: bool = False


@dataclass(frozen=True, slots=True)
class AlertAcknowledged:
    """A person takes it on."""

    at: Instant
    kind: str
    by: str


@dataclass(frozen=True, slots=True)
class AlertResolved:
    at: Instant
    kind: str


@dataclass(frozen=True, slots=True)
class Amount:
    """What a person poured or measured: water and solution in L, EC in mS/cm at 25 C, pH without unit, C."""

    name: str
    value: float
    unit: str


class Act(StrEnum):
    """What a person or the daemon did, by the name that the history keeps."""

    START = "start"
    STOP = "stop"
    CLOCK = "clock"
    NEW_PLAN = "new-plan"
    REFILL = "refill"
    RENEWAL = "renewal"
    MEASURE = "measure"
    NOTE = "note"
    CLEANED = "cleaned"
    COMMISSION = "commission"
    ACKNOWLEDGE = "acknowledge"
    PULSES = "pulses"
    TOO_LOW = "too-low"
    """A run was over before water reached the plants: the next try waits."""
    HIGH_ENOUGH = "high-enough"
    """The sump can carry runs again, by what it shows: the plan goes on."""
    PAUSE = "pause"
    PAUSE_OVER = "pause-over"
    SERVICE = "service"
    SERVICE_OVER = "service-over"
    ATTENDED = "attended"
    ATTENDED_OVER = "attended-over"
    SOAK = "soak"
    SOAK_OVER = "soak-over"
    RESUME = "resume"
    CLEAR = "clear"
    INPUT_SEEN = "input-seen"
    ARMED = "armed"
    DISARMED = "disarmed"


@dataclass(frozen=True, slots=True)
class Deed:
    """What a person or the daemon did: ordered, paused, cleared, started, took a new plan.

    until_s: wall time at which it ends by itself, None without an end.
    seconds: the pump time that it is about: what a soak is allowed in all, the longest pulse; None if it has none.
    amounts: what was poured or measured, each name once.
    """

    at: Instant
    what: Act
    text: str
    by: str | None = None
    until_s: float | None = None
    seconds: float | None = None
    amounts: tuple[Amount, ...] = ()


@dataclass(frozen=True, slots=True)
class TripBegan:
    """The guard cuts and refuses from now on; one that is_locked stays over a restart until a person ends it.

    input: whose trip it is, None for a trip of pump or relay.
    """

    at: Instant
    trip: Trip
    reason: str
    is_locked: bool
    input: Input | None = None


@dataclass(frozen=True, slots=True)
class TripOver:
    """by: who lifted the lock, None for a trip that ended by itself. input: as it was when the trip began."""

    at: Instant
    trip: Trip
    by: str | None = None
    input: Input | None = None


@dataclass(frozen=True, slots=True)
class SumpNoted:
    """The ledger of the sump has a new entry, true at `at`. What lies back is told by its age in seconds.

    weighed_l, weighed_ago_s, renewed_ago_s (inf if never), first_ec, last_ec: as in `core.sump_state.SumpState`.
    is_read: the level was read, not reckoned.
    """

    at: Instant
    entry: Entry
    weighed_l: float | None = None
    weighed_ago_s: float = 0.0
    renewed_ago_s: float = inf
    first_ec: float | None = None
    last_ec: float | None = None
    is_read: bool = False


@dataclass(frozen=True, slots=True)
class PresentNoted:
    """What the bed does, and what comes next, is other than before. Records keep the last one alone."""

    at: Instant
    present: Present


@dataclass(frozen=True, slots=True)
class WearNoted:
    """What the last runs show of pump and drain, and so far the run in progress."""

    at: Instant
    wear: Wear


Fact = (
    RunIntent
    | RunStarted
    | RunResult
    | AlertRaised
    | AlertReminded
    | AlertReworded
    | AlertAcknowledged
    | AlertResolved
    | Deed
    | TripBegan
    | TripOver
    | SumpNoted
    | PresentNoted
    | WearNoted
)
