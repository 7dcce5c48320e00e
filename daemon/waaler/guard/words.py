"""What people read of a trip."""

from waaler.guard.names import Input, Trip

__all__ = ["words"]

WORDS = {
    Trip.LOW_SUMP: "sump low",
    Trip.HIGH_TRAY: "tray too full: is the drain blocked?",
    Trip.NOT_READ: "a protective input cannot be read",
    Trip.OVERRUN: "locked: ran too long",
    Trip.NO_FLOW: "nothing moves",
    Trip.FLOW_WHILE_OFF: "locked: water moves with the pump off",
}


def words(trip: Trip, where: Input | None = None) -> str:
    """What people read of a trip."""
    if trip is Trip.NOT_READ and where is not None:
        return f"{where.value} cannot be read"
    return WORDS[trip]
