"""What advises and what people see and press, opened together. The guard's own lines are in `pump_lines`."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from gpiozero.pins import Factory

from waaler.bed.wiring import FloatPin, Wiring
from waaler.devices.analog import AnalogSensor, I2cBus, open_channel
from waaler.devices.floats import FloatSwitch
from waaler.devices.levels import FloatLadder
from waaler.devices.panel import Panel
from waaler.devices.thermometer import Thermometer

__all__ = ["Bench", "open_bench"]


@dataclass(frozen=True)
class Bench:
    """The opened devices. advisers: name -> a read that gives a value, or None if the device fails.

    counts: of the sensors on a converter, as it gives them, for calibrating.
    """

    advisers: Mapping[str, Callable[[], float | None]]
    close: Callable[[], None]
    panel: Panel | None = None
    counts: Mapping[str, Callable[[], float | None]] = field(default_factory=dict)


def open_bench(wiring: Wiring, factory: Factory, i2c: I2cBus | None = None) -> Bench:
    """Claims every pin. i2c: the bus, where something is wired to it.

    Raises: gpiozero's errors if a pin cannot be claimed.
    """
    analog = {
        device.name: AnalogSensor(
            device, open_channel(device.source, factory, i2c, is_zero_read=device in wiring.lights)
        )
        for device in wiring.analog
    }
    advisers: dict[str, Callable[[], float | None]] = {name: sensor.read for name, sensor in analog.items()}
    advisers |= {thermometer.name: Thermometer(thermometer).read for thermometer in wiring.thermometers}
    if wiring.sump_floats:
        advisers["sump_level"] = FloatLadder(wiring.sump_floats, factory).read
    if wiring.tray_wet is not None:
        advisers["tray_wet"] = _wetness(wiring.tray_wet, factory)

    def close() -> None:
        for sensor in analog.values():
            sensor.close()
        factory.close()

    return Bench(
        advisers=advisers,
        close=close,
        panel=Panel(wiring, factory),
        counts={name: sensor.counts for name, sensor in analog.items()},
    )


def _wetness(pin: FloatPin, factory: Factory) -> Callable[[], float | None]:
    switch = FloatSwitch(pin, factory)
    return lambda: 1.0 if switch.is_closed else 0.0
