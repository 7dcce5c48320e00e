"""Both machines joined at a bench with a two-handed clock, and everything they said, in order."""

from dataclasses import dataclass, field, replace
from datetime import datetime

from waaler.bed.thirst import Thirst
from waaler.core import joined as core
from waaler.core.care import Care
from waaler.core.facts import (
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Amount,
    Cause,
    Deed,
    Outcome,
    RunIntent,
    RunResult,
)  # fmt: skip
from waaler.core.memory import Memory
from waaler.core.messages import Answer, Look, Message, NewPlan, Order, OrderKind, Write
from waaler.core.state import Setup, Slice
from waaler.core.turn import Turn
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, LevelRead, Relay, Wake
from waaler.guard.messages import Message as GuardMessage
from waaler.plan.sensing import Adviser, AdviserKind, Reading, Sensing
from waaler.plan.types import ClockMoment, Evenly, Place, Plan, Window

__all__ = ["LIMITS", "PLAN", "PROBE", "Bench"]

LISBON = Place("Europe/Lisbon", 38.72, -9.14)
PLAN = Plan(LISBON, (Window("day", Evenly(5, ClockMoment(6 * 60), ClockMoment(18 * 60)), 120.0),))
"""Cycles at 06, 09, 12, 15 and 18 h, two minutes each."""

LIMITS = Limits()
PROBE = Adviser("pot_3", AdviserKind.MOISTURE, wet_above=90.0, dry_below=60.0)
FAR_S = 1e15


@dataclass
class Bench:
    """Starts at 05:00 on a summer day, inputs good, a full run at 18 h of the day before."""

    plan: Plan = PLAN
    sensing: Sensing = field(default_factory=Sensing)
    limits: Limits = LIMITS
    care: Care = field(default_factory=Care)
    start: str = "2026-06-21T05:00:00+01:00"
    memory: Memory | None = None
    is_sure: bool = True
    long_s: float = 100_000.0
    thirst: Thirst | None = None
    must_be_proven: bool = False

    def __post_init__(self) -> None:
        self.wall_s = datetime.fromisoformat(self.start).timestamp()
        self.outputs: list[tuple[Instant, core.Output]] = []
        self.is_on = False
        memory = self.memory or Memory(
            guard=GuardMemory(last_stop_s=self.long_s - 11 * 3600), last_full_s=self.long_s - 11 * 3600
        )
        setup = Setup(self.plan, self.sensing, self.limits, self.care, self.thirst, self.must_be_proven)
        self.core = core.begin(setup, memory, self.at)
        for name in Input:
            self.level(name, Level.GOOD)
        self.tell(Look())

    @property
    def at(self) -> Instant:
        return Instant(self.long_s, self.wall_s, self.is_sure)

    def tell(self, message: Message) -> list[core.Output]:
        return self._take(core.tell(self.core, self.at, message))

    def tell_guard(self, message: GuardMessage) -> list[core.Output]:
        return self._take(core.tell_guard(self.core, self.at, message))

    def put(self, new: Slice) -> None:
        """Puts a slice in the place of the one that the decisions have."""
        turn = Turn(self.core.decisions, self.at)
        turn.put(new)
        self.core = replace(self.core, decisions=turn.state)

    def level(self, name: Input, level: Level) -> None:
        self.tell_guard(LevelRead(name, level, FAR_S))

    def read(self, value: float | None, name: str = "pot_3") -> None:
        self.tell(Reading(name, value))

    def order(
        self,
        kind: OrderKind,
        seconds: float = 0.0,
        litres: float | None = None,
        amounts: tuple[Amount, ...] = (),
        text: str = "",
        is_renewal: bool = False,
        wrong_float: Input | None = None,
    ) -> Answer | None:
        order = Order(1, kind, "ann", seconds, litres, amounts, text, is_renewal, wrong_float=wrong_float)
        outputs = self.tell(order)
        return next((output for output in outputs if isinstance(output, Answer)), None)

    def new_plan(self, plan: Plan, limits: Limits | None = None) -> None:
        self.tell(NewPlan(plan, self.sensing, limits or self.limits, ("changed",)))

    def pass_s(self, seconds: float) -> None:
        """Both hands move; the machines wake whenever they asked to."""
        end_s = self.long_s + seconds
        while (next_s := min(self.core.wake_s, self.core.guard_wake_s)) <= end_s:
            self._move(max(next_s, self.long_s))
            before = (self.core, self.long_s)
            if self.core.guard_wake_s <= self.long_s:
                self.tell_guard(Wake())
            if self.core.wake_s <= self.long_s:
                self.tell(Look())
            assert (self.core, self.long_s) != before, "woken without end"
        self._move(end_s)

    def until(self, clock: str) -> None:
        """Passes time to a local hour, today or later: `09:30`."""
        local = datetime.fromtimestamp(self.wall_s).astimezone(datetime.fromisoformat(self.start).tzinfo)
        hour, minute = map(int, clock.split(":"))
        seconds = (hour - local.hour) * 3600 + (minute - local.minute) * 60 - local.second - local.microsecond / 1e6
        self.pass_s(seconds if seconds > 0 else seconds + 86_400)

    def step_wall(self, seconds: float) -> None:
        self.wall_s += seconds
        self.tell(Look())

    def _move(self, long_s: float) -> None:
        self.wall_s += long_s - self.long_s
        self.long_s = long_s

    def _take(self, answer: tuple[core.Joined, list[core.Output]]) -> list[core.Output]:
        self.core, outputs = answer
        self.outputs += [(self.at, output) for output in outputs]
        for output in outputs:
            if isinstance(output, Relay):
                self.is_on = output.on
        return outputs

    # --- what was said -----------------------------------------------------------------------

    def facts(self) -> list[object]:
        return [output.fact for _, output in self.outputs if isinstance(output, Write)]

    def intents(self) -> list[RunIntent]:
        return [fact for fact in self.facts() if isinstance(fact, RunIntent)]

    def results(self) -> list[RunResult]:
        return [fact for fact in self.facts() if isinstance(fact, RunResult)]

    def outcomes(self) -> list[tuple[Cause, Outcome, float]]:
        """Cause, outcome and seconds of each run, in order of their ends."""
        causes = {intent.run_id: intent.cause for intent in self.intents()}
        return [(causes[r.run_id], r.outcome, round(r.seconds)) for r in self.results()]

    def alerts(self) -> set[str]:
        kinds: set[str] = set()
        for fact in self.facts():
            if isinstance(fact, AlertRaised):
                kinds.add(fact.kind)
            elif isinstance(fact, AlertResolved):
                kinds.discard(fact.kind)
        return kinds

    def alert_text(self, kind: str) -> str:
        return next(f.text for f in self.facts() if isinstance(f, AlertRaised) and f.kind == kind)

    def alert_now(self, kind: str) -> str:
        """The text as it stands."""
        told = (AlertRaised, AlertReminded, AlertReworded)
        return next(f.text for f in reversed(self.facts()) if isinstance(f, told) and f.kind == kind)

    def reminders(self) -> list[AlertReminded]:
        return [fact for fact in self.facts() if isinstance(fact, AlertReminded)]

    def deeds(self) -> list[str]:
        return [fact.what for fact in self.facts() if isinstance(fact, Deed)]
