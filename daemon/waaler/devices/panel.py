"""The bed's own panel: a status light, a buzzer and a push-button, each of them if it is fitted."""

from dataclasses import dataclass
from enum import StrEnum

from gpiozero import DigitalOutputDevice, InputDevice
from gpiozero.pins import Factory

from waaler.bed.wiring import OutputPin, Pull, Wiring

__all__ = ["Panel", "Press", "PressWatch"]

DEBOUNCE_S = 0.1
WATER_AFTER_S, CLEAR_AFTER_S = 3.0, 10.0


class Press(StrEnum):
    SHORT = "short"
    HELD_3_S = "held 3 s"
    HELD_10_S = "held 10 s"


@dataclass(slots=True)
class PressWatch:
    """Tells presses from a contact that is read again and again. Pressed while it begins, it waits to be let go."""

    since_s: float | None = None
    is_spent: bool = True

    def see(self, is_pressed: bool, now_s: float) -> Press | None:
        """A press when it is over, or as soon as it has been held for 10 s."""
        if not is_pressed:
            return self._let_go(now_s)
        if self.since_s is None:
            self.since_s = now_s
        if not self.is_spent and now_s >= self.since_s + CLEAR_AFTER_S:
            self.is_spent = True
            return Press.HELD_10_S
        return None

    def _let_go(self, now_s: float) -> Press | None:
        since_s, was_spent = self.since_s, self.is_spent
        self.since_s, self.is_spent = None, False
        if since_s is None or was_spent or now_s < since_s + DEBOUNCE_S:
            return None
        return Press.HELD_3_S if now_s >= since_s + WATER_AFTER_S else Press.SHORT


class Panel:
    """What is not fitted is passed over; the button is then never pressed."""

    def __init__(self, wiring: Wiring, factory: Factory) -> None:
        self._light = _output(wiring.status_light, factory)
        self._buzzer = _output(wiring.buzzer, factory)
        pin = wiring.button
        self._button = (
            None if pin is None else InputDevice(pin.gpio, pull_up=pin.pull is Pull.UP, pin_factory=factory)
        )

    @property
    def is_pressed(self) -> bool:
        return self._button is not None and bool(self._button.value)

    def show(self, is_lit: bool, is_loud: bool) -> None:
        """Light and buzzer, from now on."""
        for device, is_on in ((self._light, is_lit), (self._buzzer, is_loud)):
            if device is not None:
                device.value = is_on


def _output(pin: OutputPin | None, factory: Factory) -> DigitalOutputDevice | None:
    if pin is None:
        return None
    return DigitalOutputDevice(pin.gpio, active_high=pin.on_is_high, initial_value=False, pin_factory=factory)
