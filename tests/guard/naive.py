"""A guard written as naively as can be, second by second, from the safety table alone. It imports nothing of the guard.

Slow and simple: every age is a counter that goes up by one each second.
"""

from dataclasses import dataclass, field

__all__ = ["CONFIRM", "DAY", "LONGEST", "MOST", "REST", "SETTLE", "STALE", "START_DELAY", "NaiveGuard"]

LONGEST, REST, SETTLE, START_DELAY = 30, 20, 25, 8
CONFIRM, STALE = 3, 10
MOST, DAY = 90, 200


@dataclass
class Wire:
    """One float as it was read. None: not read any more, for `silent` seconds."""

    shows: str | None = None
    silent: int = 0
    good_for: int | None = None
    bad_for: int | None = None
    bad_reads: int = 0
    steady_good: int = 0
    needs: int | None = START_DELAY

    def read(self, level: str) -> None:
        if level == "good" and self.good_for is None:
            self.good_for, self.steady_good = 0, 0
        if level != "good":
            self.good_for = None
        if level == "bad":
            self.bad_for = 0 if self.bad_for is None else self.bad_for
            self.bad_reads += 1
        self.shows, self.silent = level, 0

    def second(self) -> None:
        self.silent += 1
        if self.good_for is not None:
            self.good_for += 1
        if self.bad_for is not None:
            self.bad_for += 1

    def settle(self) -> bool:
        """Whether it acts now; and whether it is trusted again."""
        if self.good_for is not None and self.good_for >= CONFIRM:
            self.bad_for, self.bad_reads = None, 0
        is_lost = self.shows == "not read" or self.silent >= STALE
        is_bad = self.shows == "bad" and self.bad_for is not None and self.bad_for >= CONFIRM and self.bad_reads > 1
        if is_lost or is_bad:
            self.needs, self.good_for = SETTLE, None
            return True
        if self.needs is not None and self.good_for is not None and self.good_for >= self.needs:
            self.needs = None
        return False

    def allows(self) -> bool:
        return self.shows == "good" and self.silent < STALE and self.needs is None and self.bad_for is None


@dataclass
class NaiveGuard:
    """on_for None: off. off_for: seconds since the last stop. day: whether the relay was on, for each second."""

    sump: Wire = field(default_factory=Wire)
    tray: Wire = field(default_factory=Wire)
    on_for: int | None = None
    length: int = 0
    off_for: int = 0
    longest: int = LONGEST
    day: list[bool] = field(default_factory=list)

    def second(self) -> None:
        self.day = [*self.day, self.on_for is not None][-DAY:]
        self.off_for += 1
        if self.on_for is not None:
            self.on_for += 1
        for wire in (self.sump, self.tray):
            wire.second()
        self.settle()

    def settle(self) -> None:
        acts = [wire.settle() for wire in (self.sump, self.tray)]
        if self.on_for is not None and (any(acts) or self.on_for >= self.length):
            self.stop()

    def read(self, name: str, level: str) -> None:
        getattr(self, name).read(level)
        self.settle()

    def ask(self, seconds: int) -> bool:
        length = min(seconds, self.longest)
        may = (
            self.on_for is None
            and seconds > 0
            and self.off_for >= REST
            and self.sump.allows()
            and self.tray.allows()
            and sum(self.day) + length <= MOST
        )
        if may:
            self.on_for, self.length = 0, length
        return may

    def take_longest(self, seconds: int) -> None:
        """A new longest run: shorter holds at once, longer from the next run."""
        self.longest = seconds
        if self.on_for is not None:
            self.length = min(self.length, seconds)
        self.settle()

    def stop(self) -> None:
        if self.on_for is not None:
            self.on_for, self.off_for = None, 0
