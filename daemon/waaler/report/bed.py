"""What a report must know of the bed besides its records."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from waaler.bed.figures import Figures
from waaler.plan.sensing import Sensing
from waaler.plan.types import Plan

__all__ = ["Bed"]


@dataclass(frozen=True, slots=True)
class Bed:
    """As its file says. title: free text of a person, so nothing may take it for markup."""

    id: str
    title: str
    plan: Plan
    sensing: Sensing
    figures: Figures

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.plan.place.timezone)

    @property
    def drink_l_per_day(self) -> float:
        """What the file says that all plants drink on an ordinary day."""
        return self.figures.pots * self.figures.drink_l_per_pot_day
