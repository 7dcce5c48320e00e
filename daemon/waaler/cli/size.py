"""Pump, outlets, tray and sump of the bed as it is laid out."""

import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import echo, echo_json, file_argument, json_option, read_settings, refuse, three_digits

if TYPE_CHECKING:
    from waaler.bed.layout import Layout
    from waaler.bed.sizing import Answer, Size
    from waaler.settings import Settings

__all__ = ["command"]

DOSE_L = 0.25


@click.command("size")
@json_option
@file_argument
def command(as_json: bool, file: Path | None) -> None:
    """Is the pump big enough, and does the last pot get as much as the first?

    Solves the flows of the bed under `layout:`, tells what each outlet gives, and two ways to make them alike: how
    long to cut each tube, or how far to pinch it. Exit 1 if the answer is no.

    Example: waaler size
    """
    from waaler.bed.balancing import cut_list, pinch_list
    from waaler.bed.network import NoFlow
    from waaler.bed.sizing import answer, size
    from waaler.settings.reckoning import wants_l_per_min

    settings = read_settings(file)
    layout = settings.layout
    if layout is None:
        refuse("the layout has no pump: add `layout: {pump: {free_flow: 1500 L/h, shut_off: 2.4 m}}`")
    run_s = max(window.seconds for window in settings.plan.windows)
    try:
        found = size(layout, settings.figures, settings.tray, settings.file.layout.sump.brim, run_s)
        cut, pinched = cut_list(layout), pinch_list(layout)
    except (NoFlow, ValueError) as problem:
        refuse(str(problem))
    told = answer(found, settings.figures.pots, wants_l_per_min(settings, date.today()))
    if as_json:
        echo_json(_as_object(settings, found, told, cut, pinched))
    else:
        for line in _as_lines(settings, found, told, cut, pinched):
            echo(line)
    sys.exit(0 if told.is_yes else 1)


def _as_lines(settings: "Settings", found: "Size", told: "Answer", cut: "Layout", pinched: "Layout") -> list[str]:
    flows, figures = found.flows, settings.figures
    lines = [
        f"{settings.title} ({settings.id})",
        "",
        *_wrapped(f"{'Yes' if told.is_yes else 'No'}: {told.why}"),
        "",
        f"  pump      {_l_per_h(flows.flow_l_per_min)} at {three_digits(flows.head_m)} m of head;"
        f" take one of {_l_per_h(found.least_pump_l_per_min)} at that head or more",
        f"  outlets   {_l_per_h(found.mean_l_per_min)} on average, weakest quarter"
        f" {_l_per_h(found.weak_l_per_min)}",
        f"  alike     Christiansen {found.christiansen:.0f} %, low quarter {found.low_quarter:.0f} %,"
        f" statistical {found.statistical:.0f} %",
        f"  250 mL    after {figures.line_l / flows.flow_l_per_min * 60 + 60 * DOSE_L / found.mean_l_per_min:.0f} s"
        f" by the mean outlet, {figures.dose_s(DOSE_L):.0f} s by the weakest quarter",
        f"  line      {three_digits(flows.line_m_per_s)} m/s at most{_too_fast(flows.line_m_per_s)};"
        f" {three_digits(found.backs_l)} L run back{_room(found)}",
        *_tray(settings, found),
        f"  sump      one run lowers it by {three_digits(found.dip_l)} L"
        + (": FROM THE LOW MARK THE PUMP DRAWS AIR" if found.runs_dry else ", and gets that back"),
        *_media(settings),
        "",
        *_outlets(settings.layout, found, cut, pinched),
        "",
        *_assumed(settings),
    ]
    if flows.dry:
        lines.insert(lines.index("", 2) + 3, f"  DRY       outlets {', '.join(map(str, flows.dry))} give nothing")
    return lines


def _outlets(layout: "Layout | None", found: "Size", cut: "Layout", pinched: "Layout") -> list[str]:
    assert layout is not None
    lines = ["  outlet   tube       gives              cut to     or pinch to"]
    for n, (tube, flow, regime, cut_tube, pinched_tube) in _rows(layout, found, cut, pinched):
        cut_to = "as it is" if cut_tube.length_m < tube.length_m + 0.005 else f"{_mm(cut_tube.length_m)} mm"
        opening = "open" if pinched_tube.opening > 0.985 else f"{100 * pinched_tube.opening:.0f} %"
        gives = f"{three_digits(60 * flow)} L/h {regime.value}"
        lines.append(f"  {n:6}   {_mm(tube.length_m):>4} mm   {gives:<24}{cut_to:>9}   {opening:>9}")
    return lines


