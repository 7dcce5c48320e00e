"""What the plants of each pot take up on a day, by crop and weather."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from waaler.bed.crops import litres_per_plant
from waaler.bed.pots import Pot

__all__ = ["Site", "drinks_l"]


@dataclass(frozen=True, slots=True)
class Site:
    """cover: share of the outdoor reference that reaches the crop. ec, water_ec: of the fresh solution and of
    plain water, mS/cm at 25 C; uptake_share: what plants take against what is there.
    """

    latitude_deg: float
    elevation_m: float
    cover: float
    ec: float = 2.0
    uptake_share: float = 0.7
    water_ec: float = 0.3


def drinks_l(site: Site, pots: Sequence[Pot], day: date, reference: float) -> tuple[float, ...]:
    """Litres, pot by pot. A pot without a crop takes its own figure. reference: of the day outdoors, mm."""
    return tuple(_drink_l(site, pot, day, reference) for pot in pots)


def _drink_l(site: Site, pot: Pot, day: date, reference: float) -> float:
    if pot.crop is None:
        return pot.drink_l_per_day
    return pot.plants * litres_per_plant(pot.crop, day, reference, site.cover)
