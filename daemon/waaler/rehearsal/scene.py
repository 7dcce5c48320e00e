"""What a rehearsal plays, and what it finds."""

from dataclasses import dataclass, field
from datetime import datetime
from math import inf

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout
from waaler.bed.pots import Pot, seats
from waaler.bed.sump import SumpShape
from waaler.bed.thirst import Thirst
from waaler.bed.wiring import AnalogDevice
from waaler.core.care import Care
from waaler.core.facts import Outcome
from waaler.guard.limits import Limits
from waaler.model.bed import Bed, Feed
from waaler.model.faults import Fault
from waaler.model.outlets import Outlets
from waaler.model.sky import Sky
from waaler.plan.sensing import Sensing
from waaler.plan.types import Plan

__all__ = ["Findings", "Scene"]

FRESH = Feed()
NO_CARE = Care()


@dataclass(frozen=True, slots=True)
class Scene:
    """start: aware. days: how long. seed: of the sensors' noise. faults: what goes wrong, and when.

    skies: the weather, day by day; none: every day as the figures say. refill_after_s: so long after the alert of a
    low sump somebody fills it; nobody does by default. layout, sump: what the flows are computed from; without them
    all pots get the same. probes: with their calibrations. thirst, care: what cycles by demand and
    forecasts go by.
    """

    plan: Plan
    sensing: Sensing
    limits: Limits
    figures: Figures
    start: datetime
    days: float = 7.0
    seed: int = 1
    faults: tuple[Fault, ...] = ()
    skies: tuple[Sky, ...] = ()
    refill_after_s: float = inf
    layout: Layout | None = None
    sump: SumpShape | None = None
    feed: Feed = FRESH
    probes: tuple[AnalogDevice, ...] = ()
    thirst: Thirst | None = None
    care: Care = NO_CARE

    def bed(self) -> Bed:
        """The simulated bed of this scene."""
        return Bed(self.figures, Outlets(self.figures, self.layout, self.sump), self.feed)

    def named_pots(self) -> dict[str, int]:
        """Numbers, from 0, of the pots that the layout gives a name."""
        if self.layout is None:
            return {}
        tubes = self.layout.tubes
        return {tube.pot: n for tube, n in zip(tubes, seats(self.figures.pots), strict=True) if tube.pot}


@dataclass(slots=True)
class Findings:
    """What happened. Litres; moisture in percent of container capacity; sump_low_at: first time low, if ever.

    pots: of the bed. driest_pot: the number from 1 of the one that came nearest to wilting, or furthest beyond;
    pots_driest_percent: the lowest of every pot. pots_dry_h: hours in which each had less than is easily available;
    pots_wilted_h: below its wilting mark; wilted_h: in which any was; wilted_at_s: when that began
    first, seconds from the beginning. evaporated_l: of open water. ec_end: of the solution, mS/cm at 25 C. began:
    every trip that began, in a run or at rest; false_trips: those of them whose cause was not there. had_water:
    whether sump, tray and line together always held more than the low mark. sump_low_expected: when a run would
    next be cut by a low sump, if it never read low, as the ledger foresees it. trips, alerts: when and what.
    refills: when, and litres.
    """

    pots: tuple[Pot, ...] = ()
    counts: dict[Outcome, int] = field(default_factory=dict)
    extended: int = 0
    pump_s: float = 0.0
    lifted_l: float = 0.0
    drunk_l: float = 0.0
    evaporated_l: float = 0.0
    spilled_l: float = 0.0
    ec_end: float = 0.0
    driest_percent: float = 100.0
    driest_at: datetime | None = None
    driest_pot: int = 1
    pots_driest_percent: list[float] = field(default_factory=list)
    pots_dry_h: list[float] = field(default_factory=list)
    pots_wilted_h: list[float] = field(default_factory=list)
    wilted_h: float = 0.0
    wilted_at_s: float | None = None
    sump_start_l: float = 0.0
    sump_end_l: float = 0.0
    had_water: bool = True
    sump_low_at: datetime | None = None
    sump_low_expected: datetime | None = None
    refills: list[tuple[datetime, float]] = field(default_factory=list)
    trips: list[tuple[datetime, str]] = field(default_factory=list)
    began: list[tuple[datetime, str]] = field(default_factory=list)
    false_trips: list[tuple[datetime, str]] = field(default_factory=list)
    alerts: list[tuple[datetime, str]] = field(default_factory=list)

    @property
    def does_starve(self) -> bool:
        """Whether plants wilted."""
        return self.wilted_h > 0

    @property
    def wilting_percent(self) -> float:
        """Where the plants of the driest pot wilt."""
        pot = self.pots[self.driest_pot - 1]
        return 100 * pot.wilting_l / pot.capacity_l