def _rows(layout: "Layout", found: "Size", cut: "Layout", pinched: "Layout") -> Iterator[tuple[int, Any]]:
    flows = found.flows
    tubes = zip(layout.tubes, flows.outlets_l_per_min, flows.regimes, cut.tubes, pinched.tubes, strict=True)
    return enumerate(tubes, start=1)


def _tray(settings: "Settings", found: "Size") -> list[str]:
    if settings.tray is None or found.depth_m is None:
        return []
    if found.is_spilling:
        most = _l_per_h(settings.tray.most_l_per_min)
        return [f"  tray      SPILLS: its drain takes {most} at most; a wider drain or a smaller pump"]
    return [f"  tray      stands at {1000 * found.depth_m:.0f} mm of {1000 * settings.tray.rim_m:.0f} mm in a run"]


def _media(settings: "Settings") -> list[str]:
    """The medium to buy, by the bag that it comes in; nothing where no pot's size is written."""
    from waaler.bed.sizing import bags
    from waaler.settings.build_pots import media_l

    sizes: dict[float, list[float]] = {}
    for group in settings.file.pots:
        if group.nominal is not None or group.width is not None:
            sizes.setdefault(group.bag, []).extend([media_l(group)] * group.count)
    lines = []
    for bag_l, pots_l in sizes.items():
        litres, count = bags(pots_l, bag_l)
        words = f"{count} bag{'' if count == 1 else 's'} of {three_digits(bag_l)} L"
        lines.append(f"  media     {three_digits(litres)} L for {len(pots_l)} pots: {words}")
    return lines


def _assumed(settings: "Settings") -> list[str]:
    """Every default that these figures rest on; the grower's own entries are not listed."""
    section = settings.file.layout
    parts = {"hose": section.hose, "line": section.line, "tube": section.tube, "tray": section.tray}
    words = ["assumed, since the file does not say:"]
    if "lift" not in section.model_fields_set:
        words.append(f"lift {section.lift:g} m;")
    unused = {"spacing", "bore"} if section.line.legs is not None else set()
    unused |= {"c"} if section.line.friction == "darcy-weisbach" else set()
    for name, part in parts.items():
        if part is None:
            continue
        for field in type(part).model_fields:
            is_used = field not in unused or name != "line"
            value = getattr(part, field)
            if field not in part.model_fields_set and is_used and isinstance(value, float):
                words.append(f"{name} {field} {value:g}{_unit(field)};")
    words.append("media at container capacity; common practice, no source")
    return _wrapped(" ".join(words))


def _unit(field: str) -> str:
    return {"fittings": "", "c": "", "water": " C"}.get(field, " m")


def _wrapped(text: str) -> list[str]:
    from textwrap import wrap

    return wrap(text, width=78, initial_indent="  ", subsequent_indent="  ")


def _room(found: "Size") -> str:
    if found.room_l is None:
        return " (no brim is written: room unknown)"
    return ", more than the sump has room for" if found.backs_l > found.room_l else ""


def _too_fast(m_per_s: float) -> str:
    from waaler.bed.sizing import MOST_LINE_M_PER_S

    return " (too fast: take a wider line)" if m_per_s > MOST_LINE_M_PER_S else ""


def _l_per_h(l_per_min: float) -> str:
    return f"{three_digits(60 * l_per_min)} L/h"


def _mm(metres: float) -> str:
    return three_digits(1000 * metres)


def _as_object(
    settings: "Settings", found: "Size", told: "Answer", cut: "Layout", pinched: "Layout"
) -> dict[str, Any]:
    assert settings.layout is not None
    return {
        "bed": settings.id,
        "is_big_enough": told.is_yes,
        "why": told.why,
        "wants_l_per_min": told.wants_l_per_min,
        "pump_l_per_min": found.flows.flow_l_per_min,
        "pump_m_head": found.flows.head_m,
        "least_pump_l_per_min": found.least_pump_l_per_min,
        "mean_l_per_min": found.mean_l_per_min,
        "weakest_quarter_l_per_min": found.weak_l_per_min,
        "christiansen_percent": found.christiansen,
        "low_quarter_percent": found.low_quarter,
        "statistical_percent": found.statistical,
        "line_m_per_s": found.flows.line_m_per_s,
        "runs_back_litres": found.backs_l,
        "dip_litres": found.dip_l,
        "tray_depth_m": found.depth_m,
        "spills": found.is_spilling,
        "is_sound": found.is_sound,
        "outlets": [
            {
                "outlet": n,
                "l_per_min": flow,
                "regime": regime.value,
                "tube_m": tube.length_m,
                "cut_to_m": cut_tube.length_m,
                "pinch_to_percent": 100 * pinched_tube.opening,
            }
            for n, (tube, flow, regime, cut_tube, pinched_tube) in _rows(settings.layout, found, cut, pinched)
        ],
    }
