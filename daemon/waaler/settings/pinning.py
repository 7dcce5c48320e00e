"""Pins checked before use: what of a file's wiring cannot work on the Pi's header, and what is unwise."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from waaler.bed.header import (
    FIRMWARE,
    FIXED_PULL_UP,
    I2C,
    MOST_A,
    MOST_ALL_A,
    ONE_WIRE,
    SERIAL,
    SPI,
    position_of,
    pulled_up_at_boot,
)  # fmt: skip
from waaler.settings.faults import Fault
from waaler.settings.models import BedFile
from waaler.settings.probing import OnConverter
from waaler.settings.text import Path, Source

__all__ = ["Use", "bus_lines", "on_converters", "pin_faults", "pin_name", "pin_warnings", "uses"]

RELAYS = ("relay", "cutoff_relay")


@dataclass(frozen=True, slots=True)
class Use:
    """One line of the file. name: its key. draws_a: what it takes from the pin, None for an input or if unknown."""

    path: Path
    name: str
    gpio: int
    pull: str | None = None
    draws_a: float | None = None


def uses(file: BedFile) -> Iterator[Use]:
    """Every pin that the file gives a job, in the order of the model."""
    if file.pins is None:
        return
    for name in type(file.pins).model_fields:
        section = getattr(file.pins, name)
        if hasattr(section, "gpio"):
            yield _use(("pins", name), name, section)
        elif isinstance(section, list):
            for n, one in enumerate(section):
                yield _use(("pins", name, n), f"{name.removesuffix('s')} {n + 1}", one)


def _use(path: Path, name: str, section: Any) -> Use:
    pull, draws_a = getattr(section, "pull", None), getattr(section, "draws", None)
    return Use((*path, "gpio"), name, section.gpio, pull, draws_a)


def on_converters(file: BedFile) -> Iterator[tuple[Path, OnConverter]]:
    """Every sensor on a channel of a converter."""
    for kind in ("probes", "lights", "levels", "currents"):
        for n, one in enumerate(getattr(file.sensing, kind)):
            yield ("sensing", kind, n), one


def bus_lines(file: BedFile) -> dict[int, str]:
    """The GPIOs that the file's buses need, and for what."""
    lines: dict[int, str] = {}
    if file.sensing.thermometers:
        lines[ONE_WIRE] = "the thermometers' 1-Wire line"
    for converter, bus in (("spi", SPI), ("i2c", I2C)):
        if any(one.converter == converter for _, one in on_converters(file)):
            lines |= {gpio: f"the converter's {name} line" for gpio, name in bus.items()}
    return lines


def pin_name(gpio: int) -> str:
    """`GPIO 17 (pin 11)`: by number and by place on the header."""
    return f"GPIO {gpio} (pin {position_of(gpio)})"


def pin_faults(file: BedFile, source: Source) -> Iterator[Fault]:
    """What makes the file's wiring impossible or dangerous."""
    taken: dict[int, Path] = {}
    for use in uses(file):
        if use.gpio in taken:
            other = ".".join(str(part) for part in taken[use.gpio][:-1])
            what = f"{pin_name(use.gpio)} is used twice, here and by {other}"
            yield source.fault(use.path, what, "give each its own")
        taken.setdefault(use.gpio, use.path)
        yield from _reserved(file, source, use)
        yield from _unfit(file, source, use)
    yield from _total_current(file, source)


def _reserved(file: BedFile, source: Source, use: Use) -> Iterator[Fault]:
    """A pin that a bus, the serial console or the firmware needs."""
    bus = bus_lines(file).get(use.gpio)
    if bus is not None:
        remedy = "take a GPIO other than 7 to 11" if use.gpio in SPI else "take another GPIO"
        yield source.fault(use.path, f"{pin_name(use.gpio)} is {bus}", remedy)
    if use.gpio in SERIAL:
        what = f"{pin_name(use.gpio)} is the serial console's {SERIAL[use.gpio]}, which talks while the Pi boots"
        yield source.fault(use.path, what, "take another GPIO")
    if use.gpio in FIRMWARE:
        what = f"{pin_name(use.gpio)} is {FIRMWARE[use.gpio]}: the firmware reads a memory there at every boot"
        yield source.fault(use.path, what, "take another GPIO")


def _unfit(file: BedFile, source: Source, use: Use) -> Iterator[Fault]:
    """A pin that this header lacks, that cannot be pulled so, or that cannot give what is drawn."""
    assert file.pins is not None
    header = int(file.pins.header)
    if position_of(use.gpio) > header:
        what = f"{pin_name(use.gpio)} is not there on a header of {header} pins"
        yield source.fault(use.path, what, "take one of the pins 1 to 26; see `waaler pins`")
    if use.pull == "down" and use.gpio in FIXED_PULL_UP:
        what = f"{pin_name(use.gpio)} has a fixed pull-up on the board"
        yield source.fault((*use.path[:-1], "pull"), what, "write pull: up, or take another GPIO")
    if use.draws_a is not None and use.draws_a > MOST_A:
        what = f"{use.draws_a * 1000:g} mA is more than {pin_name(use.gpio)} gives ({MOST_A * 1000:g} mA)"
        remedy = "put a transistor or a relay board with its own supply between"
        yield source.fault((*use.path[:-1], "draws"), what, remedy)


def _total_current(file: BedFile, source: Source) -> Iterator[Fault]:
    total_a = sum(use.draws_a or 0.0 for use in uses(file))
    if total_a > MOST_ALL_A:
        what = f"all pins together give {total_a * 1000:g} mA, more than {MOST_ALL_A * 1000:g} mA"
        yield source.fault(("pins",), what, "feed what draws most from a supply of its own")


def pin_warnings(file: BedFile, source: Source) -> Iterator[Fault]:
    """What energises a relay while the Pi boots; a pin on a bus that the file does not use."""
    for use in uses(file):
        if use.name in RELAYS:
            yield from _boot_level(file, source, use)
        if use.gpio in I2C or use.gpio in SPI or use.gpio == ONE_WIRE:
            bus = "I2C" if use.gpio in I2C else "SPI" if use.gpio in SPI else "1-Wire"
            if use.gpio not in bus_lines(file):
                what = f"{pin_name(use.gpio)} belongs to {bus} once that is switched on in config.txt"
                yield source.fault(use.path, what, "leave that bus off, or take another GPIO")


def _boot_level(file: BedFile, source: Source, use: Use) -> Iterator[Fault]:
    is_high_at_boot = pulled_up_at_boot(use.gpio)
    if is_high_at_boot == (getattr(file.pins, use.name).energised_by == "high"):
        level, better = ("high", "9 to 27") if is_high_at_boot else ("low", "4 to 8")
        what = f"{pin_name(use.gpio)} is pulled {level} while the Pi boots, which would energise this relay"
        yield source.fault(use.path, what, f"take one of GPIO {better}, or a stronger resistor")
