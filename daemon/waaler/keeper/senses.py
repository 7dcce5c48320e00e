"""The slow sensors: reads the advisers in a thread of its own, so that a hanging bus delays nobody."""

from collections.abc import Callable, Mapping

from waaler.guard.messages import Instant
from waaler.keeper.clock import Clock
from waaler.keeper.lasting import Died, LastingThread
from waaler.plan.sensing import Reading
from waaler.records.store import Sample

__all__ = ["Senses"]

READ_EVERY_S = 10.0


class _Minute:
    """One sensor's readings within a minute."""

    def __init__(self, wall_s: float) -> None:
        self.minute_s = wall_s - wall_s % 60
        self.values: list[float] = []


class Senses(LastingThread):
    """tell: takes each reading. keep: takes each minute's sample. units: of each adviser, as people read them."""

    def __init__(
        self,
        advisers: Mapping[str, Callable[[], float | None]],
        clock: Clock,
        tell: Callable[[Instant, Reading], object],
        keep: Callable[[Sample], object],
        units: Mapping[str, str],
        died: Died,
    ) -> None:
        super().__init__("senses", died)
        self._advisers, self._clock, self._tell, self._keep = advisers, clock, tell, keep
        self._units = units
        self._minutes: dict[str, _Minute] = {}

    def work(self) -> None:
        while True:
            for name, read in self._advisers.items():
                self._read(name, read)
            if self._ending.wait(READ_EVERY_S):
                return

    def stop(self) -> None:
        self._ending.set()

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
                unit = self._units.get(name, "1")
                self._keep(Sample(name, unit, minute.minute_s, mean, min(minute.values), max(minute.values)))
            minute = self._minutes[name] = _Minute(wall_s)
        minute.values.append(value)
