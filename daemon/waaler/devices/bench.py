"""Everything on pins of one bed, opened together: relays, floats, flow, supply, probes.

The guard's thread alone moves the relay and reads the protective floats; another thread reads the advisers.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from gpiozero.pins import Factory

from waaler.bed.wiring import FloatPin, SensedPin, Wiring
from waaler.devices.analog import AnalogSensor, I2cBus, open_channel
from waaler.devices.floats import FloatSwitch
from waaler.devices.flow import FlowMeter
from waaler.devices.levels import FloatLadder
from waaler.devices.panel import Panel
from waaler.devices.relay import PumpRelay, RelayPair
from waaler.devices.thermometer import Thermometer
from waaler.guard.messages import Contact, Input, Level

__all__ = ["Bench", "Relay", "open_bench"]


class Relay(Protocol):
    """The pump's relay. Every method returns at once."""

    def on(self) -> None: ...

    def off(self) -> None: ...

    def alone(self, contact: Contact) -> None:
        """Energises this one of two contacts in series, its partner released."""

    @property
    def is_on(self) -> bool:
        """What the line itself reads."""

    def close(self) -> None:
        """Off, then the line is given back."""


@dataclass(frozen=True)
class Bench:
    """The opened devices. advisers: name -> a read that gives a value, or None if the device fails.

    flow: reads litres a minute since the last read. is_live: reads the supply behind the last contact.
    counts: of the sensors on a converter, as it gives them, for calibrating.
    """

    relay: Relay
    levels: Mapping[Input, Callable[[], Level]]
    advisers: Mapping[str, Callable[[], float | None]]
    close: Callable[[], None]
    flow: Callable[[], float] | None = None
    is_live: Callable[[], bool] | None = None
    panel: Panel | None = None
    counts: Mapping[str, Callable[[], float | None]] = field(default_factory=dict)


def open_bench(
    wiring: Wiring,
    factory: Factory,
    i2c: I2cBus | None = None,
    now_s: Callable[[], float] = time.monotonic,
) -> Bench:
    """Claims every pin, the relays first and off.

    i2c: the bus, where something is wired to it. now_s: the flow meter's clock.

    Raises: ValueError without a relay; gpiozero's errors if a pin cannot be claimed.
    """
    if wiring.relay is None:
        raise ValueError("no relay pin is written out")
    main = PumpRelay(wiring.relay, factory)
    relay: Relay = main if wiring.cutoff is None else RelayPair(main, PumpRelay(wiring.cutoff, factory))
    floats = {
        name: FloatSwitch(pin, factory)
        for name, pin in ((Input.SUMP_LOW, wiring.sump_low), (Input.TRAY_HIGH, wiring.tray_high))
        if pin is not None
    }
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
        relay.close()
        for sensor in analog.values():
            sensor.close()
        factory.close()

    return Bench(
        relay=relay,
        levels={name: switch.read for name, switch in floats.items()},
        advisers=advisers,
        close=close,
        flow=None if wiring.flow is None else FlowMeter(wiring.flow, factory, now_s).read,
        is_live=None if wiring.sensed is None else _liveness(wiring.sensed, factory),
        panel=Panel(wiring, factory),
        counts={name: sensor.counts for name, sensor in analog.items()},
    )


def _liveness(pin: SensedPin, factory: Factory) -> Callable[[], bool]:
    switch = FloatSwitch(FloatPin(pin.gpio, pin.pull), factory)
    return lambda: switch.is_closed


def _wetness(pin: FloatPin, factory: Factory) -> Callable[[], float | None]:
    switch = FloatSwitch(pin, factory)
    return lambda: 1.0 if switch.is_closed else 0.0
