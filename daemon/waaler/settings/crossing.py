"""Faults that no single value shows: contradictions between sections."""

from collections.abc import Iterator
from math import ceil

from waaler.bed.wiring import AnalogInput
from waaler.settings.build_pots import groups, holding, media, media_l, outlets
from waaler.settings.faults import Fault
from waaler.settings.models import BedFile
from waaler.settings.pin_sections import FloatSection
from waaler.settings.pinning import pin_faults
from waaler.settings.probing import OnConverter
from waaler.settings.text import Path, Source

__all__ = ["SUMP_FLOATS", "contradictions"]

LEAST_PULSES_PER_S = 3.0
"""Flow is read once a second, and a weak pump must still be told from a dry one. Common practice, no source."""

MOST_POTS = 1000
SUMP_FLOATS = "sump_level"
"""The name of what several floats in the sump tell."""


def contradictions(file: BedFile, source: Source) -> tuple[Fault, ...]:
    found = (
        *_plan(file, source),
        *pin_faults(file, source),
        *_floats(file, source),
        *_meter(file, source),
        *_probes(file, source),
        *_layout(file, source),
        *_pots(file, source),
    )
    return tuple(found)


def _plan(file: BedFile, source: Source) -> Iterator[Fault]:
    seen: set[str] = set()
    for n, window in enumerate(file.plan):
        if window.window in seen:
            yield source.fault(
                ("plan", n, "window"), f"window '{window.window}' is there twice", "give each its own name"
            )
        seen.add(window.window)
        if window.water[1] == "L" and file.layout.outlet_flow is None and file.layout.pump is None:
            remedy = "add `layout: {outlet_flow: 54 L/h}` as measured at the weakest outlets, or write a time"
            yield source.fault(("plan", n, "water"), "a volume per pot needs the flow of an outlet", remedy)
        yield from _rule(file, source, n)


def _rule(file: BedFile, source: Source, n: int) -> Iterator[Fault]:
    """What a window on demand goes by must be written out."""
    rule, sensing = file.plan[n].on_demand, file.sensing
    if rule is None:
        return
    named = (
        ("probe", "probe", rule.probe, sensing.probes),
        ("light", "light sensor", rule.light, sensing.lights),
        ("thermometer", "thermometer", rule.thermometer, sensing.thermometers),
    )
    for key, word, name, written in named:
        names = {one.name for one in written}
        if name is not None and name not in names:
            known = ", ".join(sorted(names)) or "none is written out under sensing"
            yield source.fault(("plan", n, "on_demand", key), f"no {word} is named '{name}'", f"known: {known}")
    if rule.per_demand is not None and not file.crops and file.weather is None:
        remedy = "add `crops:` and `weather:`, or go by a probe or by light"
        yield source.fault(("plan", n, "on_demand", "per_demand"), "nothing says what the crop drinks", remedy)


def _floats(file: BedFile, source: Source) -> Iterator[Fault]:
    if file.pins is None:
        return
    for name, accepted in (("sump_low", file.no_sump_float), ("tray_high", file.no_tray_float)):
        section = getattr(file.pins, name)
        key = "no_sump_float" if name == "sump_low" else "no_tray_float"
        if section == "none" and accepted is None:
            what = f"without {name} nothing stops the pump when it must"
            yield source.fault(("pins", name), what, f"wire the float, or add `{key}: accepted` at the top level")
        if isinstance(section, FloatSection) and section.closed == "bad" and file.broken_wire_unsafe is None:
            what = f"{name} would read good with a broken wire"
            remedy = "wire the float so that closed is good, or add `broken_wire_unsafe: accepted` at the top level"
            yield source.fault(("pins", name, "closed"), what, remedy)


def _meter(file: BedFile, source: Source) -> Iterator[Fault]:
    """A meter that gives no pulse for seconds of normal flow would read as a pump that runs dry."""
    meter = None if file.pins is None else file.pins.flow_meter
    if meter is None:
        return
    pulses_per_s = meter.pulses_per_litre * meter.normal / 60
    if pulses_per_s < LEAST_PULSES_PER_S:
        least = ceil(60 * LEAST_PULSES_PER_S / meter.normal)
        given = f"{pulses_per_s:.2g} pulses a second at the normal {meter.normal:g} L/min"
        what = f"{given} are too few to tell a pump that runs dry"
        remedy = f"wire a meter of at least {least} pulses a litre, or take `flow_meter` out"
        yield source.fault(("pins", "flow_meter", "pulses_per_litre"), what, remedy)


