"""The mains of a rehearsal: there, cut, or coming and going."""

from dataclasses import dataclass
from math import inf

__all__ = ["Mains"]

ON_S = 180.0
OFF_S = 60.0


@dataclass
class Mains:
    """next_s: when it changes next by itself, inf while it does not."""

    is_up: bool = True
    next_s: float = inf

    def look(self, now_s: float, present: frozenset[str]) -> bool:
        """Whether there is power now. A mains that comes and goes does so whatever else cuts it."""
        if "power-flaps" not in present:
            self.is_up, self.next_s = True, inf
        elif self.next_s == inf or now_s >= self.next_s:
            self.is_up = not self.is_up
            self.next_s = now_s + (ON_S if self.is_up else OFF_S)
        return self.is_up and "power-cut" not in present
