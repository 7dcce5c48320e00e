"""From what the file writes of pins and sensors to the wiring that devices own."""

from dataclasses import replace

from waaler.bed.wiring import (
    ButtonPin,
    FloatPin,
    FlowPin,
    LevelFloat,
    OutputPin,
    Pull,
    RelayPin,
    SensedPin,
    ThermometerInput,
    Wiring,
)  # fmt: skip
from waaler.settings.models import BedFile
from waaler.settings.pin_sections import (
    ButtonSection,
    FloatSection,
    FlowMeterSection,
    OutputSection,
    PinsSection,
    RelaySection,
    SensedSection,
)  # fmt: skip
from waaler.settings.probing import light_device, probe_device, scaled_device

__all__ = ["wiring"]


def wiring(file: BedFile) -> Wiring:
    sensing = file.sensing
    sensors = Wiring(
        probes=tuple(probe_device(probe) for probe in sensing.probes),
        thermometers=tuple(ThermometerInput(t.name, t.device) for t in sensing.thermometers),
        lights=tuple(light_device(light) for light in sensing.lights),
        levels=tuple(scaled_device(level) for level in sensing.levels),
        currents=tuple(scaled_device(current) for current in sensing.currents),
    )
    return sensors if file.pins is None else _with_pins(sensors, file.pins)


def _with_pins(sensors: Wiring, pins: PinsSection) -> Wiring:
    return replace(
        sensors,
        relay=_relay(pins.relay),
        cutoff=None if pins.cutoff_relay is None else _relay(pins.cutoff_relay),
        sump_low=_float(pins.sump_low),
        tray_high=_float(pins.tray_high),
        tray_wet=None if pins.tray_wet is None else FloatPin(pins.tray_wet.gpio, Pull(pins.tray_wet.pull)),
        flow=None if pins.flow_meter is None else _flow_meter(pins.flow_meter),
        sensed=None if pins.supply_sensed is None else _sensed(pins.supply_sensed),
        sump_floats=tuple(LevelFloat(one.gpio, one.at, Pull(one.pull)) for one in pins.sump_floats),
        status_light=None if pins.status_light is None else _output(pins.status_light),
        buzzer=None if pins.buzzer is None else _output(pins.buzzer),
        button=None if pins.button is None else _button(pins.button),
    )


def _relay(section: RelaySection) -> RelayPin:
    return RelayPin(section.gpio, section.energised_by == "high")


def _flow_meter(section: FlowMeterSection) -> FlowPin:
    return FlowPin(section.gpio, section.pulses_per_litre, section.normal, Pull(section.pull))


def _sensed(section: SensedSection) -> SensedPin:
    return SensedPin(section.gpio, Pull(section.pull))


def _output(section: OutputSection) -> OutputPin:
    return OutputPin(section.gpio, section.on_by == "high")


def _button(section: ButtonSection) -> ButtonPin:
    return ButtonPin(section.gpio, Pull(section.pull))


def _float(section: FloatSection | str) -> FloatPin | None:
    if isinstance(section, str):
        return None
    return FloatPin(section.gpio, Pull(section.pull), section.closed == "good")
