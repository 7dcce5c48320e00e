"""Plays a plan on the simulated bed: the same core as the daemon's, stepped from event to event.

Time jumps to whatever comes next: the core's own wake times, the next reading, and, while water moves, the next
small step of the bed.
"""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

from waaler.core import joined as core
from waaler.core.facts import AlertRaised, Fact, Outcome, RunIntent, RunResult
from waaler.core.memory import Memory
from waaler.core.messages import Look, Write
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, LevelRead, Relay, Wake
from waaler.model.bed import LONGEST_WET_STEP_S, Water, advance, full_bed, has_settled
from waaler.model.sensors import NOISE_PERCENT, Float, air_c, moisture_percent
from waaler.plan.sensing import AdviserKind, Reading
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["Play"]

READ_EVERY_S = 120.0
VOUCHED_S = 1e15
"""The simulated floats are read without a gap until they say otherwise."""

TRAY_WET_L = 0.5


class Play:
    """One rehearsal. keep: takes the facts as they come, e.g. into a file of records."""

    def __init__(self, scene: Scene, keep: Callable[[Sequence[Fact]], object] | None = None) -> None:
        self.scene = scene
        self.keep = keep or (lambda _: None)
        self.water: Water = full_bed(scene.figures)
        self.noise = Random(scene.seed)
        self.zone = ZoneInfo(scene.plan.place.timezone)
        self.start_wall_s = scene.start.timestamp()
        self.long_s = 0.0
        self.is_on = False
        self.read_at_s = 0.0
        self.floats = {
            Input.SUMP_LOW: Float(scene.figures.sump_low_l),
            Input.TRAY_HIGH: Float(scene.figures.tray_high_l),
        }
        self.levels: dict[Input, Level] = {}
        self.findings = Findings(
            sump_start_l=self.water.sump_l,
            wilting_percent=100 * scene.figures.wilting_fraction / scene.figures.capacity_fraction,
        )
        memory = Memory(guard=GuardMemory(last_stop_s=-scene.limits.rest_s), last_full_s=0.0)
        self.core = core.begin(scene.plan, scene.sensing, scene.limits, memory, self._at())

    def run(self, progress: Callable[[float], object] | None = None) -> Findings:
        """Plays to the end. progress: called with the days played so far."""
        end_s = self.scene.days * 86_400
        self._see_floats()
        self._tell(Look())
        while self.long_s < end_s:
            self._go_to(min(self._next_s(), end_s))
            self._see_floats()
            if self.long_s >= self.core.guard_wake_s:
                self._take(core.tell_guard(self.core, self._at(), Wake()))
            if self.long_s >= self.read_at_s:
                self._read_advisers()
            if self.long_s >= self.core.wake_s:
                self._tell(Look())
            if progress is not None:
                progress(self.long_s / 86_400)
        return self._finish()

    def _at(self) -> Instant:
        return Instant(self.long_s, self.start_wall_s + self.long_s)

    def _local(self) -> datetime:
        return datetime.fromtimestamp(self.start_wall_s + self.long_s, UTC).astimezone(self.zone)

    def _next_s(self) -> float:
        next_s = min(self.core.wake_s, self.core.guard_wake_s, self.read_at_s)
        if self.is_on or not has_settled(self.water):
            next_s = min(next_s, self.long_s + LONGEST_WET_STEP_S)
        return max(next_s, self.long_s)

    def _go_to(self, long_s: float) -> None:
        local = self._local()
        hour = local.hour + local.minute / 60 + local.second / 3600
        self.water = advance(self.water, self.scene.figures, long_s - self.long_s, self.is_on, hour)
        percent = moisture_percent(self.water, self.scene.figures)
        if percent < self.findings.wilting_percent:
            self.findings.wilted_h += (long_s - self.long_s) / 3600
        self.long_s = long_s
        if percent < self.findings.driest_percent:
            self.findings.driest_percent, self.findings.driest_at = percent, self._local()

    def _see_floats(self) -> None:
        sump_is_good = self.floats[Input.SUMP_LOW].see(self.water.sump_l)
        tray_is_good = not self.floats[Input.TRAY_HIGH].see(self.water.tray_l)
        for name, is_good in ((Input.SUMP_LOW, sump_is_good), (Input.TRAY_HIGH, tray_is_good)):
            level = Level.GOOD if is_good else Level.BAD
            if self.levels.get(name) is level:
                continue
            self.levels[name] = level
            self._take(core.tell_guard(self.core, self._at(), LevelRead(name, level, VOUCHED_S)))
        if not sump_is_good and self.findings.sump_low_at is None:
            self.findings.sump_low_at = self._local()

    def _read_advisers(self) -> None:
        for adviser in self.scene.sensing.advisers:
            if adviser.kind is AdviserKind.TRAY_WET:
                value = 1.0 if self.water.tray_l > TRAY_WET_L else 0.0
            elif adviser.kind is AdviserKind.TEMPERATURE:
                value = air_c(self._local().hour)
            else:
                value = moisture_percent(self.water, self.scene.figures) + self.noise.gauss(0.0, NOISE_PERCENT)
            self._tell(Reading(adviser.name, value))
        self.read_at_s = self.long_s + READ_EVERY_S

    def _tell(self, message: Look | Reading) -> None:
        self._take(core.tell(self.core, self._at(), message))

    def _take(self, answer: tuple[core.Joined, list[core.Output]]) -> None:
        self.core, outputs = answer
        facts: list[Fact] = []
        for output in outputs:
            if isinstance(output, Relay):
                self.is_on = output.on
            elif isinstance(output, Write):
                facts.append(output.fact)
        if facts:
            self.keep(facts)
            for fact in facts:
                self._note(fact)

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
        findings, water = self.findings, self.water
        findings.lifted_l = water.lifted_l
        findings.drunk_l = water.drunk_l
        findings.spilled_l = water.spilled_l
        findings.sump_end_l = water.sump_l
        per_day_l = (findings.sump_start_l - water.sump_l) / self.scene.days
        if findings.sump_low_at is None and per_day_l > 0:
            days = (water.sump_l - self.scene.figures.sump_low_l) / per_day_l
            findings.sump_low_expected = self._local() + timedelta(days=days)
        return findings
