"""What is said to the guard and what it says: the frozen messages between it and everybody else.

Times named `_s` without another word are instants of the long hand (seconds of CLOCK_BOOTTIME).
"""

from dataclasses import dataclass
from enum import StrEnum

from waaler.guard.limits import Limits

__all__ = [
    "Action", "Alone", "Ask", "Clear", "Contact", "Cut", "Ended", "Event", "Flow", "Granted", "Input", "Instant",
    "Level", "LevelRead", "LockLifted", "LockStays", "Message", "NewLimits", "Permit", "Permitted", "Purse",
    "ReadBack", "Refused", "Relay", "Trip", "TripEnded", "Tripped", "Wake",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment by both hands.

    long_s: seconds of the boot clock, suspended time included; only differences mean anything.
    wall_s: seconds since 1970-01-01 UTC by the wall clock, which may be stepped.
    is_sure: whether the wall clock is known to be right.
    """

    long_s: float
    wall_s: float
    is_sure: bool = True


class Input(StrEnum):
    """A protective input; its value is the key of the settings and of the history."""

    SUMP_LOW = "sump_low"
    TRAY_HIGH = "tray_high"


class Level(StrEnum):
    """What a protective input reads. A broken wire must read as BAD or NOT_READ."""

    GOOD = "good"
    BAD = "bad"
    NOT_READ = "not read"


class Contact(StrEnum):
    """Two relays in series feed the pump where a cut-off relay is fitted."""

    MAIN = "the main relay"
    CUTOFF = "the cut-off relay"


class Purse(StrEnum):
    """Which allowance of pump time a run draws on."""

    PLAN = "plan"
    SPARE = "spare"
    """Extra, on-demand, catch-up and hand runs: what the plan's next 24 h leave free."""
    SOAK = "soak"
    ATTENDED = "attended"


class Trip(StrEnum):
    """Why the guard cuts and refuses."""

    LOW_SUMP = "low sump"
    HIGH_TRAY = "high tray"
    NOT_READ = "input not read"
    OVERRUN = "overrun"
    NO_FLOW = "no flow"
    FLOW_WHILE_OFF = "flow while off"


# --- to the guard -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ask:
    """A run is asked for.

    seconds: wanted length; more than `longest_run` is granted as `longest_run`.
    reserve_s: pump seconds that must stay free for the plan's next 24 h.
    valid_until_s: after this instant the ask is refused, so that a late queue starts nothing.
    """

    run_id: int
    seconds: float
    purse: Purse
    valid_until_s: float
    reserve_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Cut:
    """Stop the run in progress, if any."""

    reason: str


@dataclass(frozen=True, slots=True)
class LevelRead:
    """A protective input was read.

    until_s: the reader vouches for this level up to here (the simulated bed knows the future); None
    means this moment alone.
    """

    input: Input
    level: Level
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Flow:
    """Flow in the line, litres a minute, mean of the last second or so."""

    l_per_min: float


@dataclass(frozen=True, slots=True)
class ReadBack:
    """Whether the supply behind the last contact is live."""

    is_on: bool


@dataclass(frozen=True, slots=True)
class Permit:
    """A person allows a soak or attended runs: until when, and how much pump time in all."""

    purse: Purse
    until_s: float
    most_s: float


@dataclass(frozen=True, slots=True)
class Clear:
    """A person asks for every lock to be lifted whose cause is gone."""

    by: str


@dataclass(frozen=True, slots=True)
class NewLimits:
    """Other limits: stricter ones hold at once, looser ones from the next run."""

    limits: Limits


@dataclass(frozen=True, slots=True)
class Wake:
    """Nothing but the passing of time."""


Message = Ask | Cut | LevelRead | Flow | ReadBack | Permit | Clear | NewLimits | Wake


@dataclass(frozen=True, slots=True)
class Event:
    at: Instant
    message: Message


# --- from the guard -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Relay:
    """Drive the relay; whoever performs a step's actions does this before all others."""

    on: bool


@dataclass(frozen=True, slots=True)
class Alone:
    """Energise this contact and open its partner: a self-test, in which the pump must stay dead."""

    contact: Contact


@dataclass(frozen=True, slots=True)
class Granted:
    run_id: int
    until_s: float


@dataclass(frozen=True, slots=True)
class Refused:
    """No. `free_at_s`: when the same ask could pass if nothing else changes; None if that is unknown."""

    run_id: int
    reason: str
    free_at_s: float | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """A run is over. trip: the trip that cut it; None when it ran its time or was cut by an order.

    has_flowed, was_live: whether water and the supply behind the last contact were seen; None without a sensor.
    """

    run_id: int
    seconds: float
    reason: str
    trip: Trip | None = None
    has_flowed: bool | None = None
    was_live: bool | None = None


@dataclass(frozen=True, slots=True)
class Tripped:
    trip: Trip
    reason: str
    is_locked: bool


@dataclass(frozen=True, slots=True)
class TripEnded:
    trip: Trip


@dataclass(frozen=True, slots=True)
class LockLifted:
    trip: Trip
    by: str


@dataclass(frozen=True, slots=True)
class LockStays:
    trip: Trip
    reason: str


@dataclass(frozen=True, slots=True)
class Permitted:
    """A soak or attended time began (until_s) or is over (None)."""

    purse: Purse
    until_s: float | None


Action = Relay | Alone | Granted | Refused | Ended | Tripped | TripEnded | LockLifted | LockStays | Permitted
