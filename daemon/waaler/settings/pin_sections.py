"""What is wired to the Pi's pins, as the file writes it: one model a device."""

from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag

from waaler.settings.fields import Current, FlowRate, Gpio, Number, Volume
from waaler.settings.section import Section, between

__all__ = [
    "ButtonSection", "FloatSection", "FlowMeterSection", "LevelFloatSection", "OutputSection", "PinsSection",
    "RelaySection", "SensedSection", "WetSection",
]  # fmt: skip


class RelaySection(Section):
    """The relay's GPIO and the level that energises it. draws: the current of its input."""

    gpio: Gpio
    energised_by: Literal["high", "low"] = "high"
    draws: Annotated[Current, between(0, 1, "mA", 0.001)] | None = None


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
    pulses_per_litre: Annotated[Number, between(1, 100_000, "pulses")]
    normal: Annotated[FlowRate, between(0.1, 1000, "L/min")]
    pull: Literal["up", "down"] = "up"


class SensedSection(Section):
    """An isolated contact on the pump's supply behind the last relay, closed while it is live."""

    gpio: Gpio
    pull: Literal["up", "down"] = "up"


class LevelFloatSection(Section):
    """A float switch in the sump that only tells the level, closed while water lifts it."""

    gpio: Gpio
    at: Annotated[Volume, between(0, 20_000, "L")]
    pull: Literal["up", "down"] = "up"


class OutputSection(Section):
    """A light or a buzzer."""

    gpio: Gpio
    on_by: Literal["high", "low"] = "high"
    draws: Annotated[Current, between(0, 1, "mA", 0.001)] | None = None


class ButtonSection(Section):
    """A push-button, closed while it is pressed."""

    gpio: Gpio
    pull: Literal["up", "down"] = "up"


FloatOrNone = Annotated[
    Annotated[FloatSection, Tag("float")] | Annotated[Literal["none"], Tag("none")],
    Discriminator(lambda value: "none" if value == "none" else "float"),
]


class PinsSection(Section):
    """What is wired to the Pi, by GPIO number. header: the number of its pins; the boards of 2012 have 26."""

    header: Literal["40", "26"] = "40"
    relay: RelaySection
    cutoff_relay: RelaySection | None = None
    sump_low: FloatOrNone
    tray_high: FloatOrNone
    tray_wet: WetSection | None = None
    flow_meter: FlowMeterSection | None = None
    supply_sensed: SensedSection | None = None
    sump_floats: list[LevelFloatSection] = Field(default=[], max_length=6)
    status_light: OutputSection | None = None
    buzzer: OutputSection | None = None
    button: ButtonSection | None = None
