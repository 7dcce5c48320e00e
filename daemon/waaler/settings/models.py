"""The file as it is written: one model a section. What it means is built in `build`."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from waaler.settings.fields import (
    Acidity,
    BedId,
    Clock,
    Conductivity,
    Count,
    Day,
    Degrees,
    Duration,
    LightSum,
    Name,
    OneWire,
    Percent,
    PerPot,
    PlainText,
    Temperature,
    TimeZone,
    Water,
    Weekday,
    When,
)  # fmt: skip
from waaler.settings.growing import (
    CropSection,
    FeedSection,
    MediumSection,
    PotsSection,
    TopUpSection,
    WeatherSection,
)
from waaler.settings.laying import LayoutSection
from waaler.settings.pin_sections import PinsSection
from waaler.settings.probing import CurrentSection, LevelSection, LightSection, ProbeSection
from waaler.settings.section import Section, between, misfit
from waaler.settings.telling import (
    CareSection,
    ContactSection,
    HeartbeatSection,
    MailSection,
    MqttSection,
    PushSection,
    WebhookSection,
)  # fmt: skip

__all__ = ["BedFile"]


Quiet = Annotated[list[Clock], Field(min_length=2, max_length=2)]
Pair = Annotated[list[When], Field(min_length=2, max_length=2)]


class PlaceSection(Section):
    """Where the bed stands."""

    timezone: TimeZone
    latitude: Annotated[Degrees, between(-90, 90, "degrees")]
    longitude: Annotated[Degrees, between(-180, 180, "degrees")]


class OnDemandSection(Section):
    """A cycle whenever a probe, the light or the crop's drink asks; the window's own cycles are the fallback."""

    probe: Name | None = None
    below: Annotated[Percent, between(0, 100, "%")] | None = None
    light: Name | None = None
    per_light: Annotated[LightSum, between(0.05, 50, "MJ/m2")] | None = None
    per_demand: PerPot | None = None
    thermometer: Name | None = None
    between: Pair
    least_gap: Annotated[Duration, between(300, 86_400, "min", 60)] = 3600.0
    at_most: Annotated[Count, between(1, 48, "cycles")] = 6

    @model_validator(mode="after")
    def _goes_by_one(self) -> "OnDemandSection":
        by_probe, by_light = (self.probe, self.below), (self.light, self.per_light)
        pairs = (by_probe, by_light, (self.per_demand, self.per_demand))
        given = [pair for pair in pairs if pair != (None, None)]
        is_stray = self.thermometer is not None and self.per_demand is None
        if len(given) != 1 or None in given[0] or is_stray:
            remedy = "write probe and below, or light and per_light, or per_demand with or without thermometer"
            raise misfit("on_demand must go by one thing", remedy)
        return self


class WindowSection(Section):
    """A watering window: `cycles` + `between`, or `every` + `between`, or `at`."""

    window: Name
    cycles: Annotated[Count, between(1, 96, "cycles")] | None = None
    every: Annotated[Duration, between(600, 86_400, "min", 60)] | None = None
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
            raise misfit(what, "write one of: cycles + between, every + between, at")
        if (self.between is None) != (kinds == ["at"]):
            remedy = "leave between out" if kinds == ["at"] else 'add between: ["06:30", "sunset - 1 h"]'
            raise misfit(f"{kinds[0]} {'takes no' if kinds == ['at'] else 'needs a'} between", remedy)
        if self.starts is not None and self.until is not None and self.until < self.starts:
            raise misfit("until lies before from", "swap the two dates")
        return self


class HotDaySection(Section):
    """More cycles around midday on a hot day."""

    above: Annotated[Temperature, between(-10, 60, "C")]
    extra_cycles: Annotated[Count, between(1, 12, "cycles")]


class ThermometerSection(Section):
    """A thermometer on the kernel's 1-Wire bus."""

    name: Name
    device: OneWire


