"""Plays a plan on the simulated bed: the same core as the daemon's, stepped from event to event.

Time jumps to whatever comes next: the core's own wake times, the next reading, and, while water moves, the next
small step of the bed. Power that fails ends the core; when it is back a new one begins with what the records know.
"""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from waaler.core import joined as core
from waaler.core.facts import AlertRaised, Fact, Outcome, RunIntent, RunResult
from waaler.core.memory import Memory, after_loss
from waaler.core.messages import Look, Message, Write
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, LevelRead, Relay, Wake
from waaler.model.sensors import moisture_percent
from waaler.model.world import World
from waaler.plan.sensing import Reading
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["Keeping", "Play", "Trace"]

READ_EVERY_S = 120.0
CHATTER_S = 0.05
VOUCHED_S = 1e15
"""The simulated floats are read without a gap until they say otherwise."""

STEP_S = 3600.0
FLAP_ON_S = 180.0
FLAP_OFF_S = 60.0


class Keeping(Protocol):
    """Takes the facts as they come, and gives back at a boot what it knows."""

    def keep(self, facts: Sequence[Fact]) -> None: ...

    def memory(self, boot: str, at: Instant) -> Memory: ...


class Trace(Protocol):
    """Hears what truly happened, by the long hand of the world (seconds since the beginning).

    name, level: of an input, as in the settings and in words (`sump_low`, `good`).
    """

    def relay(self, at_s: float, is_on: bool) -> None: ...

    def level(self, at_s: float, name: str, level: str) -> None: ...

    def power(self, at_s: float, is_on: bool) -> None: ...


