"""A flow meter that gives pulses: edges counted, flow read as pulses over time."""

import time
from collections.abc import Callable

from gpiozero import DigitalInputDevice
from gpiozero.pins import Factory

from waaler.bed.wiring import FlowPin, Pull

__all__ = ["FlowMeter"]


class FlowMeter:
    """The line's callback only counts: one that raised would end the library's thread for every pin.

    now_s: a clock that is never set.
    """

    def __init__(self, pin: FlowPin, factory: Factory, now_s: Callable[[], float] = time.monotonic) -> None:
        self._pulses_per_l, self._now_s = pin.pulses_per_l, now_s
        self._pulses = self._pulses_read = 0
        self._read_s = now_s()
        self._device = DigitalInputDevice(pin.gpio, pull_up=pin.pull is Pull.UP, pin_factory=factory)
        self._device.when_activated = self._count

    def _count(self) -> None:
        self._pulses += 1

    def read(self) -> float:
        """Mean flow since the last read, litres a minute; 0 where no time has passed."""
        now_s, pulses = self._now_s(), self._pulses
        seconds, counted = now_s - self._read_s, pulses - self._pulses_read
        self._read_s, self._pulses_read = now_s, pulses
        return 60 * counted / self._pulses_per_l / seconds if seconds > 0 else 0.0
