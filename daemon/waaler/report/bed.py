"""What a report must know of the bed besides its records."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol
from zoneinfo import ZoneInfo

from waaler.bed.figures import Figures
from waaler.bed.ledger import SumpBook, lost_l
from waaler.plan.sensing import Sensing
from waaler.plan.types import Plan
from waaler.records.times import local

__all__ = ["Bed"]


class Described(Protocol):
    """What the settings of a bed give of it."""

    @property
    def id(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def plan(self) -> Plan: ...
    @property
    def sensing(self) -> Sensing: ...
    @property
    def figures(self) -> Figures: ...
    @property
    def book(self) -> SumpBook: ...


@dataclass(frozen=True, slots=True)
class Bed:
    """As its file says.

    title: free text of a person, so nothing may take it for markup. book: the sump's ledger.
    """

    id: str
    title: str
    plan: Plan
    sensing: Sensing
    figures: Figures
    book: SumpBook

    @classmethod
    def of(cls, settings: Described) -> "Bed":
        return cls(settings.id, settings.title, settings.plan, settings.sensing, settings.figures, settings.book)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.plan.place.timezone)

    def drink_l(self, begin_s: float, end_s: float) -> float:
        """What the plants are expected to drink between two wall times, litres."""
        if self.book.drinks_l is None:
            return 0.0
        plants = replace(self.book, figures=replace(self.figures, evaporates_l_per_day=0.0))
        return lost_l(plants, self.local(begin_s), self.local(end_s))

    def local(self, wall_s: float) -> datetime:
        """A wall time in the bed's time zone."""
        return local(wall_s, self.zone)
