"""What a rehearsal finds, gathered as it goes: from the facts that the core writes and from the world itself."""

from datetime import UTC, datetime
from math import inf
from zoneinfo import ZoneInfo

from waaler.bed.ledger import Entry, outlook
from waaler.core.facts import AlertRaised, Fact, Outcome, RunIntent, RunResult, TripBegan
from waaler.model.world import World
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["Notes"]


class Notes:
    """findings: complete once `finish` was called."""

    def __init__(self, scene: Scene, world: World) -> None:
        figures = scene.figures
        self._scene, self._world = scene, world
        self._zone = ZoneInfo(scene.plan.place.timezone)
        self._driest_l, self._driest_at_s = inf, 0.0
        self._is_longer = False
        self._lowest_l = list(world.water.media_l)
        self.findings = Findings(
            sump_start_l=world.water.sump_l,
            wilting_percent=100 * figures.wilting_fraction / figures.capacity_fraction,
        )

    @property
    def local(self) -> datetime:
        """The true local time at the bed, whatever its clock says."""
        return self._local(self._world.now_s)

    def _local(self, at_s: float) -> datetime:
        wall_s = self._scene.start.timestamp() + at_s
        return datetime.fromtimestamp(wall_s, UTC).astimezone(self._zone)

    def passed(self, seconds: float) -> None:
        """So much time went by in the world."""
        findings, water = self.findings, self._world.water
        driest_l = min(water.media_l)
        if driest_l < self._world.bed.ease_l:
            findings.wilted_h += seconds / 3600
            if findings.wilted_at_s is None:
                findings.wilted_at_s = self._world.now_s
        if driest_l < self._driest_l:
            self._driest_l, self._driest_at_s = driest_l, self._world.now_s
        if water.sump_l + water.tray_l + water.line_l < self._scene.figures.sump_low_l:
            findings.had_water = False

    def _look_at_pots(self) -> None:
        """Between two runs pots only dry: before a run and at the end each is as dry as it gets."""
        self._lowest_l = [min(pair) for pair in zip(self._lowest_l, self._world.water.media_l, strict=True)]

    def float_fell(self) -> None:
        """The sump's float does not read good."""
        if self.findings.sump_low_at is None:
            self.findings.sump_low_at = self.local

    def refilled(self, litres: float) -> None:
        """A person filled the sump."""
        self.findings.refills.append((self.local, litres))

    def take(self, fact: Fact) -> None:
        findings = self.findings
        if isinstance(fact, RunIntent):
            self._look_at_pots()
            self._is_longer = 0 < fact.planned_seconds < fact.seconds - 0.5
        elif isinstance(fact, RunResult):
            findings.counts[fact.outcome] = findings.counts.get(fact.outcome, 0) + 1
            findings.pump_s += fact.seconds
            findings.extended += self._is_longer and fact.outcome is Outcome.DONE
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
        self._look_at_pots()
        pot_l = self._world.bed.pot_l
        findings.pots_driest_percent = [100 * litres / pot_l for litres in self._lowest_l]
        findings.driest_percent = min(findings.pots_driest_percent)
        findings.driest_pot = 1 + findings.pots_driest_percent.index(findings.driest_percent)
        findings.driest_at = self._local(self._driest_at_s)
        findings.evaporated_l = water.evaporated_l
        findings.ec_end = water.ec
        findings.lifted_l = water.lifted_l
        findings.drunk_l = water.drunk_l
        findings.spilled_l = water.spilled_l
        findings.sump_end_l = water.sump_l
        if findings.sump_low_at is None:
            findings.sump_low_expected = self._low_expected()
        return findings

    def _low_expected(self) -> datetime | None:
        """As the ledger foresees it from here, by what the file knows of the plants."""
        book, water = self._scene.care.book, self._world.water
        if book is None:
            return None
        at_rest_l = water.sump_l + water.tray_l + water.line_l + water.dripping_l
        return outlook(book, Entry(at_rest_l, water.ec, water.tank_l), self.local).needs_water_at
