"""What a rehearsal finds, gathered as it goes: from the facts that the core writes and from the world itself."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from waaler.core.facts import AlertRaised, Fact, Outcome, RunIntent, RunResult, TripBegan
from waaler.model.sensors import moisture_percent
from waaler.model.world import World
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["Notes"]

FORESEEN_DAYS = 3660
"""A sump that lasts longer does not go down."""


class Notes:
    """findings: complete once `finish` was called."""

    def __init__(self, scene: Scene, world: World) -> None:
        figures = scene.figures
        self._scene, self._world = scene, world
        self._zone = ZoneInfo(scene.plan.place.timezone)
        self.findings = Findings(
            sump_start_l=world.water.sump_l,
            wilting_percent=100 * figures.wilting_fraction / figures.capacity_fraction,
        )

    @property
    def local(self) -> datetime:
        """The true local time at the bed, whatever its clock says."""
        wall_s = self._scene.start.timestamp() + self._world.now_s
        return datetime.fromtimestamp(wall_s, UTC).astimezone(self._zone)

    def passed(self, seconds: float) -> None:
        """So much time went by in the world."""
        findings, world, figures = self.findings, self._world, self._scene.figures
        percent = moisture_percent(world.water, figures)
        if percent < findings.wilting_percent:
            findings.wilted_h += seconds / 3600
            if findings.wilted_at_s is None:
                findings.wilted_at_s = world.now_s
        if percent < findings.driest_percent:
            findings.driest_percent, findings.driest_at = percent, self.local
        water = world.water
        if water.sump_l + water.tray_l + water.line_l < figures.sump_low_l:
            findings.had_water = False

    def float_fell(self) -> None:
        """The sump's float does not read good."""
        if self.findings.sump_low_at is None:
            self.findings.sump_low_at = self.local

    def refilled(self, litres: float) -> None:
        """A person filled the sump."""
        self.findings.refills.append((self.local, litres))

    def take(self, fact: Fact) -> None:
        findings = self.findings
        if isinstance(fact, RunIntent) and 0 < fact.planned_seconds < fact.seconds - 0.5:
            findings.extended += 1
        elif isinstance(fact, RunResult):
            findings.counts[fact.outcome] = findings.counts.get(fact.outcome, 0) + 1
            findings.pump_s += fact.seconds
            if fact.outcome is Outcome.CUT_SHORT:
                findings.trips.append((self.local, fact.reason))
        elif isinstance(fact, TripBegan):
            findings.began.append((self.local, fact.reason))
            if not self._world.explains(fact.trip):
                findings.false_trips.append((self.local, fact.reason))
        elif isinstance(fact, AlertRaised):
            findings.alerts.append((self.local, fact.text))

    def finish(self) -> Findings:
        findings, water = self.findings, self._world.water
        findings.lifted_l = water.lifted_l
        findings.drunk_l = water.drunk_l
        findings.spilled_l = water.spilled_l
        findings.sump_end_l = water.sump_l
        per_day_l = (findings.sump_start_l - water.sump_l) / self._scene.days
        left_l = water.sump_l - self._scene.figures.sump_low_l
        if findings.sump_low_at is None and per_day_l * FORESEEN_DAYS > left_l:
            days = left_l / per_day_l
            findings.sump_low_expected = self.local + timedelta(days=days)
        return findings
