"""What a trial's records do with facts: take them at once, after a while, or not."""

from dataclasses import dataclass, field
from math import inf
from random import Random

from waaler.core.facts import Fact, RunIntent
from waaler.core.messages import Recorded

__all__ = ["Disk"]

SLOWEST_S = 30.0
FAILING_SHARE = 0.2


@dataclass
class Disk:
    """One writer: while it writes, what comes waits. done_s: when the write in progress ends.

    kept: facts that are on disk now and were not handed on yet.
    """

    chance: Random
    waiting: list[Fact] = field(default_factory=list)
    writing: list[Fact] = field(default_factory=list)
    kept: list[Fact] = field(default_factory=list)
    done_s: float = inf
    untold: list[int] = field(default_factory=list)

    @property
    def unkept(self) -> list[Fact]:
        return self.writing + self.waiting

    def put(self, facts: list[Fact]) -> None:
        self.waiting += facts
        self.untold += [fact.run_id for fact in facts if isinstance(fact, RunIntent)]

    def look(self, now_s: float, is_taking: bool, is_slow: bool) -> list[Recorded]:
        """Begins and ends writes; what is to be said of intents now."""
        if self.writing and now_s >= self.done_s:
            return self._end(is_taking and not self._fails)
        if self.writing or not self.waiting:
            return []
        if is_taking and is_slow:
            self.writing, self.waiting = self.waiting, []
            self.done_s = now_s + self.chance.uniform(0.0, SLOWEST_S)
            self._fails = self.chance.random() < FAILING_SHARE
            return []
        if not is_taking:
            return self._say(False)
        self.writing, self.waiting = self.waiting, []
        return self._end(True)

    _fails: bool = False

    def _end(self, is_kept: bool) -> list[Recorded]:
        self.done_s = inf
        if is_kept:
            self.kept += self.writing
        else:
            self.waiting = self.writing + self.waiting
        written = {fact.run_id for fact in self.writing if isinstance(fact, RunIntent)}
        self.writing = []
        said = [Recorded(run_id, is_kept) for run_id in self.untold if run_id in written]
        self.untold = [run_id for run_id in self.untold if run_id not in written]
        return said

    def _say(self, is_kept: bool) -> list[Recorded]:
        said, self.untold = [Recorded(run_id, is_kept) for run_id in self.untold], []
        return said

    def take(self) -> list[Fact]:
        kept, self.kept = self.kept, []
        return kept

    def cut(self) -> list[Fact]:
        """Power has failed: what was not on disk is gone; that."""
        lost = self.unkept
        self.waiting, self.writing, self.untold, self.done_s = [], [], [], inf
        return lost
