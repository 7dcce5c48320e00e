"""Everything on pins of one bed, opened together: relay, floats, probes.

The guard's thread alone moves the relay and reads the protective floats; another thread reads the advisers.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from gpiozero.pins import Factory

from waaler.bed.wiring import FloatPin, Wiring
from waaler.devices.floats import FloatSwitch
from waaler.devices.probe import MoistureProbe
from waaler.devices.relay import PumpRelay
from waaler.devices.thermometer import Thermometer
from waaler.guard.messages import Input, Level

__all__ = ["Bench", "Relay", "open_bench"]


class Relay(Protocol):
    """The pump's relay. Every method returns at once."""

    def on(self) -> None: ...

    def off(self) -> None: ...

    @property
    def is_on(self) -> bool:
        """What the line itself reads."""

    def close(self) -> None:
        """Off, then the line is given back."""


@dataclass(frozen=True)
class Bench:
    """The opened devices. advisers: name -> a read that gives a value, or None if the device fails."""

    relay: Relay
    levels: Mapping[Input, Callable[[], Level]]
    advisers: Mapping[str, Callable[[], float | None]]
    close: Callable[[], None]


def open_bench(wiring: Wiring, factory: Factory) -> Bench:
    """Claims every pin, the relay first and off.

    Raises: ValueError without a relay; gpiozero's errors if a pin cannot be claimed.
    """
    if wiring.relay is None:
        raise ValueError("no relay pin is written out")
    relay = PumpRelay(wiring.relay, factory)
    floats = {
        name: FloatSwitch(pin, factory)
        for name, pin in ((Input.SUMP_LOW, wiring.sump_low), (Input.TRAY_HIGH, wiring.tray_high))
        if pin is not None
    }
    advisers: dict[str, Callable[[], float | None]] = {
        probe.name: MoistureProbe(probe, factory).read for probe in wiring.probes
    }
    advisers |= {thermometer.name: Thermometer(thermometer).read for thermometer in wiring.thermometers}
    if wiring.tray_wet is not None:
        advisers["tray_wet"] = _wetness(wiring.tray_wet, factory)

    def close() -> None:
        relay.close()
        factory.close()

    return Bench(relay, {name: switch.read for name, switch in floats.items()}, advisers, close)


def _wetness(pin: FloatPin, factory: Factory) -> Callable[[], float | None]:
    switch = FloatSwitch(pin, factory)
    return lambda: 1.0 if switch.is_closed else 0.0
