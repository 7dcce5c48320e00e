"""Sensors on a converter, as the file writes them, and the devices that these are."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from waaler.bed.scale import Scale
from waaler.bed.wiring import AnalogDevice, AnalogInput, ConverterKind
from waaler.settings.fields import Count, Current, Irradiance, Name, Number, Percent, Volume
from waaler.settings.section import Section, between, misfit

__all__ = [
    "CalibrationSection", "CurrentSection", "LevelSection", "LightSection", "OnConverter", "ProbeSection",
    "light_device", "probe_device", "scaled_device",
]  # fmt: skip

Counts = Annotated[Number, between(0, 32_767, "counts")]
Share = Annotated[Percent, between(1, 99, "%")]
MOST_CHANNEL = {"spi": 7, "i2c": 3}


class OnConverter(Section):
    """A channel of a converter: `spi`, ten bits and eight channels, or `i2c`, four channels."""

    channel: Annotated[Count, between(0, 7, "")]
    converter: Literal["spi", "i2c"] = "spi"
    address: Literal["0x48", "0x49", "0x4a", "0x4b"] = "0x48"

    @model_validator(mode="after")
    def _has_channel(self) -> "OnConverter":
        most = MOST_CHANNEL[self.converter]
        if self.channel > most:
            raise misfit(f"the {self.converter} converter has no channel {self.channel}", f"write 0 to {most}")
        return self

    @property
    def source(self) -> AnalogInput:
        return AnalogInput(self.channel, ConverterKind(self.converter), int(self.address, 16))


class CalibrationSection(Section):
    """Converter counts in air and at container capacity, drained after a soak; points between: counts and share."""

    dry: Counts
    wet: Counts
    points: list[tuple[Counts, Share]] = Field(default=[], max_length=8)

    @model_validator(mode="after")
    def _differ(self) -> "CalibrationSection":
        if self.dry == self.wet:
            raise misfit("dry and wet are the same count", "measure both again")
        try:
            is_monotonic = self.scale.is_monotonic
        except ValueError:
            is_monotonic = False
        if not is_monotonic:
            raise misfit("its points do not lie in a row from dry to wet", "measure them again")
        return self

    @property
    def scale(self) -> Scale:
        return Scale.of((self.dry, 0.0), *self.points, (self.wet, 100.0))


class ProbeSection(OnConverter):
    """A moisture probe. most_change: what it can change within a minute; faster is a jump, and not valid."""

    name: Name
    wet_above: Annotated[Percent, between(0, 120, "%")] = 92.0
    dry_below: Annotated[Percent, between(0, 100, "%")] = 75.0
    most_change: Annotated[Percent, between(1, 100, "%")] = 30.0
    calibration: CalibrationSection | None = None

    @model_validator(mode="after")
    def _in_order(self) -> "ProbeSection":
        if not self.dry_below < self.wet_above:
            raise misfit("dry_below is not under wet_above", "write the lower share as dry_below")
        return self


class LightSection(OnConverter):
    """A light sensor on a channel of a converter. full: what its highest count stands for."""

    name: Name
    full: Annotated[Irradiance, between(10, 5000, "W/m2")]


class ScaledSection(OnConverter):
    """A sensor whose counts were measured at two values or more."""

    name: Name
    points: list[tuple[Counts, float]]

    @model_validator(mode="after")
    def _in_a_row(self) -> "ScaledSection":
        try:
            is_monotonic = Scale.of(*self.points).is_monotonic
        except ValueError:
            is_monotonic = False
        if not is_monotonic:
            raise misfit("these points do not lie in a row", "write two or more, in the order of their counts")
        return self


class LevelSection(ScaledSection):
    """What the sump holds, by a pressure or an ultrasonic sensor. points: counts and the volume at these."""

    points: Annotated[list[tuple[Counts, Volume]], Field(min_length=2, max_length=20)]


class CurrentSection(ScaledSection):
    """The pump's current, by a shunt with its amplifier or a clamp. points: counts and the current at these."""

    points: Annotated[list[tuple[Counts, Current]], Field(min_length=2, max_length=20)]


def scaled_device(section: ScaledSection) -> AnalogDevice:
    return AnalogDevice(section.name, section.source, Scale.of(*section.points))


def light_device(section: LightSection) -> AnalogDevice:
    """No counts are darkness."""
    source = section.source
    return AnalogDevice(
        section.name, source, Scale.of((0.0, 0.0), (float(source.converter.full_counts), section.full))
    )


def probe_device(section: ProbeSection) -> AnalogDevice:
    """Without a calibration the converter's whole span counts, full scale as dry."""
    calibration, source = section.calibration, section.source
    scale = Scale.of((0.0, 100.0), (float(source.converter.full_counts), 0.0))
    return AnalogDevice(section.name, source, scale if calibration is None else calibration.scale)
