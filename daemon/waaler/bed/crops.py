"""How a crop grows from planting to full cover, and what that makes of the reference.

Source of every equation: Allen, Pereira, Raes, Smith: Crop evapotranspiration, FAO Irrigation and Drainage Paper
56, 1998; the numbers in the docstrings are its equations.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt

from waaler.bed.weather import DayWeather

__all__ = ["Crop", "Stages", "canopy_m2", "climate_term", "coefficient", "cover_term", "day_number", "height_m"]

INITIAL_SHARE = 0.1
"""Of the grown canopy, at the end of the initial stage. Source: chapter 6, a tenth of the ground covered."""

TRANSPLANT_SHARE = 0.03
"""Of the grown canopy, on the day of planting: so a tomato transplant drinks 0.06 L where a grown one drinks 2 L.

Source of both figures: Greenhouse Tomato Handbook, Mississippi State University Extension P1828 (from memory).
"""

LEAST_HEIGHT_M, MOST_HEIGHT_M = 0.1, 10.0
WIND_M_PER_S = (1.0, 6.0)
HUMIDITY_PERCENT = (20.0, 80.0)
"""Between which the paper's correction for the climate holds."""


@dataclass(frozen=True, slots=True)
class Stages:
    """Days of the initial, development, mid-season and late stage; the coefficients of full cover in mid-season and
    at the end. A coefficient of the beginning there is not: it is that of wet soil, and a small plant counts by its
    canopy.
    """

    days: tuple[int, int, int, int]
    kc_mid: float
    kc_end: float


@dataclass(frozen=True, slots=True)
class Crop:
    """What grows. canopy_m2: ground that a grown plant shades; transplant_m2: on the day of planting, None for the
    usual share of it. ground_m2: what a plant has to itself, None where grown ones just meet. height_m: of a grown
    one. ec: of the solution, mS/cm at 25 C.
    """

    name: str
    stages: Stages
    planted: date
    canopy_m2: float
    ec_low: float
    ec_high: float
    height_m: float = 0.6
    transplant_m2: float | None = None
    ground_m2: float | None = None

    @property
    def over_on(self) -> date:
        """The day after its last stage."""
        return self.planted + timedelta(days=sum(self.stages.days))


def day_number(crop: Crop, day: date) -> int:
    """Of its season, counted from 1; less before it is planted."""
    return (day - crop.planted).days + 1


def coefficient(stages: Stages, number: int) -> float:
    """Kc of full cover on a day of the season; the last one after its end. Source: (66)."""
    ini, development, mid, late = stages.days
    share = (number - ini - development - mid) / late
    return stages.kc_mid + min(1.0, max(0.0, share)) * (stages.kc_end - stages.kc_mid)


def canopy_m2(crop: Crop, number: int) -> float:
    """Ground that a plant shades at noon on a day of its season: by powers through the initial stage, on a straight
    line through the development, grown from then on.
    """
    ini, development, _, _ = crop.stages.days
    begins = TRANSPLANT_SHARE * crop.canopy_m2 if crop.transplant_m2 is None else crop.transplant_m2
    begins = min(begins, crop.canopy_m2)
    small = max(begins, INITIAL_SHARE * crop.canopy_m2)
    if number <= ini:
        return float(begins * (small / begins) ** (number / ini))
    return small + min(1.0, (number - ini) / development) * (crop.canopy_m2 - small)


def height_m(crop: Crop, number: int) -> float:
    """It grows as the canopy does, whose area has two dimensions. Common practice, no source."""
    return crop.height_m * sqrt(canopy_m2(crop, number) / crop.canopy_m2)


def cover_term(cover: float, effective: float, height: float, is_open: bool) -> float:
    """What ground that is covered so far drinks against ground that is covered in full.

    cover: share of the ground that is shaded from above; effective: by the sun at noon. is_open: the wind reaches
    the plants: then leaves that stand apart drink up to twice what their shade says (98). In a closed house they
    drink by the light that they catch (97).
    """
    if not is_open:
        return min(1.0, effective)
    return min(1.0, 2 * cover, float(effective ** (1 / (1 + height))))


def climate_term(weather: DayWeather, height: float) -> float:
    """To add to a coefficient for other wind and lowest humidity than the tables', (62) and (65); 0 where one of
    them is not known.
    """
    if weather.wind_m_per_s is None or weather.rh_min_percent is None:
        return 0.0
    wind = _within(weather.wind_m_per_s, *WIND_M_PER_S)
    humidity = _within(weather.rh_min_percent, *HUMIDITY_PERCENT)
    tall = _within(height, LEAST_HEIGHT_M, MOST_HEIGHT_M)
    return float((0.04 * (wind - 2) - 0.004 * (humidity - 45)) * (tall / 3) ** 0.3)


def _within(value: float, low: float, high: float) -> float:
    return min(high, max(low, value))
