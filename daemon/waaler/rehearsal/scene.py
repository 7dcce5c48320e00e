"""What a rehearsal plays, and what it finds."""

from dataclasses import dataclass, field
from datetime import datetime
from math import inf

from waaler.bed.figures import Figures
from waaler.core.facts import Outcome
from waaler.guard.limits import Limits
from waaler.model.faults import Fault
from waaler.model.world import Sky
from waaler.plan.sensing import Sensing
from waaler.plan.types import Plan

__all__ = ["Findings", "Scene"]


@dataclass(frozen=True, slots=True)
class Scene:
    """start: aware. days: how long. seed: of the sensors' noise. faults: what goes wrong, and when.

    skies: the weather, day by day; none: every day as the figures say. refill_after_s: so long after the alert of a
    low sump somebody fills it; nobody does by default.
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


@dataclass(slots=True)
class Findings:
    """What happened. Litres; moisture in percent of container capacity; sump_low_at: first time low, if ever.

    wilted_at_s: when that began first, seconds from the beginning. began: every trip that
    began, in a run or at rest; false_trips: those of them whose cause was not there.
    had_water: whether sump, tray and line together always held more than the low mark.
    sump_low_expected: when it would read low at this drink, if it did not. trips, alerts: when and what.
    refills: when, and litres.
    """

    counts: dict[Outcome, int] = field(default_factory=dict)
    extended: int = 0
    pump_s: float = 0.0
    lifted_l: float = 0.0
    drunk_l: float = 0.0
    spilled_l: float = 0.0
    driest_percent: float = 100.0
    driest_at: datetime | None = None
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
