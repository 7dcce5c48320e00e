"""What a way to a person must do, and what can come of it."""

from typing import Protocol

from waaler.core.facts import Severity
from waaler.notify.note import Note

__all__ = ["WAIT_S", "Channel", "NotNow", "NotThis"]

WAIT_S = 10.0
"""For a server that is silent. Each channel has a thread of its own, so that it holds up nobody else."""


class NotNow(Exception):
    """It could not be delivered and may be later. The reason says nothing secret."""


class NotThis(Exception):
    """This message will never be taken; it is parked with the reason."""


class Channel(Protocol):
    """name: short and fixed, for the log and its place in the queue. least: nothing less severe goes this way."""

    name: str
    least: Severity

    def send(self, note: Note) -> None:
        """Delivers it. Raises NotNow and NotThis."""
