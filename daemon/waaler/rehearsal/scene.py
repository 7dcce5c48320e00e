"""What a rehearsal plays, and what it finds."""

from dataclasses import dataclass, field
from datetime import datetime
from math import inf

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout
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
        tubes = () if self.layout is None else self.layout.tubes
        return {tube.pot: n % self.figures.pots for n, tube in enumerate(tubes) if tube.pot}


@dataclass(slots=True)
class Findings:
    """What happened. Litres; moisture in percent of container capacity; sump_low_at: first time low, if ever.

    driest_pot: its number from 1; pots_driest_percent: the lowest of every pot. evaporated_l: of open water.
    ec_end: of the solution, mS/cm at 25 C. wilted_at_s: when that began first, seconds from the beginning. began:
    every trip that began, in a run or at rest; false_trips: those of them whose cause was not there. had_water:
    whether sump, tray and line together always held more than the low mark. sump_low_expected: when a run would
    next be cut by a low sump, if it never read low, as the ledger foresees it. trips, alerts: when and what.
    refills: when, and litres.
    """

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
    wilting_percent: float = 0.0
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
