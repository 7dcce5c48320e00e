"""What a crop needs of the reference: the coefficient through its stages, its canopy, and the cover over it."""

from dataclasses import dataclass
from datetime import date

__all__ = ["Crop", "Stages", "coefficient", "litres_per_plant"]


@dataclass(frozen=True, slots=True)
class Stages:
    """Days of the initial, development, mid-season and late stage, and the coefficients at the three levels."""

    days: tuple[int, int, int, int]
    kc_ini: float
    kc_mid: float
    kc_end: float


@dataclass(frozen=True, slots=True)
class Crop:
    """What grows. canopy_m2: ground that a grown one shades. ec: of the solution, mS/cm at 25 C."""

    name: str
    stages: Stages
    planted: date
    canopy_m2: float
    ec_low: float
    ec_high: float


def coefficient(stages: Stages, day: int) -> float:
    """Kc on a day of the season, counted from 1; the last one after its end.

    Source: FAO-56 equation 66, straight lines between the stages.
    """
    ini, development, mid, late = stages.days
    if day <= ini:
        return stages.kc_ini
    if day <= ini + development:
        return stages.kc_ini + (day - ini) / development * (stages.kc_mid - stages.kc_ini)
    if day <= ini + development + mid:
        return stages.kc_mid
    share = min(1.0, (day - ini - development - mid) / late)
    return stages.kc_mid + share * (stages.kc_end - stages.kc_mid)


def litres_per_plant(crop: Crop, day: date, reference_mm: float, cover: float) -> float:
    """What one plant drinks on a day, litres: a millimetre on a square metre is a litre.

    cover: share of the outdoor reference that reaches the crop under a tunnel or glass. Before planting: none.
    """
    number = (day - crop.planted).days + 1
    return 0.0 if number < 1 else reference_mm * cover * coefficient(crop.stages, number) * crop.canopy_m2
