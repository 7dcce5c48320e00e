"""The lines that the guard alone opens: relays, protective floats, flow meter, sensed supply."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from gpiozero.pins import Factory

from waaler.bed.wiring import FloatPin, PumpPins, SensedPin
from waaler.devices.floats import FloatSwitch
from waaler.devices.flow import FlowMeter
from waaler.devices.relay import PumpRelay, RelayPair
from waaler.guard.messages import Contact, Input, Level

__all__ = ["PumpLines", "Relay", "open_pump_lines"]


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
class PumpLines:
    """The opened lines. flow: reads litres a minute since the last read. is_live: reads the supply behind the last
    contact.
    """

    relay: Relay
    levels: Mapping[Input, Callable[[], Level]]
    close: Callable[[], None]
    flow: Callable[[], float] | None = None
    is_live: Callable[[], bool] | None = None


def open_pump_lines(pins: PumpPins, factory: Factory, now_s: Callable[[], float] = time.monotonic) -> PumpLines:
    """Claims every line, the relays first and off. now_s: the flow meter's clock.

    Raises: gpiozero's errors if a line cannot be claimed.
    """
    main = PumpRelay(pins.relay, factory)
    relay: Relay = main if pins.cutoff is None else RelayPair(main, PumpRelay(pins.cutoff, factory))
    floats = {
        name: FloatSwitch(pin, factory)
        for name, pin in ((Input.SUMP_LOW, pins.sump_low), (Input.TRAY_HIGH, pins.tray_high))
        if pin is not None
    }

    def close() -> None:
        relay.close()
        factory.close()

    return PumpLines(
        relay=relay,
        levels={name: switch.read for name, switch in floats.items()},
        close=close,
        flow=None if pins.flow is None else FlowMeter(pins.flow, factory, now_s).read,
        is_live=None if pins.sensed is None else _liveness(pins.sensed, factory),
    )


def _liveness(pin: SensedPin, factory: Factory) -> Callable[[], bool]:
    switch = FloatSwitch(FloatPin(pin.gpio, pin.pull), factory)
    return lambda: switch.is_closed
