"""What is said to the guard and what it says: the frozen messages between it and everybody else.

Times named `_s` without another word are instants of the long hand (seconds of CLOCK_BOOTTIME).
"""

from dataclasses import dataclass
from math import inf

from waaler.guard.limits import Limits
from waaler.guard.names import Contact, HoldKind, Input, Level, Purse, Trip

__all__ = [
    "Action", "Alone", "Ask", "BeginHold", "Clear", "Contact", "Cut", "Disarm", "EndHolds", "Ended", "Event",
    "Flow", "Granted", "Held", "Hold", "HoldKind", "HoldOver", "Input", "Instant", "Level", "LevelRead",
    "LockLifted", "LockStays", "Message", "NewLimits", "Purse", "ReadBack", "Refused", "Relay", "RelayRead",
    "Reserve", "Seen", "Stop", "Stopped", "Trip", "TripEnded", "Tripped", "Wake",
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


@dataclass(frozen=True, slots=True)
class Hold:
    """Until until_s only runs of the kind's own purse may start: none in a service or a pause.

    most_s: how much pump time an attended time or a soak may use in all.
    """

    kind: HoldKind
    until_s: float
    by: str
    most_s: float = 0.0


# --- to the guard -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ask:
    """A run is asked for.

    seconds: wanted length; more than `longest_run` is granted as `longest_run`.
    reserve_s: pump seconds that must stay free for the plan's next 24 h.
    valid_until_s: after this instant the ask is refused, so that a late queue starts nothing.
    intended_s: when the run was decided on; a person's stop after that instant refuses it.
    """

    run_id: int
    seconds: float
    purse: Purse
    valid_until_s: float
    reserve_s: float = 0.0
    intended_s: float = inf


@dataclass(frozen=True, slots=True)
class Cut:
    """Stop the run in progress, if any."""

    reason: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A person ends the run in progress, and every run that was decided on before and has not begun."""

    by: str


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
class RelayRead:
    """What the relay's own line reads; None where it cannot be read or driven."""

    is_on: bool | None


@dataclass(frozen=True, slots=True)
class BeginHold:
    """A person asks for a hold. order_id: for the answer."""

    hold: Hold
    order_id: int | None = None


@dataclass(frozen=True, slots=True)
class EndHolds:
    """A person ends every hold. order_id: for the answer."""

    by: str
    order_id: int | None = None


@dataclass(frozen=True, slots=True)
class Reserve:
    """Run ids up to this one are taken, whatever becomes of the records."""

    run_id: int


@dataclass(frozen=True, slots=True)
class Disarm:
    """What was seen of the protective inputs proves nothing: a float was found wrong."""


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


Message = (
    Ask | Cut | Stop | LevelRead | Flow | ReadBack | RelayRead | BeginHold | EndHolds | Reserve | Disarm | Clear
    | NewLimits | Wake
)  # fmt: skip


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
    """input: whose trip it is, None for a trip of pump or relay."""

    trip: Trip
    reason: str
    is_locked: bool
    input: Input | None = None


@dataclass(frozen=True, slots=True)
class TripEnded:
    trip: Trip
    input: Input | None = None


@dataclass(frozen=True, slots=True)
class LockLifted:
    trip: Trip
    by: str


@dataclass(frozen=True, slots=True)
class LockStays:
    trip: Trip
    reason: str


@dataclass(frozen=True, slots=True)
class Held:
    """A hold stands, with the end that it really has: an order never shortens one of its own kind."""

    hold: Hold
    order_id: int | None = None


@dataclass(frozen=True, slots=True)
class HoldOver:
    """by: who ended it, None when its time was over."""

    kind: HoldKind
    by: str | None = None
    order_id: int | None = None


@dataclass(frozen=True, slots=True)
class Stopped:
    """A person's stop was carried out, whether anything ran or not."""

    by: str


@dataclass(frozen=True, slots=True)
class Seen:
    """A protective input has shown this level for as long as it needs to act."""

    input: Input
    level: Level


Action = (
    Relay | Alone | Granted | Refused | Ended | Tripped | TripEnded | LockLifted | LockStays | Held | HoldOver
    | Stopped | Seen
)  # fmt: skip
