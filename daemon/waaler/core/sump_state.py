"""What the decisions know of the sump: the ledger's last entry, when it was true, and what was measured since."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from math import inf
from zoneinfo import ZoneInfo

from waaler.bed.ledger import Entry, Outlook, SumpBook, advanced, outlook
from waaler.guard.messages import Instant

__all__ = ["Forecast", "Leak", "LeakSign", "SumpState", "entry_at", "local", "outlook_at", "to_add"]

EC_ROSE = 1.05
"""A measurement above the first one after mixing by this factor has risen. Common practice, no source."""


class LeakSign(StrEnum):
    """What speaks for a leak. After a run: less came back than the pots can have kept, and runs are halved. Slow:
    less is there than the plants can have drunk. Unseen: nobody has read the level since a run showed one.
    """

    AFTER_RUN = "after a run"
    SLOW = "slow"
    UNSEEN = "unseen"


@dataclass(frozen=True, slots=True)
class Leak:
    """since_s: when this sign was first seen (long hand)."""

    sign: LeakSign
    since_s: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """low_s: when a run would be cut, inf if not foreseen. notice_s: how long before it is told. look_at_s: when to
    look ahead again. is_used_up: as much was topped up as the sump holds. Instants by the long hand.
    """

    look_at_s: float = -inf
    low_s: float = inf
    notice_s: float = 0.0
    is_used_up: bool = False


@dataclass(frozen=True, slots=True)
class SumpState:
    """Instants by the long hand. entry: of the ledger, true at at_s.

    weighed_l, weighed_s: the level that was last weighed up against drink, None where the level is only assumed.
    renewed_s: when the solution was made anew. first_ec, last_ec: measured since the last refill, mS/cm at 25 C.
    leak: what speaks for one since the last refill.
    """

    entry: Entry
    at_s: float
    weighed_l: float | None = None
    weighed_s: float = 0.0
    renewed_s: float = -inf
    first_ec: float | None = None
    last_ec: float | None = None
    leak: Leak | None = None

    @property
    def has_risen(self) -> bool:
        """Whether the EC has, since the first measurement after mixing."""
        return self.first_ec is not None and self.last_ec is not None and self.last_ec > EC_ROSE * self.first_ec


def entry_at(book: SumpBook, sump: SumpState, zone: str, at: Instant, long_s: float | None = None) -> Entry:
    """The ledger's entry at an instant, now if none is named."""
    long_s = at.long_s if long_s is None else long_s
    return advanced(book, sump.entry, local(zone, at, sump.at_s), local(zone, at, long_s))


def outlook_at(book: SumpBook, sump: SumpState, zone: str, at: Instant) -> Outlook:
    """What is foreseen now."""
    return outlook(book, entry_at(book, sump, zone, at), local(zone, at, at.long_s))


def to_add(book: SumpBook, sump: SumpState | None) -> str:
    """What a refill should be: plain water where the EC rose since the last mix, else fresh solution."""
    if sump is not None and sump.has_risen:
        return "plain water, since the EC has risen"
    return f"solution of {book.fresh_ec:g} mS/cm"


def local(zone: str, at: Instant, long_s: float) -> datetime:
    """The bed's wall time of an instant by the long hand. at: an instant of which both are known."""
    return datetime.fromtimestamp(at.wall_s, ZoneInfo(zone)) + timedelta(seconds=long_s - at.long_s)
