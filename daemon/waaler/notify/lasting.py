"""A thread of the notifier that does one thing again and again, and outlives whatever that raises."""

from abc import ABC, abstractmethod
from threading import Event, Thread

__all__ = ["LastingThread"]


class LastingThread(Thread, ABC):
    """Until `ending` is set."""

    def __init__(self, name: str, ending: Event) -> None:
        super().__init__(name=name, daemon=True)
        self._ending = ending

    @abstractmethod
    def turn(self) -> float:
        """Does it once; seconds until the next time."""

    @abstractmethod
    def failed(self, problem: Exception) -> float:
        """Hears what was raised; seconds until the next try."""

    def run(self) -> None:
        while not self._ending.is_set():
            try:
                wait_s = self.turn()
            except Exception as problem:
                wait_s = self.failed(problem)
            self.rest(wait_s)

    def rest(self, seconds: float) -> None:
        """Until the next time, or the end."""
        self._ending.wait(seconds)
