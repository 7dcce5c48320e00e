"""Faults that no single value shows: contradictions between sections."""

from collections.abc import Iterator

from waaler.settings.build_layout import outlets
from waaler.settings.faults import Fault
from waaler.settings.models import BedFile, FloatSection
from waaler.settings.text import Path, Source

__all__ = ["contradictions", "gpios"]

SPI_GPIOS = {7: "CE1", 8: "CE0", 9: "MISO", 10: "MOSI", 11: "SCLK"}


def contradictions(file: BedFile, source: Source) -> tuple[Fault, ...]:
    found = (
        *_plan(file, source),
        *_pins(file, source),
        *_floats(file, source),
        *_probes(file, source),
        *_layout(file, source),
    )
    return tuple(found)


def gpios(file: BedFile) -> Iterator[tuple[Path, int]]:
    """Every GPIO of the file with its path."""
    if file.pins is None:
        return
    for name in ("relay", "cutoff_relay", "sump_low", "tray_high", "tray_wet", "flow_meter", "supply_sensed"):
        section = getattr(file.pins, name)
        if section is not None and section != "none":
            yield ("pins", name, "gpio"), section.gpio


def _plan(file: BedFile, source: Source) -> Iterator[Fault]:
    seen: set[str] = set()
    probes = {probe.name for probe in file.sensing.probes}
    for n, window in enumerate(file.plan):
        if window.window in seen:
            yield source.fault(
                ("plan", n, "window"), f"window '{window.window}' is there twice", "give each its own name"
            )
        seen.add(window.window)
        if window.water[1] == "L" and file.layout.outlet_flow is None and file.layout.pump is None:
            remedy = "add `layout: {outlet_flow: 54 L/h}` as measured at the weakest outlets, or write a time"
            yield source.fault(("plan", n, "water"), "a volume per pot needs the flow of an outlet", remedy)
        rule = window.on_demand
        if rule is not None and rule.probe not in probes:
            known = ", ".join(sorted(probes)) or "none is written out under sensing"
            yield source.fault(
                ("plan", n, "on_demand", "probe"), f"no probe is named '{rule.probe}'", f"known: {known}"
            )


def _pins(file: BedFile, source: Source) -> Iterator[Fault]:
    taken: dict[int, Path] = {}
    for path, gpio in gpios(file):
        if gpio in taken:
            other = ".".join(str(part) for part in taken[gpio][:-1])
            yield source.fault(path, f"GPIO {gpio} is used twice, here and by {other}", "give each its own")
        taken.setdefault(gpio, path)
        if file.sensing.thermometers and gpio == ONE_WIRE_GPIO:
            yield source.fault(path, f"GPIO {gpio} is the thermometers' 1-Wire line", "take another GPIO")
        if file.sensing.probes and gpio in SPI_GPIOS:
            what = f"GPIO {gpio} is the converter's {SPI_GPIOS[gpio]} line"
            yield source.fault(path, what, "take a GPIO other than 7 to 11")


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


ONE_WIRE_GPIO = 4
"""The kernel's 1-Wire bus, where `dtoverlay=w1-gpio` does not say otherwise. Its documentation, from memory."""


def _layout(file: BedFile, source: Source) -> Iterator[Fault]:
    most, seen = outlets(file.layout), set()
    for n, each in enumerate(file.layout.each):
        path: Path = ("layout", "each", n, "outlet")
        if each.outlet > most:
            yield source.fault(path, f"there are {most} outlets", f"write a number from 1 to {most}")
        if each.outlet in seen:
            yield source.fault(path, f"outlet {each.outlet} is there twice", "write all of it in one place")
        seen.add(each.outlet)


def _probes(file: BedFile, source: Source) -> Iterator[Fault]:
    names: set[str] = set()
    channels: set[int] = set()
    for n, thermometer in enumerate(file.sensing.thermometers):
        if thermometer.name in names or thermometer.name == "tray_wet":
            what = f"the name '{thermometer.name}' is taken"
            yield source.fault(("sensing", "thermometers", n, "name"), what, "give each adviser its own name")
        names.add(thermometer.name)
    for n, probe in enumerate(file.sensing.probes):
        path: Path = ("sensing", "probes", n)
        if probe.name in names or probe.name == "tray_wet":
            yield source.fault(
                (*path, "name"), f"the name '{probe.name}' is taken", "give each adviser its own name"
            )
        if probe.channel in channels:
            yield source.fault(
                (*path, "channel"), f"channel {probe.channel} is used twice", "give each probe its own"
            )
        names.add(probe.name)
        channels.add(probe.channel)
