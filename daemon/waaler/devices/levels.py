"""The sump's level from several floats at known heights."""

from gpiozero.pins import Factory

from waaler.bed.wiring import FloatPin, LevelFloat
from waaler.devices.floats import FloatSwitch

__all__ = ["FloatLadder"]


class FloatLadder:
    """Each float's switch is closed while water lifts it, so that a broken wire reads as less water."""

    def __init__(self, floats: tuple[LevelFloat, ...], factory: Factory) -> None:
        ordered = sorted(floats, key=lambda one: one.at_l)
        self._marks_l = [one.at_l for one in ordered]
        self._switches = [FloatSwitch(FloatPin(one.gpio, one.pull), factory) for one in ordered]

    def read(self) -> float | None:
        """The volume that is there at least, litres; None where a float hangs below one that is lifted."""
        are_lifted = [switch.is_closed for switch in self._switches]
        count = sum(are_lifted)
        if not all(are_lifted[:count]):
            return None
        return self._marks_l[count - 1] if count else 0.0