class Play:
    """One rehearsal. keeping: the records. trace: a judge, or nobody."""

    def __init__(self, scene: Scene, keeping: Keeping | None = None, trace: Trace | None = None) -> None:
        self.scene, self.keeping, self.trace = scene, keeping, trace
        self.zone = ZoneInfo(scene.plan.place.timezone)
        local = scene.start.astimezone(self.zone)
        self.world = World(scene.figures, scene.faults, local.hour + local.minute / 60, scene.seed)
        self.wall_offset_s = scene.start.timestamp()
        self.is_powered = True
        self.is_sure = True
        self.boots = 1
        self.unkept: list[Fact] = []
        self.booted_s = 0.0
        self.read_at_s = 0.0
        self.flap_at_s = 0.0
        self.levels: dict[Input, Level] = {}
        self.was_present: frozenset[str] = frozenset()
        self.findings = Findings(
            sump_start_l=self.world.water.sump_l,
            wilting_percent=100 * scene.figures.wilting_fraction / scene.figures.capacity_fraction,
        )
        # the bed was watered in full just before, and the pump has rested
        memory = Memory(guard=GuardMemory(last_stop_s=-scene.limits.rest_s), last_full_s=0.0)
        self.core = core.begin(scene.plan, scene.sensing, scene.limits, memory, self._at())

    def run(self, progress: Callable[[float], object] | None = None) -> Findings:
        """Plays to the end. progress: called with the days played so far."""
        end_s = self.scene.days * 86_400
        self._look_at_faults()
        self._see_floats()
        self._tell(Look())
        while self.world.now_s < end_s:
            self._go_to(min(self._next_s(), end_s))
            self._look_at_faults()
            if self.is_powered:
                self._turn()
            if progress is not None:
                progress(self.world.now_s / 86_400)
        return self._finish()

    # --- time --------------------------------------------------------------------------------

    def _at(self, due_s: float = 0.0) -> Instant:
        """By the hands of the Pi: its long hand begins anew at each boot.

        due_s: a wake time that has come, which no rounding shall miss.
        """
        long_s = max(self.world.now_s - self.booted_s, due_s)
        return Instant(long_s, self.wall_offset_s + self.world.now_s, self.is_sure)

    def _local(self) -> datetime:
        wall_s = self.scene.start.timestamp() + self.world.now_s
        return datetime.fromtimestamp(wall_s, UTC).astimezone(self.zone)

    def _next_s(self) -> float:
        due = [self.world.next_s()]
        if self.is_powered:
            due += [self.booted_s + self.core.wake_s, self.booted_s + self.core.guard_wake_s, self.read_at_s]
        if "power-flaps" in self.world.present:
            due.append(self.flap_at_s)
        if self._chatters():
            due.append(self.world.now_s + CHATTER_S)
        return max(min(due), self.world.now_s)

    def _chatters(self) -> bool:
        return self.is_powered and self.world.is_on and "sump-float-chatters" in self.world.present

    def _turn(self) -> None:
        self._see_floats()
        if self.world.now_s >= self.booted_s + self.core.guard_wake_s:
            self._take(core.tell_guard(self.core, self._at(self.core.guard_wake_s), Wake()))
        if self.world.now_s >= self.read_at_s:
            self._read_advisers()
        if self.world.now_s >= self.booted_s + self.core.wake_s:
            self._take(core.tell(self.core, self._at(self.core.wake_s), Look()))

    def _go_to(self, now_s: float) -> None:
        seconds = now_s - self.world.now_s
        self.world.go_to(now_s)
        percent = moisture_percent(self.world.water, self.scene.figures)
        findings = self.findings
        if percent < findings.wilting_percent:
            findings.wilted_h += seconds / 3600
        if percent < findings.driest_percent:
            findings.driest_percent, findings.driest_at = percent, self._local()

    # --- faults of power, clock and disk -----------------------------------------------------

    def _look_at_faults(self) -> None:
        present = self.world.present
        begun = present - self.was_present
        self.was_present = present
        if begun & {"clock-back", "clock-ahead"}:
            self.wall_offset_s += STEP_S if "clock-ahead" in begun else -STEP_S
        self.core = core.with_disk(self.core, is_full="disk-full" in present)
        wants_power = "power-cut" not in present and self._flap_power(present)
        if self.is_powered and not wants_power:
            self._power_fails()
        elif wants_power and not self.is_powered:
            self._power_is_back()

    def _flap_power(self, present: frozenset[str]) -> bool:
        if "power-flaps" not in present:
            return True
        if self.world.now_s >= self.flap_at_s:
            next_s = FLAP_OFF_S if self.is_powered else FLAP_ON_S
            self.flap_at_s = self.world.now_s + next_s
            return not self.is_powered
        return self.is_powered

    def _power_fails(self) -> None:
        self.is_powered = False
        self.unkept = []
        self._drive(False)
        if self.trace is not None:
            self.trace.power(self.world.now_s, False)

    def _power_is_back(self) -> None:
        self.is_powered = True
        self.is_sure = "no-clock" not in self.world.present
        self.boots += 1
        self.booted_s = self.world.now_s
        at = self._at()
        memory = self._memory(at)
        self.core = core.begin(self.scene.plan, self.scene.sensing, self.scene.limits, memory, at)
        self.levels = {}
        if self.trace is not None:
            self.trace.power(self.world.now_s, True)

    def _memory(self, at: Instant) -> Memory:
        """What a start finds; a disk that takes nothing at a start counts as lost records, as in the daemon."""
        if self.keeping is None or "disk-full" in self.world.present:
            return after_loss(self.scene.plan, at)
        return self.keeping.memory(f"boot-{self.boots}", at)

    # --- sensors -----------------------------------------------------------------------------

    def _see_floats(self) -> None:
        levels = self.world.levels()
        if self._chatters() and self.levels.get(Input.SUMP_LOW) is Level.GOOD:
            levels[Input.SUMP_LOW] = Level.BAD
        for name, level in levels.items():
            if self.levels.get(name) is not level:
                self.levels[name] = level
                if self.trace is not None:
                    self.trace.level(self.world.now_s, name.value, level.value)
                self._take(core.tell_guard(self.core, self._at(), LevelRead(name, level, VOUCHED_S)))
        if levels[Input.SUMP_LOW] is not Level.GOOD and self.findings.sump_low_at is None:
            self.findings.sump_low_at = self._local()

    def _read_advisers(self) -> None:
        for adviser in self.scene.sensing.advisers:
            self._tell(Reading(adviser.name, self.world.reading(adviser)))
        self.read_at_s = self.world.now_s + READ_EVERY_S

    # --- the core ----------------------------------------------------------------------------

    def _tell(self, message: Message) -> None:
        self._take(core.tell(self.core, self._at(), message))

    def _take(self, answer: tuple[core.Joined, list[core.Output]]) -> None:
        self.core, outputs = answer
        facts: list[Fact] = []
        for output in outputs:
            if isinstance(output, Relay):
                self._drive(output.on)
            elif isinstance(output, Write):
                facts.append(output.fact)
        self._keep(facts)
        for fact in facts:
            self._note(fact)

    def _keep(self, facts: list[Fact]) -> None:
        """What a full disk refuses waits in memory until it takes again."""
        self.unkept += facts
        if self.unkept and self.keeping is not None and not self.core.is_disk_full:
            self.keeping.keep(self.unkept)
            self.unkept = []

    def _drive(self, is_on: bool) -> None:
        if is_on != self.world.is_on and self.trace is not None:
            self.trace.relay(self.world.now_s, is_on)
        self.world.is_on = is_on

    def _note(self, fact: Fact) -> None:
        findings = self.findings
        if isinstance(fact, RunIntent) and 0 < fact.planned_seconds < fact.seconds - 0.5:
            findings.extended += 1
        elif isinstance(fact, RunResult):
            findings.counts[fact.outcome] = findings.counts.get(fact.outcome, 0) + 1
            findings.pump_s += fact.seconds
            if fact.outcome is Outcome.CUT_SHORT:
                findings.trips.append((self._local(), fact.reason))
        elif isinstance(fact, AlertRaised):
            findings.alerts.append((self._local(), fact.text))

    def _finish(self) -> Findings:
        findings, water = self.findings, self.world.water
        findings.lifted_l = water.lifted_l
        findings.drunk_l = water.drunk_l
        findings.spilled_l = water.spilled_l
        findings.sump_end_l = water.sump_l
        per_day_l = (findings.sump_start_l - water.sump_l) / self.scene.days
        if findings.sump_low_at is None and per_day_l > 0:
            days = (water.sump_l - self.scene.figures.sump_low_l) / per_day_l
            findings.sump_low_expected = self._local() + timedelta(days=days)
        return findings
