"""Pots, crops, weather and solution, as the file writes them."""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from waaler.settings.fields import (
    Area,
    Count,
    Day,
    Length,
    Mass,
    Name,
    Number,
    Percent,
    PlainText,
    Temperature,
    Volume,
)
from waaler.settings.section import Section, between, misfit

__all__ = ["CropSection", "FeedSection", "MediumSection", "PotsSection", "TopUpSection", "WeatherSection"]

Celsius = Annotated[Temperature, between(-50, 60, "C")]
Kc = Annotated[Number, between(0.05, 2, "")]
StageDays = Annotated[Count, between(1, 400, "days")]
COARSE, FINE = "coarse perlite", "fine perlite"
Ec = Annotated[Number, between(0, 10, "mS/cm")]


class PotsSection(Section):
    """Pots that are alike, one beside the other along the line: so many, how large, what grows
    in each. The groups stand in the order along the line, beginning at the pump.
    """

    count: Annotated[Count, between(1, 1000, "pots")]
    nominal: Annotated[Volume, between(0.2, 500, "L")] | None = None
    height: Annotated[Length, between(0.03, 2, "cm", 0.01)] | None = None
    width: Annotated[Length, between(0.03, 2, "cm", 0.01)] | None = None
    filled: Annotated[Percent, between(50, 100, "%")] = 93.0
    medium: Name = COARSE
    drained: Annotated[Mass, between(0.1, 500, "kg")] | None = None
    droops: Annotated[Mass, between(0.05, 500, "kg")] | None = None
    bag: Annotated[Volume, between(1, 2000, "L")] = 113.267
    crop: Name | None = None
    plants_per_pot: Annotated[Number, between(0.1, 50, "plants")] = 1.0
    outlets: Annotated[Count, between(1, 20, "outlets")] = 1

    @model_validator(mode="after")
    def _has_one_size(self) -> "PotsSection":
        if self.width is not None and (self.nominal is not None or self.height is None):
            raise misfit("a pot's size is told one way", "write `nominal: 5 gal`, or `height: 25 cm, width: 30 cm`")
        if self.height is not None and self.width is None and self.nominal is None:
            raise misfit("a height alone is no size", "add `width: 30 cm`, or `nominal: 5 gal`")
        if (self.drained is None) != (self.droops is None):
            raise misfit("a pot is weighed twice", "write both: `drained: 9.1 kg, droops: 7.4 kg`")
        if self.drained is not None and self.droops is not None and not self.droops < self.drained:
            raise misfit("a pot that droops is lighter than a drained one", "write the heavier one as drained")
        if self.plants_per_pot != 1.0 and self.crop is None:
            raise misfit("nothing says what the plants are", "add `crop: NAME`, as it is named under crops")
        return self


def _of_full_cover(values: object) -> object:
    """The paper's table has three; the first one is that of wet soil."""
    if isinstance(values, list) and len(values) == 3:
        raise misfit(
            "the first of three is that of bare soil", f"write [{values[1]}, {values[2]}]: mid-season, end"
        )
    return values


class MediumSection(Section):
    """A medium by its retention: points of suction and of the water in its volume, the first at 0 cm."""

    name: Name
    points: Annotated[list[tuple[Length, Percent]], Field(min_length=3, max_length=20)]

    @model_validator(mode="after")
    def _falls(self) -> "MediumSection":
        first = self.points[0]
        if self.name in (COARSE, FINE):
            raise misfit(f"'{self.name}' is known already", "give your own medium a name of its own")
        if first[0] != 0 or first[1] > 100:
            raise misfit("a medium begins with all its pores full", "begin with 0 cm, such as [0 cm, 95 %]")
        if not all(a[0] < b[0] and a[1] > b[1] > 0 for a, b in pairwise(self.points)):
            raise misfit("a medium's points do not fall", "write each with more suction and less water than before")
        return self


class CropSection(Section):
    """What grows, named by `crop:` of its pots: four stages in days, two coefficients, the ground that a grown
    plant shades.

    FAO Irrigation and Drainage Paper 56 prints stages and coefficients for many crops.
    """

    name: Name
    planted: Day
    canopy: Annotated[Area, between(0.01, 10, "m2")]
    transplant: Annotated[Area, between(0.0001, 10, "m2")] | None = None
    ground: Annotated[Area, between(0.01, 100, "m2")] | None = None
    height: Annotated[Length, between(0.05, 5, "m")] = 0.6
    stages: Annotated[list[StageDays], Field(min_length=4, max_length=4)]
    kc: Annotated[list[Kc], BeforeValidator(_of_full_cover), Field(min_length=2, max_length=2)]
    ec: Annotated[list[Ec], Field(min_length=2, max_length=2)] = [1.5, 2.5]  # noqa: RUF012

    @model_validator(mode="after")
    def _in_order(self) -> "CropSection":
        if not self.ec[0] <= self.ec[1]:
            raise misfit("the crop's EC range is upside down", "write the lower one first")
        if self.transplant is not None and not self.transplant <= self.canopy:
            raise misfit("a transplant shades more than a grown plant", "write the grown one's under canopy")
        return self


class WeatherSection(Section):
    """A table of days, or each month's usual highest and lowest temperature; and what the shelter lets through."""

    csv: PlainText | None = None
    normals: Annotated[list[tuple[Celsius, Celsius]], Field(min_length=12, max_length=12)] | None = None
    elevation: Annotated[Length, between(-400, 5000, "m")] = 100.0
    transmission: Annotated[Percent, between(10, 150, "%")] | None = None

    @model_validator(mode="after")
    def _is_one(self) -> "WeatherSection":
        if (self.csv is None) == (self.normals is None):
            raise misfit("the weather needs one source", "write csv: FILE, or normals: with twelve pairs")
        return self


class FeedSection(Section):
    """EC of the fresh solution and of plain water, mS/cm at 25 C; what plants take against what is there."""

    ec: Ec = 2.0
    water: Ec = 0.3
    uptake: Annotated[Percent, between(0, 150, "%")] = 70.0


class TopUpSection(Section):
    """A header tank whose mechanical float valve keeps the sump full."""

    tank: Annotated[Volume, between(1, 100_000, "L")]
    holds: Literal["water", "solution"] = "water"
