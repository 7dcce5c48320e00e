"""The wire between decisions and guard, when a fault makes it lose, delay or double what is said."""

from dataclasses import dataclass, field
from math import inf
from random import Random

from waaler.core.joined import Heard
from waaler.core.messages import ToGuard

__all__ = ["FAULTS", "LATEST_S", "Wire"]

FAULTS = frozenset({"messages-lost", "messages-late", "messages-double"})
LOST_SHARE = 0.2
LATEST_S = 8.0


@dataclass
class Wire:
    """Holds messages until they are due, in the order of their due times."""

    chance: Random
    waiting: list[tuple[float, ToGuard | Heard]] = field(default_factory=list)

    @property
    def next_s(self) -> float:
        return min((due_s for due_s, _ in self.waiting), default=inf)

    def carry(self, message: ToGuard | Heard, now_s: float, present: frozenset[str]) -> None:
        """Takes a message in, once, twice or never, due now or later."""
        if "messages-lost" in present and self.chance.random() < LOST_SHARE:
            return
        for _ in range(2 if "messages-double" in present else 1):
            late_s = self.chance.uniform(0.0, LATEST_S) if "messages-late" in present else 0.0
            self.waiting.append((now_s + late_s, message))

    def due(self, now_s: float) -> list[ToGuard | Heard]:
        """What has arrived by now; it is no longer waiting."""
        arrived = [message for due_s, message in self.waiting if due_s <= now_s]
        self.waiting = [one for one in self.waiting if one[0] > now_s]
        return arrived

    def cut(self) -> None:
        """Power has failed: whatever was under way is gone."""
        self.waiting.clear()
