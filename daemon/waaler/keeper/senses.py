"""The slow sensors: reads the advisers in a thread of its own, so that a hanging bus delays nobody."""

from collections.abc import Callable, Mapping
from threading import Event, Thread

from waaler.guard.messages import Instant
from waaler.keeper.clock import Clock
from waaler.plan.sensing import Reading

__all__ = ["Minute", "Senses"]

READ_EVERY_S = 10.0


class Minute:
    """Mean, least and most of one sensor's readings within a minute."""

    def __init__(self, wall_s: float) -> None:
        self.minute_s = wall_s - wall_s % 60
        self.values: list[float] = []


class Senses(Thread):
    """tell: takes each reading. keep: takes (name, minute's wall time, mean, least, most) once a minute."""

    def __init__(
        self,
        advisers: Mapping[str, Callable[[], float | None]],
        clock: Clock,
        tell: Callable[[Instant, Reading], object],
        keep: Callable[[str, float, float, float, float], object],
    ) -> None:
        super().__init__(name="senses", daemon=True)
        self._advisers, self._clock, self._tell, self._keep = advisers, clock, tell, keep
        self._minutes: dict[str, Minute] = {}
        self._stop_event = Event()

    def run(self) -> None:
        while True:
            for name, read in self._advisers.items():
                self._read(name, read)
            if self._stop_event.wait(READ_EVERY_S):
                return

    def stop(self) -> None:
        self._stop_event.set()

    def _read(self, name: str, read: Callable[[], float | None]) -> None:
        try:
            value = read()
        except Exception:
            value = None
        at = self._clock.now()
        self._tell(at, Reading(name, value))
        if value is not None:
            self._gather(name, at.wall_s, value)

    def _gather(self, name: str, wall_s: float, value: float) -> None:
        minute = self._minutes.get(name)
        if minute is None or not minute.minute_s <= wall_s < minute.minute_s + 60:
            if minute is not None:
                mean = sum(minute.values) / len(minute.values)
                self._keep(name, minute.minute_s, mean, min(minute.values), max(minute.values))
            minute = self._minutes[name] = Minute(wall_s)
        minute.values.append(value)
