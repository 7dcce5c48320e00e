"""The pump's relay on one output line, either polarity."""

from gpiozero import DigitalOutputDevice
from gpiozero.pins import Factory

from waaler.bed.wiring import RelayPin

__all__ = ["PumpRelay"]


class PumpRelay:
    """Off when made, off before its line is given back: a line that was given back floats."""

    def __init__(self, pin: RelayPin, factory: Factory) -> None:
        self._device = DigitalOutputDevice(
            pin.gpio, active_high=pin.energised_by_high, initial_value=False, pin_factory=factory
        )

    def on(self) -> None:
        self._device.on()

    def off(self) -> None:
        self._device.off()

    @property
    def is_on(self) -> bool:
        """What the line itself reads, not what was last asked for."""
        return bool(self._device.value)

    def close(self) -> None:
        if not self._device.closed:
            self._device.off()
            self._device.close()
