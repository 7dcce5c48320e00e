"""Float switches on input lines. Closed means all is well, so that a broken wire reads bad."""

from gpiozero import InputDevice
from gpiozero.pins import Factory

from waaler.bed.wiring import FloatPin, Pull
from waaler.guard.messages import Level

__all__ = ["FloatSwitch"]


class FloatSwitch:
    """Read by level; the guard does the debouncing.

    No edge is asked for: a float that bounces at the surface would call back hundreds of times a second.
    """

    def __init__(self, pin: FloatPin, factory: Factory) -> None:
        self._closed_is_good = pin.closed_is_good
        self._device = InputDevice(pin.gpio, pull_up=pin.pull is Pull.UP, pin_factory=factory)

    @property
    def is_closed(self) -> bool:
        """Pulled up, a closed switch reads low, pulled down it reads high: active either way."""
        return bool(self._device.value)

    def read(self) -> Level:
        """GOOD or BAD. Raises whatever the line's driver raises."""
        return Level.GOOD if self.is_closed is self._closed_is_good else Level.BAD
