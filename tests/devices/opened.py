"""The pump's lines of a wiring, opened on a factory."""

from collections.abc import Callable

from gpiozero.pins import Factory

from waaler.bed.wiring import Wiring
from waaler.devices.pump_lines import PumpLines, open_pump_lines

__all__ = ["pump_lines"]


def pump_lines(wiring: Wiring, factory: Factory, now_s: Callable[[], float] = lambda: 0.0) -> PumpLines:
    """As the guard's process opens them."""
    assert wiring.pump_pins is not None
    return open_pump_lines(wiring.pump_pins, factory, now_s)
