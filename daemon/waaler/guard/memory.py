"""What the guard must still know after a restart: pump time of the last day, the last stop, its locks."""

from dataclasses import dataclass

from waaler.guard.messages import Permit, Purse, Trip

__all__ = ["DAY_S", "HOUR_S", "Memory", "Span", "pump_seconds"]

DAY_S = 86_400.0
HOUR_S = 3_600.0


@dataclass(frozen=True, slots=True)
class Span:
    """The relay was on from started_s to ended_s, by the long hand of the present boot (so it may be negative)."""

    started_s: float
    ended_s: float
    purse: Purse = Purse.PLAN


@dataclass(frozen=True, slots=True)
class Memory:
    """Restored from the records at a start; the default is a first start.

    last_stop_s: None where its age is unknown. tripped: protective trips that stood when the process ended;
    the input must then be good for its whole settle time, not only for the start delay.
    """

    spans: tuple[Span, ...] = ()
    last_stop_s: float | None = None
    locks: frozenset[Trip] = frozenset()
    tripped: frozenset[Trip] = frozenset()
    permits: tuple[Permit, ...] = ()


def pump_seconds(spans: tuple[Span, ...], purses: frozenset[Purse], since_s: float) -> float:
    """Seconds that the relay was on after `since_s`, for these purses."""
    return sum(max(0.0, span.ended_s - max(span.started_s, since_s)) for span in spans if span.purse in purses)
