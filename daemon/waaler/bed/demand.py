"""What the plants of each pot take up on a day, by crop and weather."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import sin

from waaler.bed.crops import Crop, canopy_m2, climate_term, coefficient, cover_term, day_number, height_m
from waaler.bed.evaporation import noon_height_rad, reference_mm
from waaler.bed.pots import Pot
from waaler.bed.weather import DayWeather

__all__ = ["Shelter", "Site", "drinks_l", "litres_per_plant"]

LEAST_SINE = 0.1
"""Of the sun's height at noon; below it hardly anything is drunk, and shadows have no end."""


@dataclass(frozen=True, slots=True)
class Shelter:
    """What stands over the bed. transmission: share of the outdoor demand that it lets through (0 to 1). is_open:
    the wind reaches the plants.
    """

    transmission: float = 1.0
    is_open: bool = True


OUTDOORS = Shelter()


@dataclass(frozen=True, slots=True)
class Site:
    """ec, water_ec: of the fresh solution and of plain water, mS/cm at 25 C; uptake_share: what plants take against
    what is there.
    """

    latitude_deg: float
    elevation_m: float
    shelter: Shelter = OUTDOORS
    ec: float = 2.0
    uptake_share: float = 0.7
    water_ec: float = 0.3


def drinks_l(site: Site, pots: Sequence[Pot], day: date, weather: DayWeather) -> tuple[float, ...]:
    """Litres, pot by pot, under this weather outdoors. A pot without a crop takes its own figure."""
    reference = reference_mm(weather, site.latitude_deg, site.elevation_m, day.timetuple().tm_yday)
    by_crop: dict[int, float] = {}  # by identity: all pots of a crop have the same one
    drinks = []
    for pot in pots:
        if pot.crop is None:
            drinks.append(pot.drink_l_per_day)
            continue
        litres = by_crop.get(id(pot.crop))
        if litres is None:
            litres = by_crop[id(pot.crop)] = litres_per_plant(site, pot.crop, day, reference.mm, weather)
        drinks.append(pot.plants * litres)
    return tuple(drinks)


def litres_per_plant(site: Site, crop: Crop, day: date, reference: float, weather: DayWeather) -> float:
    """What one plant drinks on a day: a millimetre on a square metre is a litre. Before planting: nothing.

    reference: of the day outdoors, mm. Outdoors its coefficient follows wind and humidity where they are known.
    """
    number = day_number(crop, day)
    if number < 1:
        return 0.0
    canopy, height = canopy_m2(crop, number), height_m(crop, number)
    ground = crop.canopy_m2 if crop.ground_m2 is None else crop.ground_m2
    cover, is_open = min(1.0, canopy / ground), site.shelter.is_open
    shade = cover / max(LEAST_SINE, sin(noon_height_rad(site.latitude_deg, day.timetuple().tm_yday)))
    kc = coefficient(crop.stages, number) + (climate_term(weather, height) if is_open else 0.0)
    litres = reference * site.shelter.transmission * kc * ground
    return litres * cover_term(cover, min(1.0, shade), height, is_open)
