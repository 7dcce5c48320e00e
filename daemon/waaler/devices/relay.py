"""The pump's relay on one output line, either polarity; or two in series."""

from gpiozero import DigitalOutputDevice
from gpiozero.pins import Factory

from waaler.bed.wiring import RelayPin
from waaler.guard.messages import Contact

__all__ = ["PumpRelay", "RelayPair"]


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

    def alone(self, contact: Contact) -> None:  # noqa: ARG002
        """Without a partner nothing may be energised alone."""
        self.off()

    @property
    def is_on(self) -> bool:
        """What the line itself reads, not what was last asked for."""
        return bool(self._device.value)

    def close(self) -> None:
        if not self._device.closed:
            self._device.off()
            self._device.close()


class RelayPair:
    """The pump's relay and a cut-off relay in series with it: energised before it, released after it."""

    def __init__(self, main: PumpRelay, cutoff: PumpRelay) -> None:
        self._main, self._cutoff = main, cutoff

    def on(self) -> None:
        self._cutoff.on()
        self._main.on()

    def off(self) -> None:
        """Both, even if the first one's line fails."""
        try:
            self._main.off()
        finally:
            self._cutoff.off()

    def alone(self, contact: Contact) -> None:
        """This one energised, its partner released first."""
        self.off()
        (self._main if contact is Contact.MAIN else self._cutoff).on()

    @property
    def is_on(self) -> bool:
        """Whether either line reads on."""
        return self._main.is_on or self._cutoff.is_on

    def close(self) -> None:
        try:
            self._main.close()
        finally:
            self._cutoff.close()
