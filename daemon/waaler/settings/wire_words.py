"""What each wire of a bed is, in words: for the picture of the header and the diagrams."""

from collections.abc import Iterator
from dataclasses import dataclass

from waaler.bed.header import GROUNDS, SUPPLIES_3_3_V, nearest, position_of
from waaler.settings.models import BedFile
from waaler.settings.pinning import bus_lines, uses

__all__ = ["Wire", "wires"]

MEANING = {
    "relay": "relay board's input, energised by {level}",
    "cutoff_relay": "second relay's input, energised by {level}",
    "sump_low": "float, closed while water lifts it",
    "tray_high": "float, closed while it hangs dry",
    "tray_wet": "contact, closed when the tray is wet",
    "flow_meter": "flow meter's pulses",
    "sump_float": "float in the sump, closed while water lifts it",
    "status_light": "status light, on by {level}",
    "buzzer": "buzzer, on by {level}",
    "button": "push-button, closed while pressed",
    "supply_sensed": "isolated contact, closed while the pump is live",
}


@dataclass(frozen=True, slots=True)
class Wire:
    """One line of the header. name: the key of the file, or the bus. back: the position of its other end's wire.

    is_bus: a line of the converter or the thermometers, whose chips have wires of their own (back None).
    """

    gpio: int
    name: str
    words: str
    back: int | None = None
    is_bus: bool = False

    @property
    def position(self) -> int:
        return position_of(self.gpio)


def wires(file: BedFile) -> tuple[Wire, ...]:
    """Every line that the file uses, those of its buses included, by position."""
    found = [*_own(file), *(Wire(gpio, "bus", words, is_bus=True) for gpio, words in bus_lines(file).items())]
    return tuple(sorted(found, key=lambda wire: wire.position))


def _own(file: BedFile) -> Iterator[Wire]:
    """Each with a ground of its own as long as there are any: two wires fit badly on one pin."""
    left = list(GROUNDS)
    for use in uses(file):
        section = getattr(file.pins, use.name, None)
        level = getattr(section, "energised_by", "") or getattr(section, "on_by", "")
        words = MEANING[use.name.split()[0]].format(level=level)
        if getattr(section, "closed", "good") == "bad":
            words = "float, closed when all is NOT well"
        back = _back(position_of(use.gpio), use.pull, left or list(GROUNDS))
        if back in left:
            left.remove(back)
        yield Wire(use.gpio, use.name, words, back)


def _back(position: int, pull: str | None, grounds: list[int]) -> int:
    """What is pulled down is switched to 3.3 V; all else goes to ground."""
    if pull == "down":
        return min(SUPPLIES_3_3_V, key=lambda supply: abs(supply - position))
    return nearest(position, grounds)
