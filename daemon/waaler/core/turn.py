"""One step in the making: the state so far and the actions so far.

It lives only inside a step; outside of it everything is frozen.
"""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import get_args, get_type_hints
from zoneinfo import ZoneInfo

from waaler.core.alert import About, Alert, AlertKind, Severity
from waaler.core.deduced import plan_now
from waaler.core.facts import Act, Amount, Deed, Fact
from waaler.core.messages import Action, Answer, ToGuard, Write
from waaler.core.state import Active, Setup, Slice, State, Wanted
from waaler.guard.messages import Instant
from waaler.guard.messages import Message as GuardMessage
from waaler.plan.types import Plan

__all__ = ["Turn"]

PLACES: dict[type, str] = {kind: name for name, kind in get_type_hints(State).items() if kind in get_args(Slice)}
"""Which field of the state holds slices of a type."""


class Turn:
    """before: the instant of the last step."""

    def __init__(self, state: State, at: Instant) -> None:
        self.at = at
        self.before = state.at
        self.state = _with(state, "at", at)
        self.actions: list[Action] = []

    def put(self, new: Slice) -> None:
        """Puts a slice of the state in the place of the one before."""
        self.state = _with(self.state, PLACES[type(new)], new)

    @property
    def setup(self) -> Setup:
        return self.state.setup

    @property
    def zone(self) -> str:
        return self.state.setup.plan.place.timezone

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
        return datetime.fromtimestamp(wall_s, UTC).astimezone(ZoneInfo(self.state.setup.plan.place.timezone))

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

    def write(self, fact: Fact) -> None:
        self.actions.append(Write(fact))

    def tell_guard(self, message: GuardMessage) -> None:
        self.actions.append(ToGuard(message))

    def answer(self, order_id: int | None, is_done: bool, text: str) -> None:
        if order_id is not None:
            self.actions.append(Answer(order_id, is_done, text))

    def deed(
        self,
        what: Act,
        text: str,
        by: str | None = None,
        until_s: float | None = None,
        seconds: float | None = None,
        amounts: tuple[Amount, ...] = (),
    ) -> None:
        """Writes what was done; until_s by the long hand; seconds: the pump time that it is about."""
        until_wall_s = None if until_s is None else self.at.wall_s + (until_s - self.now_s)
        self.write(Deed(self.at, what, text, by, until_wall_s, seconds, amounts))

    def wait(self, wanted: Wanted) -> None:
        """A run that shall be asked for joins the queue."""
        self.put(replace(self.state.runs, queue=(*self.state.runs.queue, wanted)))

    def go_on_with(self, active: Active | None) -> None:
        """The run that is on its way from now on; None: none is."""
        self.put(replace(self.state.runs, active=active))

    def find(self, kind: AlertKind, severity: Severity, about: About = None, subject: str = "") -> None:
        """An event showed that this stands, until `over` takes it back."""
        alert, known = Alert(kind, severity, about, subject), self.state.alerts
        self.put(replace(known, found={**known.found, alert.name: alert}))

    def over(self, kind: AlertKind, subject: str = "") -> None:
        """Takes back what an event showed; nothing where none did."""
        name, known = kind.of(subject), self.state.alerts
        if name in known.found:
            self.put(replace(known, found={other: one for other, one in known.found.items() if other != name}))


def _with(state: State, place: str, new: Slice | Instant) -> State:
    """`dataclasses.replace` of one field, several times as quick: a season has a million of them."""
    made = object.__new__(State)
    made.__dict__.update(state.__dict__)
    made.__dict__[place] = new
    return made
