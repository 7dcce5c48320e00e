"""From the written pots to those that the bed's arithmetic owns."""

from collections.abc import Iterator
from math import pi

from waaler.bed.crops import Crop, Stages
from waaler.bed.pots import Pot
from waaler.settings.growing import CropSection, PotsSection
from waaler.settings.models import BedFile

__all__ = ["groups", "media_l", "outlets", "pots"]

USUAL_POTS = 14
"""Where the file says nothing of them."""

USUAL_MEDIA_L = 18.0
"""In a pot of which no size is written. Common practice, no source."""

EASY_SHARE = 0.5
"""Of the water between capacity and wilting, what is easy to take. Common practice, no source."""


def groups(file: BedFile) -> list[PotsSection]:
    """The pots as they are written; where they are not, one group as long as the line has outlets."""
    if file.pots:
        return file.pots
    legs = file.layout.line.legs
    counted = USUAL_POTS if legs is None else sum(leg.outlets for leg in legs)
    return [PotsSection.model_construct(count=file.layout.pots or counted)]


def outlets(file: BedFile) -> int:
    """How many the line has: as its legs say, else what the pots need."""
    legs = file.layout.line.legs
    if legs is not None:
        return sum(leg.outlets for leg in legs)
    return sum(group.count * group.outlets for group in groups(file))


def media_l(group: PotsSection) -> float:
    """Medium in one pot of a group."""
    if group.height is not None and group.width is not None:
        return 1000 * pi / 4 * group.width**2 * group.height * group.filled / 100
    return USUAL_MEDIA_L if group.nominal is None else group.nominal * group.filled / 100


def pots(file: BedFile) -> tuple[Pot, ...]:
    """In the order along the line; what their outlets give is not yet known.

    Beside pots with a crop, one without is empty.
    """
    return tuple(_pots(file))


def _pots(file: BedFile) -> Iterator[Pot]:
    crops = {section.name: _crop(section) for section in file.crops}
    has_crops = any(group.crop is not None for group in groups(file))
    for group in groups(file):
        capacity_l = media_l(group) * file.layout.holds / 100
        wilting_l = capacity_l / 3
        is_empty = has_crops and group.crop is None
        pot = Pot(
            capacity_l=capacity_l,
            dry_l=capacity_l - EASY_SHARE * (capacity_l - wilting_l),
            wilting_l=wilting_l,
            outlets=group.outlets,
            drink_l_per_day=0.0 if is_empty else file.layout.drink_per_pot,
            crop=None if group.crop is None else crops[group.crop],
            plants=group.plants_per_pot,
        )
        for _ in range(group.count):
            yield pot


def _crop(section: CropSection) -> Crop:
    ini, development, mid, late = section.stages
    return Crop(
        name=section.name,
        stages=Stages((ini, development, mid, late), *section.kc),
        planted=section.planted,
        canopy_m2=section.canopy,
        ec_low=section.ec[0],
        ec_high=section.ec[1],
    )
