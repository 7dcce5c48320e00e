"""What the guard must still know after a restart: pump time of the last day, the last stop, its locks."""

from dataclasses import dataclass

from waaler.guard.messages import Ended, Hold, Input, Level, Purse, Trip

__all__ = ["DAY_S", "HOUR_S", "Memory", "Ran", "Span", "pump_seconds"]

DAY_S = 86_400.0
HOUR_S = 3_600.0


@dataclass(frozen=True, slots=True)
class Span:
    """The relay was on from started_s to ended_s, by the long hand of the present boot (so it may be negative)."""

    started_s: float
    ended_s: float
    purse: Purse = Purse.PLAN


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that ended at ended_s (long hand), and how: for records that were not there to hear it.

    granted_s: the length that it was granted.
    """

    ended_s: float
    ended: Ended
    purse: Purse = Purse.PLAN
    granted_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Memory:
    """What outlives the process; the default is a first start. Instants by the long hand of the present boot.

    last_stop_s: None where its age is unknown. tripped: protective inputs that had acted when the process ended;
    such an input must be good for its whole settle time, not only for the start delay. holds: a person's, with
    their ends. seen: protective inputs as they once read. has_watered: whether a run of the plan was ever made.
    last_run_id: the highest that was ever granted. reserved_run_id: the highest that may have been used. ran: the
    last runs that ended, oldest first. open_run: one that was in progress; its span counts to its deadline.
    """

    spans: tuple[Span, ...] = ()
    last_stop_s: float | None = None
    locks: frozenset[Trip] = frozenset()
    tripped: frozenset[tuple[Input, Trip]] = frozenset()
    holds: tuple[Hold, ...] = ()
    seen: frozenset[tuple[Input, Level]] = frozenset()
    has_watered: bool = False
    last_run_id: int = 0
    reserved_run_id: int = 0
    ran: tuple[Ran, ...] = ()
    open_run: Ran | None = None


def pump_seconds(spans: tuple[Span, ...], purses: frozenset[Purse], since_s: float) -> float:
    """Seconds that the relay was on after `since_s`, for these purses."""
    return sum(max(0.0, span.ended_s - max(span.started_s, since_s)) for span in spans if span.purse in purses)
