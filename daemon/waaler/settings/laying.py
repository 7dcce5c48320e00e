"""The bed as it is built, as the file writes it: pump, hose, line with its legs, tubes, pots, tray, sump."""

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from waaler.bed.pump import bend_of
from waaler.settings.fields import (
    Count,
    FlowRate,
    Length,
    Name,
    Number,
    Percent,
    Temperature,
    Volume,
)  # fmt: skip
from waaler.settings.section import Section, between, misfit
from waaler.settings.sump_shape import in_litres

__all__ = ["LayoutSection", "LegSection", "PumpCurveSection", "TubeSection"]

Bore = Annotated[Length, between(0.001, 0.2, "mm", 0.001)]
Run = Annotated[Length, between(0.01, 200, "m")]
LEAST_BEND, MOST_BEND = 0.2, 12.0
"""The c of head = top - b flow^c. Pumps have 1 to 3 (common practice, no source); far outside nothing computes."""

Fittings = Annotated[Number, between(0, 100, "")]


class SumpSection(Section):
    """Volumes at the brim, at the full mark, at the low float, and where the pump begins to draw air.

    Depths instead of volumes, where its shape is written: the floor of an upright one (length, width), or points of
    depth and volume.
    """

    floor: tuple[Run, Run] | None = None
    points: Annotated[list[tuple[Length, Volume]], Field(min_length=2, max_length=50)] | None = None
    brim: Annotated[Volume, between(5, 20_000, "L")] | None = None
    full: Annotated[Volume, between(5, 20_000, "L")] = 220.0
    low: Annotated[Volume, between(1, 20_000, "L")] = 45.0
    empty: Annotated[Volume, between(0, 20_000, "L")] = 25.0

    @model_validator(mode="before")
    @classmethod
    def _depths_as_volumes(cls, values: Any) -> Any:
        return in_litres(values) if isinstance(values, dict) else values

    @model_validator(mode="after")
    def _in_order(self) -> "SumpSection":
        if not self.empty < self.low < self.full <= (self.brim or self.full):
            raise misfit("the sump's marks are not in order", "write empty below low below full below brim")
        return self


class PumpCurveSection(Section):
    """Two figures from the label, or three points of flow and head: none, some, much flow."""

    free_flow: Annotated[FlowRate, between(0.1, 2000, "L/min")] | None = None
    shut_off: Annotated[Length, between(0.1, 60, "m")] | None = None
    points: Annotated[list[tuple[FlowRate, Length]], Field(min_length=3, max_length=3)] | None = None

    @model_validator(mode="after")
    def _is_a_curve(self) -> "PumpCurveSection":
        has_label = self.free_flow is not None and self.shut_off is not None
        if has_label == (self.points is not None):
            raise misfit("a pump needs its curve", "write free_flow and shut_off, or three points")
        if self.points is not None:
            (none, top), (some, middle), (much, low) = self.points
            if not (none == 0 < some < much and top > middle > low):
                remedy = "begin at 0 L/h, each point with more flow and less head than the one before"
                raise misfit("the pump's points do not fall", remedy)
            bend = bend_of(top, (some, middle), (much, low))
            if not LEAST_BEND <= bend <= MOST_BEND:
                what = f"the pump's points make no curve of a pump (bend {bend:.2g})"
                raise misfit(what, "write three points well apart: no flow, about half, and the most")
        return self


class HoseSection(Section):
    """From pump to line. fittings: sum of their loss coefficients."""

    length: Run = 1.5
    bore: Bore = 0.015
    fittings: Fittings = 1.5


class LegSection(Section):
    """Outlets along a line. first: from its beginning to the first one. header: what leads to its beginning.

    back: length of a line from the last outlet back to the beginning, which makes it a ring.
    """

    outlets: Annotated[Count, between(1, 500, "outlets")]
    spacing: Run = 0.4
    first: Run | None = None
    bore: Bore | None = None
    fittings: Fittings = 0.0
    header: HoseSection | None = None
    back: Run | None = None


class LineSection(Section):
    """One leg with an outlet for every pot, or the legs one by one."""

    bore: Bore = 0.015
    spacing: Run = 0.4
    legs: Annotated[list[LegSection], Field(min_length=1, max_length=40)] | None = None
    friction: Literal["darcy-weisbach", "hazen-williams"] = "darcy-weisbach"
    c: Annotated[Number, between(60, 160, "")] = 150.0
    water: Annotated[Temperature, between(1, 40, "C")] = 20.0


class TubeSection(Section):
    """The small tube of an outlet. end: height of its open end above the line."""

    bore: Bore = 0.004
    length: Annotated[Length, between(0.02, 10, "m")] = 0.15
    end: Annotated[Length, between(-5, 5, "m")] = 0.05
    fittings: Fittings = 2.5


class EachSection(Section):
    """What is different at one outlet, counted from the pump."""

    outlet: Annotated[Count, between(1, 5000, "")]
    bore: Bore | None = None
    length: Annotated[Length, between(0.02, 10, "m")] | None = None
    end: Annotated[Length, between(-5, 5, "m")] | None = None
    opening: Annotated[Percent, between(2, 100, "%")] = 100.0
    pot: Name | None = None


class TraySection(Section):
    """The lined tray. standing: depth that stays below the drain; rim: depth at which it spills."""

    length: Run
    width: Run
    drain: Bore = 0.04
    standing: Annotated[Length, between(0, 1, "m")] = 0.01
    rim: Annotated[Length, between(0.01, 2, "m")] = 0.1

    @model_validator(mode="after")
    def _in_order(self) -> "TraySection":
        if not self.standing < self.rim:
            raise misfit("the tray spills below its standing level", "write standing below rim")
        return self


class LayoutSection(Section):
    """The bed. With `pump` and what follows it the flows are computed; else they are as measured."""

    pots: Annotated[Count, between(1, 1000, "pots")] | None = None
    outlet_flow: Annotated[FlowRate, between(0.005, 20, "L/min")] | None = None
    line_holds: Annotated[Volume, between(0, 500, "L")] | None = None
    sump: SumpSection = SumpSection.model_construct()
    drink_per_pot: Annotated[Volume, between(0, 50, "L")] = 1.2
    evaporates: Annotated[Volume, between(0, 500, "L")] = 0.0
    pump: PumpCurveSection | None = None
    lift: Annotated[Length, between(-2, 30, "m")] = 0.5
    hose: HoseSection = HoseSection.model_construct()
    line: LineSection = LineSection.model_construct()
    tube: TubeSection = TubeSection.model_construct()
    each: list[EachSection] = Field(default=[], max_length=2000)
    tray: TraySection | None = None
