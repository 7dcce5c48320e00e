"""The slow sensors: reads the advisers in a thread of its own, so that a hanging bus delays nobody."""

from collections.abc import Callable, Mapping
from queue import Empty, SimpleQueue
from time import monotonic

from waaler.devices.clock import Clock
from waaler.guard.messages import Instant
from waaler.keeper.lasting import Died, LastingThread
from waaler.plan.sensing import Reading
from waaler.records.store import Sample

__all__ = ["Senses"]

READ_EVERY_S = 10.0
ANSWER_WAIT_S = 1.5


class _Minute:
    """One sensor's readings within a minute."""

    def __init__(self, wall_s: float) -> None:
        self.minute_s = wall_s - wall_s % 60
        self.values: list[float] = []


class Senses(LastingThread):
    """tell: takes each reading. counts: of sensors on a converter, for who calibrates them.

    keep: takes each minute's sample. units: of each adviser, as people read them."""

    def __init__(
        self,
        advisers: Mapping[str, Callable[[], float | None]],
        clock: Clock,
        tell: Callable[[Instant, Reading], object],
        keep: Callable[[Sample], object],
        units: Mapping[str, str],
        died: Died,
        counts: Mapping[str, Callable[[], float | None]] | None = None,
    ) -> None:
        super().__init__("senses", died)
        self._counts = counts or {}
        self._asked: SimpleQueue[tuple[str, SimpleQueue[float | None]] | None] = SimpleQueue()
        self._advisers, self._clock, self._tell, self._keep = advisers, clock, tell, keep
        self._units = units
        self._minutes: dict[str, _Minute] = {}

    def work(self) -> None:
        while True:
            for name, read in self._advisers.items():
                self._read(name, read)
            if self._ending.is_set() or not self._answer_until(monotonic() + READ_EVERY_S):
                return

    def stop(self) -> None:
        self._ending.set()
        self._asked.put(None)

    def counts(self, name: str) -> float | None:
        """From any thread: a converter's counts for this sensor now, read in this thread; None if there are none.

        Raises: KeyError for a sensor that is on no converter.
        """
        if name not in self._counts:
            raise KeyError(name)
        answer: SimpleQueue[float | None] = SimpleQueue()
        self._asked.put((name, answer))
        try:
            return answer.get(timeout=ANSWER_WAIT_S)
        except Empty:
            return None

    def _answer_until(self, end_s: float) -> bool:
        """Serves who asks for counts; False once told to end."""
        while (left_s := end_s - monotonic()) > 0:
            try:
                asked = self._asked.get(timeout=left_s)
            except Empty:
                return True
            if asked is None:
                return False
            name, answer = asked
            answer.put(self._counts[name]())
        return True

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
