"""One step in the making: the state so far and the actions so far.

It lives only inside a step; outside of it everything is frozen.
"""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from waaler.core.facts import AlertRaised, AlertResolved, Amount, Deed, Severity
from waaler.core.messages import Action, Answer, ToGuard, Write
from waaler.core.standing import OpenAlert, Words
from waaler.core.state import State, changed
from waaler.core.words import compose, may_refill
from waaler.guard.messages import Instant
from waaler.guard.messages import Message as GuardMessage
from waaler.plan.timetable import as_begun
from waaler.plan.types import Plan

__all__ = ["Turn"]

RANKS = {severity: rank for rank, severity in enumerate(Severity)}
"""The most severe first."""


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
        return self.state.plan if self.at.is_sure else as_begun(self.state.plan, self.today)

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

    def alert(self, kind: str, severity: Severity, words: Words | str) -> None:
        """Raises an alert once; while it stands, only greater severity raises it again."""
        words = Words(words) if isinstance(words, str) else words
        known = self.state.alerts.get(kind)
        if known is not None and RANKS[known.severity] <= RANKS[severity]:
            if known.words is None:
                self._take_up(known, words)
            elif known.words != words:
                self._put(replace(known, words=words))  # for the next reminder
            return
        raised_s = self.now_s if known is None else known.raised_s
        text = compose(self.state, self.at, words, raised_s)
        says_refill = may_refill(self.state, self.now_s)
        self._put(OpenAlert(kind, severity, text, raised_s, self.now_s, says_refill=says_refill, words=words))
        self.write(AlertRaised(self.at, kind, severity, text))

    def resolve(self, kind: str) -> None:
        if kind in self.state.alerts:
            self.set(alerts={name: alert for name, alert in self.state.alerts.items() if name != kind})
            self.write(AlertResolved(self.at, kind))

    def _take_up(self, known: OpenAlert, words: Words) -> None:
        """An alert of before a restart: a text of a refill is then composed anew, since nobody knows its age."""
        says_refill = not may_refill(self.state, self.now_s) if words.refill else known.says_refill
        self._put(replace(known, words=words, says_refill=says_refill))

    def _put(self, alert: OpenAlert) -> None:
        self.set(alerts={**self.state.alerts, alert.kind: alert})