class SensingSection(Section):
    """What sensors may change of the plan."""

    probes: list[ProbeSection] = Field(default=[], max_length=8)
    thermometers: list[ThermometerSection] = Field(default=[], max_length=8)
    lights: list[LightSection] = Field(default=[], max_length=4)
    levels: list[LevelSection] = Field(default=[], max_length=1)
    currents: list[CurrentSection] = Field(default=[], max_length=2)
    skip_at_most: Annotated[Count, between(0, 6, "cycles")] = 1
    hot_above: Annotated[Temperature, between(-10, 60, "C")] = 30.0
    extend_at_most: Annotated[Percent, between(0, 50, "%")] = 50.0
    least_share: Annotated[Percent, between(50, 100, "%")] = 50.0
    drained_after: Annotated[Duration, between(300, 7200, "min", 60)] = 1200.0
    extra_after: Annotated[Duration, between(600, 14_400, "min", 60)] = 1800.0


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
                raise misfit(f"the range of {name} is empty", "write the lowest first, then the highest")
        return self


class LimitsSection(Section):
    """The guard's limits. What is left out takes its default."""

    longest_run: Annotated[Duration, between(10, 7200, "min", 60)] | None = None
    most_per_day: Annotated[Duration, between(60, 86_400, "min", 60)] | None = None
    longest_gap: Annotated[Duration, between(1800, 172_800, "h", 3600)] | None = None
    rest: Annotated[Duration, between(10, 7200, "s")] = 300.0
    settle_sump: Annotated[Duration, between(60, 14_400, "min", 60)] = 1200.0
    settle_tray: Annotated[Duration, between(60, 14_400, "min", 60)] = 600.0
    run_back: Annotated[Duration, between(60, 14_400, "min", 60)] = 1200.0
    confirm: Annotated[Duration, between(0.1, 5, "s")] = 0.3
    start_delay: Annotated[Duration, between(5, 3600, "s")] = 120.0
    most_starts: Annotated[Count, between(1, 20, "an hour")] = 6
    flow_within: Annotated[Duration, between(5, 300, "s")] = 30.0
    line_drain: Annotated[Duration, between(5, 900, "s")] = 60.0


class PumpSection(Section):
    """What the pump runs on."""

    supply: Literal["extra-low voltage", "mains"] = "extra-low voltage"


class CardSection(Section):
    """What `waaler card` prints on the sheet for the sump's lid, in your own words."""

    plug: PlainText | None = None
    shut_off: PlainText | None = None
    by_hand: PlainText | None = None


class BedFile(Section):
    """A bed's file."""

    bed: BedId
    title: PlainText | None = None
    place: PlaceSection
    clock: Literal["trusted"] | None = None
    plan: Annotated[list[WindowSection], Field(min_length=1, max_length=32)]
    hot_day: HotDaySection | None = None
    sensing: SensingSection = SensingSection.model_construct()
    solution: SolutionSection = SolutionSection.model_construct()
    limits: LimitsSection = LimitsSection.model_construct()
    layout: LayoutSection = LayoutSection.model_construct()
    media: list[MediumSection] = Field(default=[], max_length=20)
    pots: list[PotsSection] = Field(default=[], max_length=200)
    crops: list[CropSection] = Field(default=[], max_length=20)
    shelter: Literal["outdoors", "net", "film", "glass"] | None = None
    weather: WeatherSection | None = None
    feed: FeedSection = FeedSection.model_construct()
    top_up: TopUpSection | None = None
    away_days: Annotated[Count, between(1, 60, "days")] = 7
    pump: PumpSection = PumpSection.model_construct()
    pins: PinsSection | None = None
    no_sump_float: Literal["accepted"] | None = None
    no_tray_float: Literal["accepted"] | None = None
    broken_wire_unsafe: Literal["accepted"] | None = None
    not_commissioned: Literal["accepted"] | None = None
    contacts: list[ContactSection] = Field(default=[], max_length=8)
    quiet_hours: Quiet | None = None
    care: CareSection = CareSection()
    card: CardSection = CardSection()
    mqtt: MqttSection | None = None
    mail: MailSection | None = None
    webhooks: list[WebhookSection] = Field(default=[], max_length=4)
    push: PushSection | None = None
    heartbeat: HeartbeatSection | None = None
    good_day: Clock | None = None
    metrics_file: PlainText | None = None
