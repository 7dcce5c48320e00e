"""What follows from the state alone, for whoever decides or tells: pure."""

from datetime import UTC, date, datetime
from math import inf
from zoneinfo import ZoneInfo

from waaler.bed.ledger import Outlook
from waaler.core.state import State
from waaler.core.sump_state import outlook_at
from waaler.guard.messages import HoldKind, Instant, Trip
from waaler.plan.timetable import as_begun
from waaler.plan.types import Plan

__all__ = ["expected", "is_person_at_bed", "low_at_rest_s", "may_refill", "plan_now", "rested_s", "today"]

MARGIN_S = 5.0
"""For the guard to say that a trip is over."""


def today(state: State) -> date:
    """By the bed's wall clock."""
    return datetime.fromtimestamp(state.at.wall_s, UTC).astimezone(ZoneInfo(state.setup.plan.place.timezone)).date()


def plan_now(state: State) -> Plan:
    """The plan that counts now; by a clock that may be behind, a season that has not begun counts as begun."""
    return state.setup.plan if state.at.is_sure else as_begun(state.setup.plan, today(state))


def is_person_at_bed(state: State) -> bool:
    """While a person works there, levels are expected to be odd."""
    return any(hold.kind in (HoldKind.SERVICE, HoldKind.ATTENDED) for hold in state.barriers.holds)


def rested_s(state: State) -> float:
    """When the water of the last run is back in the sump (long hand); inf while a run is on its way: it may begin
    before anybody has read this.

    Where nobody knows when the pump last stopped, the daemon's start counts.
    """
    if state.runs.active is not None:
        return inf
    last_stop_s = state.account.last_stop_s
    if last_stop_s == -inf and state.runs.next_run_id > 1:
        last_stop_s = state.started_s
    return last_stop_s + state.setup.limits.run_back_s


def may_refill(state: State) -> bool:
    """Whether a person may be told to refill now: a blocked drain empties the sump into the tray."""
    return Trip.HIGH_TRAY not in state.barriers.trips and state.at.long_s >= rested_s(state)


def low_at_rest_s(state: State) -> float:
    """From when on a sump that reads low is low at rest (long hand); inf where it reads good or nobody can know.

    It is once the last run's water is back. A trip stands until its float has been good for a while: one that came
    before, or before a refill, says nothing of the level at rest until that while is over.
    """
    trips = state.barriers.trips
    if Trip.LOW_SUMP not in trips or Trip.HIGH_TRAY in trips or state.runs.active is not None:
        return inf
    if is_person_at_bed(state):
        return inf
    settle_s = max(state.setup.limits.settle_sump_s, state.setup.limits.run_back_s) + MARGIN_S
    back_s = rested_s(state)
    since_s = max(back_s, state.water.refilled_s)
    return back_s if state.barriers.low_since_s >= since_s else since_s + settle_s


def expected(state: State, at: Instant) -> Outlook | None:
    """What is foreseen of the sump; None where nothing is known of it."""
    book, sump = state.setup.care.book, state.water.sump
    if book is None or sump is None:
        return None
    return outlook_at(book, sump, state.setup.plan.place.timezone, at)
