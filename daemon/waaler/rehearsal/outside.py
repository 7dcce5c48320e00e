"""Who keeps what a rehearsal writes, and who hears what truly happened."""

from collections.abc import Sequence
from typing import Protocol

from waaler.core.facts import Fact
from waaler.core.memory import Memory
from waaler.guard.journal import Found
from waaler.guard.messages import Instant

__all__ = ["Keeping"]


class Keeping(Protocol):
    """Takes the facts as they come, and gives back at a boot what it knows."""

    def keep(self, facts: Sequence[Fact]) -> None: ...

    def sample(self, name: str, unit: str, wall_s: float, value: float) -> None: ...

    def memory(self, boot: str, at: Instant, found: Found) -> Memory:
        """found: the guard's journal."""

    def lose(self) -> None:
        """Everything kept so far is gone."""
