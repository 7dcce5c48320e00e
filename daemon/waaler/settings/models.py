"""The file as it is written: one model a section. What it means is built in `build`."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Discriminator, Field, Tag, model_validator
from pydantic_core import PydanticCustomError

from waaler.settings.fields import (
    Acidity,
    BedId,
    Conductivity,
    Count,
    Day,
    Degrees,
    Duration,
    FlowRate,
    Gpio,
    Name,
    Number,
    OneWire,
    Percent,
    PlainText,
    Temperature,
    TimeZone,
    Volume,
    Water,
    Weekday,
    When,
)  # fmt: skip

__all__ = ["BedFile"]


class Section(BaseModel):
    """Unknown keys are refused; nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)


def _between(low: float, high: float, unit: str, factor: float = 1.0) -> Any:
    """Bounds in base units, told in the unit that people write."""

    def check(value: float | None) -> float | None:
        if value is not None and not low <= value <= high:
            what = f"{value / factor:g} {unit} is outside {low / factor:g} to {high / factor:g} {unit}".replace(
                "  ", " "
            )
            raise PydanticCustomError("fault", "{what}", {"what": what, "remedy": "write a value in that range"})
        return value

    return AfterValidator(check)


Pair = Annotated[list[When], Field(min_length=2, max_length=2)]


class PlaceSection(Section):
    """Where the bed stands."""

    timezone: TimeZone
    latitude: Annotated[Degrees, _between(-90, 90, "degrees")]
    longitude: Annotated[Degrees, _between(-180, 180, "degrees")]


class OnDemandSection(Section):
    """A cycle whenever a probe asks; the window's own cycles are then the fallback."""

    probe: Name
    below: Annotated[Percent, _between(0, 100, "%")]
    between: Pair
    least_gap: Annotated[Duration, _between(300, 86_400, "min", 60)] = 3600.0
    at_most: Annotated[Count, _between(1, 48, "cycles")] = 6


class WindowSection(Section):
    """A watering window: `cycles` + `between`, or `every` + `between`, or `at`."""

    window: Name
    cycles: Annotated[Count, _between(1, 96, "cycles")] | None = None
    every: Annotated[Duration, _between(600, 86_400, "min", 60)] | None = None
    at: Annotated[list[When], Field(min_length=1, max_length=96)] | None = None
    between: Pair | None = None
    water: Water
    on: Annotated[list[Weekday], Field(min_length=1, max_length=7)] | None = None
    starts: Day | None = Field(None, alias="from")
    until: Day | None = None
    fallback: Annotated[list[When], Field(min_length=1, max_length=2)] | None = None
    on_demand: OnDemandSection | None = None

    @model_validator(mode="after")
    def _is_one_kind(self) -> "WindowSection":
        kinds = [name for name in ("cycles", "every", "at") if getattr(self, name) is not None]
        if len(kinds) != 1:
            what = "a window needs its cycles" if not kinds else f"{' and '.join(kinds)} exclude each other"
            raise _misfit(what, "write one of: cycles + between, every + between, at")
        if (self.between is None) != (kinds == ["at"]):
            remedy = "leave between out" if kinds == ["at"] else 'add between: ["06:30", "sunset - 1 h"]'
            raise _misfit(f"{kinds[0]} {'takes no' if kinds == ['at'] else 'needs a'} between", remedy)
        if self.starts is not None and self.until is not None and self.until < self.starts:
            raise _misfit("until lies before from", "swap the two dates")
        return self


def _misfit(what: str, remedy: str) -> PydanticCustomError:
    return PydanticCustomError("fault", "{what}", {"what": what, "remedy": remedy})


class HotDaySection(Section):
    """More cycles around midday on a hot day."""

    above: Annotated[Temperature, _between(-10, 60, "C")]
    extra_cycles: Annotated[Count, _between(1, 12, "cycles")]