def _layout(file: BedFile, source: Source) -> Iterator[Fault]:
    most, seen = outlets(file), set()
    for n, each in enumerate(file.layout.each):
        path: Path = ("layout", "each", n, "outlet")
        if each.outlet > most:
            yield source.fault(path, f"there are {most} outlets", f"write a number from 1 to {most}")
        if each.outlet in seen:
            yield source.fault(path, f"outlet {each.outlet} is there twice", "write all of it in one place")
        seen.add(each.outlet)


def _pots(file: BedFile, source: Source) -> Iterator[Fault]:
    """Counts that meet, crops that are there, each once."""
    counted = sum(group.count for group in groups(file))
    if counted > MOST_POTS:
        yield source.fault(("pots",), f"these are {counted} pots", f"write at most {MOST_POTS} in one bed")
    if file.layout.pots is not None and file.layout.pots != counted:
        what = f"layout.pots says {file.layout.pots}, and the groups under pots make {counted}"
        yield source.fault(("pots",), what, "leave layout.pots out, or make the two agree")
    wanted, there = sum(group.count * group.outlets for group in groups(file)), outlets(file)
    if wanted != there:
        path: Path = ("pots",) if file.pots else ("layout", "pots")
        what = f"the legs of the line have {there} outlets, and {counted} pots have {wanted}"
        yield source.fault(path, what, _meeting(counted, there))
    names = [crop.name for crop in file.crops]
    for n, name in enumerate(names):
        if name in names[:n]:
            yield source.fault(("crops", n, "name"), f"crop '{name}' is there twice", "give each its own name")
    own = [medium.name for medium in file.media]
    for n, name in enumerate(own):
        if name in own[:n]:
            yield source.fault(("media", n, "name"), f"medium '{name}' is there twice", "give each its own name")
    for n, group in enumerate(file.pots):
        yield from _medium(file, source, n)
        if group.crop is not None and group.crop not in names:
            known = ", ".join(sorted(names)) or "none is written out under crops"
            yield source.fault(("pots", n, "crop"), f"no crop is named '{group.crop}'", f"known: {known}")


def _medium(file: BedFile, source: Source, n: int) -> Iterator[Fault]:
    """A medium that is known, and no more water on the scale than it can hold and lose."""
    group, known = file.pots[n], media(file)
    if group.medium not in known:
        what = f"no medium is named '{group.medium}'"
        yield source.fault(("pots", n, "medium"), what, f"known: {', '.join(sorted(known))}")
        return
    pot = holding(group, known[group.medium])
    if pot.wilting_l <= 0:
        lost, held = pot.capacity_l - pot.wilting_l, f"{media_l(group):.1f} L of {group.medium} hold"
        what = f"this pot loses {lost:.1f} kg of water before it droops, and {held} {pot.capacity_l:.1f} L"
        remedy = "weigh one pot, an hour after watering and when it droops; or write its medium and size"
        yield source.fault(("pots", n, "drained"), what, remedy)


def _meeting(pots: int, outlets: int) -> str:
    """How so many pots could have so many outlets."""
    if outlets % pots == 0 and outlets > pots:
        return f"write `outlets: {outlets // pots}` with pots of so many outlets each"
    return "write as many outlets as pots, or `outlets: 2` with pots that have two"


def _probes(file: BedFile, source: Source) -> Iterator[Fault]:
    """Every adviser has a name of its own, every one on a converter a channel of its own."""
    names, channels = {"tray_wet", SUMP_FLOATS}, set[AnalogInput]()
    for kind in ("thermometers", "probes", "lights", "levels", "currents"):
        for n, one in enumerate(getattr(file.sensing, kind)):
            path: Path = ("sensing", kind, n)
            if one.name in names:
                what = f"the name '{one.name}' is taken"
                yield source.fault((*path, "name"), what, "give each adviser its own name")
            names.add(one.name)
            if isinstance(one, OnConverter) and one.source in channels:
                what = f"channel {one.channel} is used twice"
                yield source.fault((*path, "channel"), what, "give each probe its own")
            if isinstance(one, OnConverter):
                channels.add(one.source)
