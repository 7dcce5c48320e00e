"""From the written pots to those that the bed's arithmetic owns."""

from collections.abc import Iterator
from dataclasses import replace
from math import pi

from waaler.bed.crops import Crop, Stages
from waaler.bed.media import COARSE_PERLITE, EASY_CM, FINE_PERLITE, WILTING_CM, Medium, usual_height_cm
from waaler.bed.pots import Pot
from waaler.settings.growing import COARSE, FINE, CropSection, PotsSection
from waaler.settings.models import BedFile

__all__ = ["groups", "holding", "media", "media_l", "outlets", "pots"]

USUAL_POTS = 14
"""Where the file says nothing of them."""

USUAL_NOMINAL_L = 18.927
"""5 gal, of a pot of which no size is written. Common practice, no source."""


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
    whole_l = group.nominal or USUAL_NOMINAL_L
    if group.height is not None and group.width is not None:
        whole_l = 1000 * pi / 4 * group.width**2 * group.height
    return whole_l * group.filled / 100


def media(file: BedFile) -> dict[str, Medium]:
    """Those that are known and those that are written."""
    own = {
        section.name: Medium(tuple((100 * height_m, percent / 100) for height_m, percent in section.points))
        for section in file.media
    }
    return {COARSE: COARSE_PERLITE, FINE: FINE_PERLITE} | own


def holding(group: PotsSection, medium: Medium) -> Pot:
    """A pot of a group with its three marks.

    Where one was weighed, its plants wilt as the scale says; what is easy to take is the medium's share of that.
    """
    litres = media_l(group)
    height_cm = _height_cm(group)
    capacity_l = litres * medium.drained(height_cm)
    easy_l, to_wilting_l = (litres * medium.released(height_cm, cm) for cm in (EASY_CM, WILTING_CM))
    if group.drained is not None and group.droops is not None:
        weighed_l = group.drained - group.droops
        easy_l, to_wilting_l = easy_l / to_wilting_l * weighed_l, weighed_l
    return Pot(capacity_l, capacity_l - easy_l, capacity_l - to_wilting_l)


def _height_cm(group: PotsSection) -> float:
    """Of the medium in the pot."""
    whole_cm = usual_height_cm(group.nominal or USUAL_NOMINAL_L) if group.height is None else 100 * group.height
    return whole_cm * group.filled / 100


def pots(file: BedFile) -> tuple[Pot, ...]:
    """In the order along the line; what their outlets give is not yet known.

    Beside pots with a crop, one without is empty.
    """
    return tuple(_pots(file))


def _pots(file: BedFile) -> Iterator[Pot]:
    crops = {section.name: _crop(section) for section in file.crops}
    known = media(file)
    has_crops = any(group.crop is not None for group in groups(file))
    for group in groups(file):
        is_empty = has_crops and group.crop is None
        pot = replace(
            holding(group, known[group.medium]),
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
        height_m=section.height,
        transplant_m2=section.transplant,
        ground_m2=section.ground,
    )
