"""What `check` says of a layout that is valid and will not do: heights, sizes, and figures that do not agree."""

from collections.abc import Iterator
from math import ceil
from statistics import fmean

from waaler.bed.layout import Layout, Watering, watering
from waaler.bed.network import NoFlow
from waaler.settings.build_layout import sump_shape
from waaler.settings.faults import Fault
from waaler.settings.settings import Settings

__all__ = ["layout_warnings"]

APART = 1.5
"""Times that a written figure may be off what the layout computes. Common practice, no source."""


def layout_warnings(settings: Settings) -> Iterator[Fault]:
    """A pump that cannot lift, outlets that give nothing, a sump that does not hold what runs back."""
    layout, section, source = settings.layout, settings.file.layout, settings.source
    brim_l = section.sump.brim
    if brim_l is not None and section.sump.full + settings.figures.line_l > brim_l:
        what = f"what runs back, {settings.figures.line_l:.1f} L, passes the brim of a full sump"
        yield source.fault(("layout", "sump"), what, "set the full mark lower")
    yield from _tray_float(settings)
    if layout is None:
        return
    try:
        flows = watering(layout)
    except NoFlow as problem:
        yield source.fault(("layout", "pump"), str(problem), "take a pump with more head, or lift less")
        return
    if flows.dry:
        numbers = ", ".join(str(n) for n in flows.dry[:8])
        yield source.fault(("layout", "pump"), f"outlets {numbers} give nothing", "see `waaler size`")
    yield from _contradicted(settings, flows)
    yield from _heights(settings, layout)


def _contradicted(settings: Settings, flows: Watering) -> Iterator[Fault]:
    """Figures of the file that the network computes otherwise."""
    section, layout = settings.file.layout, settings.layout
    assert layout is not None
    weakest = sorted(flows.outlets_l_per_min)[: ceil(len(flows.outlets_l_per_min) / 4)]
    told = (
        ("outlet_flow", "L/h", 60.0, section.outlet_flow, fmean(weakest)),
        ("line_holds", "L", 1.0, section.line_holds, layout.pipes_l),
    )
    for key, unit, factor, written, computed in told:
        if written is not None and not computed / APART <= written <= computed * APART:
            what = f"{factor * written:.3g} {unit} is written, and the layout makes {factor * computed:.3g} {unit}"
            yield settings.source.fault(("layout", key), what, "measure again, or mend pump, lift and tubes")


def _heights(settings: Settings, layout: Layout) -> Iterator[Fault]:
    """A full sump that stands higher than an outlet's end: it runs out through it once the pump stops."""
    shape, figures = sump_shape(settings.file.layout), settings.figures
    if shape is None:
        return
    full_m, empty_m = shape.depth_m(figures.sump_full_l), shape.depth_m(figures.sump_empty_l)
    if full_m is None or empty_m is None:
        return
    above_m = full_m - empty_m - layout.lift_m
    low = [n for n, tube in enumerate(layout.tubes, start=1) if tube.end_m < above_m]
    if low:
        what = f"a full sump stands {100 * above_m:.0f} cm above the line, and outlet {low[0]} ends lower"
        remedy = "it siphons once the pump stops: set the full mark lower, or raise line and outlets"
        yield settings.source.fault(("layout", "lift"), what, remedy)


def _tray_float(settings: Settings) -> Iterator[Fault]:
    """A high float that a run into a blocked drain cannot lift."""
    figures, tray = settings.figures, settings.tray
    lifted_l = figures.pump_l_per_min * settings.limits.longest_run_s / 60 - figures.line_l
    if tray is not None and lifted_l < figures.tray_high_l:
        high_l = figures.tray_high_l
        what = f"a run into a blocked drain lifts {lifted_l:.0f} L; the high float turns at {high_l:.0f} L"
        yield settings.source.fault(("layout", "tray"), what, "hang it lower, or allow a longer run")
