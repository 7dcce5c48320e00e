"""From the written layout to what the bed's arithmetic owns, and the few figures that everything else needs."""

from dataclasses import replace

from waaler.bed.figures import Figures
from waaler.bed.layout import Law, Layout, Leg, Piece, Tube, watering
from waaler.bed.network import NoFlow
from waaler.bed.pots import Pot, by_pot
from waaler.bed.pump import PumpCurve, from_label, from_three_points
from waaler.bed.sump import SumpShape, upright
from waaler.bed.tray import Tray
from waaler.settings.build_pots import outlets, pots
from waaler.settings.laying import EachSection, LayoutSection, LegSection, PumpCurveSection
from waaler.settings.models import BedFile

__all__ = ["figures", "layout", "sump_shape", "tray"]

M3_PER_S = 1 / 60_000
HIGH_SHARE = 1 / 3
"""Of the tray up to its rim, where its float hangs: above a full run. Common practice, no source."""


def layout(file: BedFile) -> Layout | None:
    """The bed as it is built; None where the file has no pump curve."""
    section = file.layout
    if section.pump is None:
        return None
    line, hose, count = section.line, section.hose, outlets(file)
    legs = line.legs or [LegSection.model_construct(outlets=count, spacing=line.spacing, fittings=0.0)]
    changes = {each.outlet: each for each in section.each}
    tubes = [_tube(section, changes.get(n)) for n in range(1, count + 1)]
    built, begin = [], 0
    for leg in legs:
        built.append(_leg(section, leg, tuple(tubes[begin : begin + leg.outlets])))
        begin += leg.outlets
    law = Law(hazen_williams_c=line.c if line.friction == "hazen-williams" else None)
    piece = Piece(hose.length, hose.bore, hose.fittings)
    return Layout(_curve(section.pump), section.lift, piece, tuple(built), law, line.water)


def tray(section: LayoutSection) -> Tray | None:
    written = section.tray
    if written is None:
        return None
    return Tray(written.length, written.width, written.drain, written.standing, written.rim)


def sump_shape(section: LayoutSection) -> SumpShape | None:
    """None where the file has the sump's marks as volumes alone."""
    sump = section.sump
    if sump.floor is not None:
        return upright(*sump.floor)
    return None if sump.points is None else SumpShape(tuple(sorted(sump.points)))


def figures(file: BedFile) -> Figures:
    """The bed in figures: flows as computed from the layout, else as measured, else the default.

    A layout that gives no water at all takes the default too; `check` and `size` tell of it.
    """
    default, section, built = Figures(), file.layout, layout(file)
    bare = pots(file)
    flows, weak_l_per_min = _flows(section, built, bare)
    pipes_l = default.line_l if built is None else built.pipes_l
    basin = tray(section)
    return Figures(
        pots=tuple(replace(pot, flow_l_per_min=flow) for pot, flow in zip(bare, flows, strict=True)),
        weak_l_per_min=weak_l_per_min,
        line_l=pipes_l if section.line_holds is None else section.line_holds,
        sump_full_l=section.sump.full,
        sump_low_l=section.sump.low,
        sump_empty_l=section.sump.empty,
        drain_l_per_min=default.drain_l_per_min if basin is None else basin.most_l_per_min,
        tray_high_l=default.tray_high_l if basin is None else basin.rim_l * HIGH_SHARE,
        tray_rim_l=default.tray_rim_l if basin is None else basin.rim_l,
        evaporates_l_per_day=section.evaporates,
    )


def _flows(
    section: LayoutSection, built: Layout | None, bare: tuple[Pot, ...]
) -> tuple[tuple[float, ...], float | None]:
    """Litres a minute of each pot; and what the weakest quarter was measured to get, where both are known."""
    computed = _computed(built)
    measured = section.outlet_flow
    if computed is None:
        each = Pot().flow_l_per_min if measured is None else measured
        return tuple(pot.outlets * each for pot in bare), None
    weakest = min(pot.outlets for pot in bare)
    return by_pot(bare, computed), None if measured is None else weakest * measured


def _computed(built: Layout | None) -> tuple[float, ...] | None:
    """Litres a minute of every outlet; None where nothing can be computed, or nothing flows."""
    if built is None:
        return None
    try:
        flows = watering(built).outlets_l_per_min
    except NoFlow:
        return None
    return flows if any(flows) else None


def _curve(section: PumpCurveSection) -> PumpCurve:
    if section.points is not None:
        (_, top_m), (some, middle_m), (much, low_m) = section.points
        return from_three_points(top_m, (some * M3_PER_S, middle_m), (much * M3_PER_S, low_m))
    assert section.free_flow is not None
    assert section.shut_off is not None
    return from_label(section.free_flow * M3_PER_S, section.shut_off)


def _leg(section: LayoutSection, leg: LegSection, tubes: tuple[Tube, ...]) -> Leg:
    header = leg.header
    first_m = leg.spacing if leg.first is None else leg.first
    return Leg(
        tubes=tubes,
        gaps_m=(first_m, *[leg.spacing] * (len(tubes) - 1)),
        bore_m=leg.bore or section.line.bore,
        fittings_k=leg.fittings,
        header=None if header is None else Piece(header.length, header.bore, header.fittings),
        back_m=leg.back,
    )


def _tube(section: LayoutSection, each: EachSection | None) -> Tube:
    tube = section.tube
    if each is None:
        return Tube(tube.bore, tube.length, tube.end, tube.fittings)
    return Tube(
        bore_m=each.bore or tube.bore,
        length_m=each.length or tube.length,
        end_m=tube.end if each.end is None else each.end,
        fittings_k=tube.fittings,
        opening=each.opening / 100,
        pot=each.pot or "",
    )
