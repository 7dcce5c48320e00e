"""What people do to the simulated bed with their hands, and what is wrong with its wiring."""

from dataclasses import dataclass, field

from waaler.guard.messages import Input

__all__ = ["MISHAPS", "Hands", "with_mishap"]

MISHAPS = {
    "swapped-floats": "each float's wire sits on the other's pin",
    "inverted-sump": "the sump's float is mounted upside down",
    "inverted-tray": "the tray's float is mounted upside down",
    "broken-sump": "the sump's float has a broken wire",
    "broken-tray": "the tray's float has a broken wire",
    "chattering-sump": "the sump's float bounces without end",
}
"""What may be wrong, by name."""


@dataclass(slots=True)
class Hands:
    """held: floats held up (True) or down. broken: floats whose wire is off. chattering: floats that bounce.

    probes: probes held at a moisture, percent. is_tray_wetted: the contact in the tray held in water.
    drain_open: the share of the drain that is free.
    """

    held: dict[Input, bool] = field(default_factory=dict)
    broken: set[Input] = field(default_factory=set)
    inverted: set[Input] = field(default_factory=set)
    chattering: set[Input] = field(default_factory=set)
    are_swapped: bool = False
    is_tray_wetted: bool = False
    is_pump_plugged: bool = True
    is_button_pressed: bool = False
    drain_open: float = 1.0
    probes: dict[str, float] = field(default_factory=dict)

    def is_lifted(self, name: Input, by_water: bool) -> bool:
        """Whether the float's switch stands as if lifted."""
        return self.held.get(name, by_water) is not (name in self.inverted)


def with_mishap(name: str) -> Hands:
    """Raises KeyError for a mishap that is not known."""
    where = {"sump": Input.SUMP_LOW, "tray": Input.TRAY_HIGH}
    what, _, part = name.partition("-")
    if name not in MISHAPS:
        raise KeyError(name)
    if what == "swapped":
        return Hands(are_swapped=True)
    which = {where[part]}
    return Hands(
        inverted=which if what == "inverted" else set(),
        broken=which if what == "broken" else set(),
        chattering=which if what == "chattering" else set(),
    )
