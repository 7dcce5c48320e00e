"""A thread that is begun again when it raises: what it does matters, but not to the pump."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from threading import Event, Thread

__all__ = ["Died", "LastingThread"]

AGAIN_AFTER_S = 1.0

Died = Callable[[str, Exception], object]


class LastingThread(Thread, ABC):
    """Does `work` until that returns; begins it again after an exception, which `died` hears of with the name."""

    def __init__(self, name: str, died: Died) -> None:
        super().__init__(name=name, daemon=True)
        self._died = died
        self._ending = Event()

    @abstractmethod
    def work(self) -> None:
        """What the thread does; returns when it was told to end."""

    def run(self) -> None:
        while not self._ending.is_set():
            try:
                self.work()
                return
            except Exception as problem:
                self._died(self.name, problem)
                self._ending.wait(AGAIN_AFTER_S)
