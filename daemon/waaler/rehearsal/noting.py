"""What a rehearsal finds, gathered as it goes: from the facts that the core writes and from the world itself."""

from collections.abc import Sequence
from datetime import UTC, datetime
from operator import lt
from zoneinfo import ZoneInfo

from waaler.bed.ledger import Entry, outlook
from waaler.core.facts import AlertRaised, Fact, Outcome, RunIntent, RunResult, TripBegan
from waaler.model.world import World
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["Notes"]


class Notes:
    """findings: complete once `finish` was called."""

    def __init__(self, scene: Scene, world: World) -> None:
        pots = scene.figures.pots
        self._scene, self._world = scene, world
        self._zone = ZoneInfo(scene.plan.place.timezone)
        self._dry_l = tuple(pot.dry_l for pot in pots)
        self._wilting_l = tuple(pot.wilting_l for pot in pots)
        self._lowest_l = list(world.water.media_l)
        self._lowest_s = [0.0] * len(pots)
        self._is_longer = False
        nothing = [0.0] * len(pots)
        self.findings = Findings(
            pots=pots, sump_start_l=world.water.sump_l, pots_dry_h=nothing, pots_wilted_h=list(nothing)
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
        if any(map(lt, water.media_l, self._dry_l)):
            self._count_dry(seconds / 3600)
        if water.sump_l + water.tray_l + water.line_l < self._scene.figures.sump_low_l:
            findings.had_water = False

    def _count_dry(self, hours: float) -> None:
        """Some pot is below what is easily available, and may be wilting."""
        findings, media_l = self.findings, self._world.water.media_l
        _add_where_below(findings.pots_dry_h, media_l, self._dry_l, hours)
        if not any(map(lt, media_l, self._wilting_l)):
            return
        _add_where_below(findings.pots_wilted_h, media_l, self._wilting_l, hours)
        findings.wilted_h += hours
        if findings.wilted_at_s is None:
            findings.wilted_at_s = self._world.now_s

    def _look_at_pots(self) -> None:
        """Between two runs pots only dry: before a run and at the end each is as dry as it gets."""
        for n, litres in enumerate(self._world.water.media_l):
            if litres < self._lowest_l[n]:
                self._lowest_l[n], self._lowest_s[n] = litres, self._world.now_s

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
            if fact.outcome is Outcome.CUT_SHORT and fact.seconds > 0:  # else a dose whose time was over
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
        findings.pots_driest_percent = [
            100 * litres / pot.capacity_l for litres, pot in zip(self._lowest_l, findings.pots, strict=True)
        ]
        driest = min(range(len(findings.pots)), key=self._left)
        findings.driest_pot = driest + 1
        findings.driest_percent = findings.pots_driest_percent[driest]
        findings.driest_at = self._local(self._lowest_s[driest])
        findings.evaporated_l = water.evaporated_l
        findings.ec_end = water.ec
        findings.lifted_l = water.lifted_l
        findings.drunk_l = water.drunk_l
        findings.spilled_l = water.spilled_l
        findings.sump_end_l = water.sump_l
        if findings.sump_low_at is None:
            findings.sump_low_expected = self._low_expected()
        return findings

    def _left(self, n: int) -> float:
        """What a pot still had above its wilting mark when it was driest, against what it can have."""
        pot = self.findings.pots[n]
        return (self._lowest_l[n] - pot.wilting_l) / (pot.capacity_l - pot.wilting_l)

    def _low_expected(self) -> datetime | None:
        """As the ledger foresees it from here, by what the file knows of the plants."""
        book, water = self._scene.care.book, self._world.water
        if book is None:
            return None
        at_rest_l = water.sump_l + water.tray_l + water.line_l + water.dripping_l
        return outlook(book, Entry(at_rest_l, water.ec, water.tank_l), self.local).needs_water_at


def _add_where_below(
    hours: list[float], media_l: Sequence[float], marks_l: Sequence[float], passed_h: float
) -> None:
    for n, (litres, mark_l) in enumerate(zip(media_l, marks_l, strict=True)):
        if litres < mark_l:
            hours[n] += passed_h