class CalibrationSection(Section):
    """Converter counts in air and at container capacity, drained after a soak."""

    dry: Annotated[Number, _between(0, 1023, "counts")]
    wet: Annotated[Number, _between(0, 1023, "counts")]

    @model_validator(mode="after")
    def _differ(self) -> "CalibrationSection":
        if self.dry == self.wet:
            raise _misfit("dry and wet are the same count", "measure both again")
        return self


class ProbeSection(Section):
    """A moisture probe on a channel of the SPI converter."""

    name: Name
    channel: Annotated[Count, _between(0, 7, "")]
    wet_above: Annotated[Percent, _between(0, 120, "%")] = 92.0
    dry_below: Annotated[Percent, _between(0, 100, "%")] = 55.0
    calibration: CalibrationSection | None = None

    @model_validator(mode="after")
    def _in_order(self) -> "ProbeSection":
        if not self.dry_below < self.wet_above:
            raise _misfit("dry_below is not under wet_above", "write the lower share as dry_below")
        return self


class ThermometerSection(Section):
    """A thermometer on the kernel's 1-Wire bus."""

    name: Name
    device: OneWire


class SensingSection(Section):
    """What sensors may change of the plan."""

    probes: Annotated[list[ProbeSection], Field(max_length=8)] = []
    thermometers: Annotated[list[ThermometerSection], Field(max_length=8)] = []
    skip_at_most: Annotated[Count, _between(0, 6, "cycles")] = 1
    hot_above: Annotated[Temperature, _between(-10, 60, "C")] = 30.0
    extend_at_most: Annotated[Percent, _between(0, 50, "%")] = 50.0
    least_share: Annotated[Percent, _between(50, 100, "%")] = 50.0
    drained_after: Annotated[Duration, _between(300, 7200, "min", 60)] = 1200.0
    extra_after: Annotated[Duration, _between(600, 14_400, "min", 60)] = 1800.0


class SolutionSection(Section):
    """What EC, pH and temperature of the solution should lie in; a measurement outside raises an alert."""

    ec: Annotated[list[Conductivity], Field(min_length=2, max_length=2)] | None = None
    ph: Annotated[list[Acidity], Field(min_length=2, max_length=2)] | None = None
    temperature: Annotated[list[Temperature], Field(min_length=2, max_length=2)] | None = None

    @model_validator(mode="after")
    def _in_order(self) -> "SolutionSection":
        for name in ("ec", "ph", "temperature"):
            pair = getattr(self, name)
            if pair is not None and not pair[0] < pair[1]:
                raise _misfit(f"the range of {name} is empty", "write the lowest first, then the highest")
        return self


class LimitsSection(Section):
    """The guard's limits. What is left out takes its default."""

    longest_run: Annotated[Duration, _between(10, 7200, "min", 60)] | None = None
    most_per_day: Annotated[Duration, _between(60, 86_400, "min", 60)] | None = None
    longest_gap: Annotated[Duration, _between(1800, 172_800, "h", 3600)] | None = None
    rest: Annotated[Duration, _between(10, 7200, "s")] = 300.0
    settle_sump: Annotated[Duration, _between(60, 14_400, "min", 60)] = 1200.0
    settle_tray: Annotated[Duration, _between(60, 14_400, "min", 60)] = 600.0
    run_back: Annotated[Duration, _between(60, 14_400, "min", 60)] = 1200.0
    confirm: Annotated[Duration, _between(0.1, 5, "s")] = 0.3
    start_delay: Annotated[Duration, _between(5, 3600, "s")] = 120.0
    most_starts: Annotated[Count, _between(1, 20, "an hour")] = 6
    flow_within: Annotated[Duration, _between(5, 300, "s")] = 30.0
    line_drain: Annotated[Duration, _between(5, 900, "s")] = 60.0


