"""One step in the making: the state so far and the actions so far.

It lives only inside a step; outside of it everything is frozen.
"""

from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from waaler.core.alert import About, Alert, AlertKind, Severity
from waaler.core.deduced import plan_now
from waaler.core.facts import Amount, Deed
from waaler.core.messages import Action, Answer, ToGuard, Write
from waaler.core.state import State, changed
from waaler.guard.messages import Instant
from waaler.guard.messages import Message as GuardMessage
from waaler.plan.types import Plan

__all__ = ["Turn"]


class Turn:
    """before: the instant of the last step."""

    def __init__(self, state: State, at: Instant) -> None:
        self.at = at
        self.before = state.at
        self.state = changed(state, at=at)
        self.actions: list[Action] = []

    def set(self, **changes: Any) -> None:
        """Replaces fields of the state."""
        self.state = changed(self.state, **changes)

    @property
    def zone(self) -> str:
        return self.state.plan.place.timezone

    @property
    def now_s(self) -> float:
        """The long hand."""
        return self.at.long_s

    @property
    def local(self) -> datetime:
        """The bed's wall time."""
        return self.local_of(self.at.wall_s)

    @property
    def today(self) -> date:
        return self.local.date()

    def local_of(self, wall_s: float) -> datetime:
        """A wall time in the bed's time zone."""
        return datetime.fromtimestamp(wall_s, UTC).astimezone(ZoneInfo(self.state.plan.place.timezone))

    @property
    def plan(self) -> Plan:
        """The plan that counts now; by a clock that may be behind, a season that has not begun counts as begun."""
        return plan_now(self.state)

    def long_of(self, wall_s: float) -> float:
        """The long hand's instant at a wall time, if the clock is not stepped in between."""
        return self.now_s + (wall_s - self.at.wall_s)

    def clock_text(self, long_s: float) -> str:
        """A long-hand instant as people read it: `Thu 14:05`."""
        return self.local_of(self.at.wall_s + (long_s - self.now_s)).strftime("%a %H:%M")

    def write(self, fact: Any) -> None:
        self.actions.append(Write(fact))

    def tell_guard(self, message: GuardMessage) -> None:
        self.actions.append(ToGuard(message))

    def answer(self, order_id: int | None, is_done: bool, text: str) -> None:
        if order_id is not None:
            self.actions.append(Answer(order_id, is_done, text))

    def deed(
        self,
        what: str,
        text: str,
        by: str | None = None,
        until_s: float | None = None,
        seconds: float | None = None,
        amounts: tuple[Amount, ...] = (),
    ) -> None:
        """Writes what was done; until_s by the long hand; seconds: the pump time that it is about."""
        until_wall_s = None if until_s is None else self.at.wall_s + (until_s - self.now_s)
        self.write(Deed(self.at, what, text, by, until_wall_s, seconds, amounts))

    def find(self, kind: AlertKind, severity: Severity, about: About = None, subject: str = "") -> None:
        """An event showed that this stands, until `over` takes it back."""
        alert = Alert(kind, severity, about, subject)
        self.set(found={**self.state.found, alert.name: alert})

    def over(self, kind: AlertKind, subject: str = "") -> None:
        """Takes back what an event showed; nothing where none did."""
        if (name := kind.of(subject)) in self.state.found:
            self.set(found={other: one for other, one in self.state.found.items() if other != name})