class SumpSection(Section):
    """Volumes at the full mark, at the low float, and where the pump begins to draw air."""

    full: Annotated[Volume, _between(5, 20_000, "L")] = 220.0
    low: Annotated[Volume, _between(1, 20_000, "L")] = 45.0
    empty: Annotated[Volume, _between(0, 20_000, "L")] = 25.0

    @model_validator(mode="after")
    def _in_order(self) -> "SumpSection":
        if not self.empty < self.low < self.full:
            raise _misfit("the sump's marks are not in order", "write empty below low below full")
        return self


class LayoutSection(Section):
    """The bed in a few figures. What is left out takes the example's."""

    pots: Annotated[Count, _between(1, 1000, "pots")] = 14
    outlet_flow: Annotated[FlowRate, _between(0.005, 20, "L/min")] | None = None
    line: Annotated[Volume, _between(0, 500, "L")] = 1.5
    sump: SumpSection = SumpSection()
    media_per_pot: Annotated[Volume, _between(0.2, 500, "L")] = 18.0
    holds: Annotated[Percent, _between(5, 90, "%")] = 30.0
    drink_per_pot: Annotated[Volume, _between(0, 50, "L")] = 1.2


class RelaySection(Section):
    """The relay's GPIO and the level that energises it."""

    gpio: Gpio
    energised_by: Literal["high", "low"] = "high"


class FloatSection(Section):
    """A float switch. closed: what a closed contact means."""

    gpio: Gpio
    pull: Literal["up", "down"] = "up"
    closed: Literal["good", "bad"] = "good"


class WetSection(Section):
    """A float or contact at the tray's lowest spot, closed when wet."""

    gpio: Gpio
    pull: Literal["up", "down"] = "up"


class FlowMeterSection(Section):
    """A flow meter in the supply hose that gives pulses."""

    gpio: Gpio
    pulses_per_litre: Annotated[Number, _between(1, 100_000, "pulses")]
    normal: Annotated[FlowRate, _between(0.1, 1000, "L/min")]
    pull: Literal["up", "down"] = "up"


class SensedSection(Section):
    """An isolated contact on the pump's supply behind the last relay, closed while it is live."""

    gpio: Gpio
    pull: Literal["up", "down"] = "up"


FloatOrNone = Annotated[
    Annotated[FloatSection, Tag("float")] | Annotated[Literal["none"], Tag("none")],
    Discriminator(lambda value: "none" if value == "none" else "float"),
]


class PinsSection(Section):
    """What is wired to the Pi, by GPIO number."""

    relay: RelaySection
    cutoff_relay: RelaySection | None = None
    sump_low: FloatOrNone
    tray_high: FloatOrNone
    tray_wet: WetSection | None = None
    flow_meter: FlowMeterSection | None = None
    supply_sensed: SensedSection | None = None


class PumpSection(Section):
    """What the pump runs on."""

    supply: Literal["extra-low voltage", "mains"] = "extra-low voltage"


class MqttSection(Section):
    """The broker that `waaler notify` publishes to."""

    host: PlainText
    port: Annotated[Count, _between(1, 65_535, "")] = 1883
    user: PlainText | None = None
    password_file: PlainText | None = None
    ca_file: PlainText | None = None
    certificate_file: PlainText | None = None
    key_file: PlainText | None = None


class BedFile(Section):
    """A bed's file."""

    bed: BedId
    title: PlainText | None = None
    place: PlaceSection
    clock: Literal["trusted"] | None = None
    plan: Annotated[list[WindowSection], Field(min_length=1, max_length=32)]
    hot_day: HotDaySection | None = None
    sensing: SensingSection = SensingSection()
    solution: SolutionSection = SolutionSection()
    limits: LimitsSection = LimitsSection()
    layout: LayoutSection = LayoutSection()
    pump: PumpSection = PumpSection()
    pins: PinsSection | None = None
    no_sump_float: Literal["accepted"] | None = None
    no_tray_float: Literal["accepted"] | None = None
    broken_wire_unsafe: Literal["accepted"] | None = None
    mqtt: MqttSection | None = None
