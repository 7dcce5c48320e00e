"""What a story has lost of its past, and so what the judge may ask of the history and of a guard that begins."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf

from waaler.core.facts import Fact, RunIntent
from waaler.guard.journal import Found, Health
from waaler.guard.messages import Instant
from waaler.records.rows import RunRow
from waaler.rehearsal.accounts import Diary, judge_runs
from waaler.rehearsal.rules import DAY_S, TWO_DAYS_S, Ran, Violation

__all__ = ["Losses", "Remembered"]

BEFORE_S, TWO_HOURS_S = 3600.0, 7200.0
LOST_S = 600.0
"""A run may be as long as this, and more; what was in progress when both journal and records were torn is lost."""

JUDGED_TO_S = 5400.0
"""Before the end of a story: what is younger may still be on its way into the history."""

DRIFT_SHARE = 1.1


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a guard that begins knows of the time before, in the judge's words.

    fuzz_s: how wrong its clock may be about the time without power. uncounted_s: went by since it last wrote.
    """

    memory: str
    fuzz_s: float
    uncounted_s: float


@dataclass
class Losses:
    """Instants of the world in seconds; of the diary, wall times.

    noted_s, alive_s: when journal and records last wrote that time goes by. stepped_s: when the clock was last set;
    unseen_step_s: by how much without power, when none could see it. untold_s: the first instant of which
    only facts knew that are gone. history_s, unread_s: since when there is a history, and when a start last could
    not read it. has_lost_facts, has_lost_words: on their way to the disk, and from the guard to the keeper. lost:
    stretches that neither journal nor records can tell of.
    """

    diary: Diary
    noted_s: float = 0.0
    alive_s: float = 0.0
    stepped_s: float = -inf
    unseen_step_s: float = 0.0
    failed_s: float = -inf
    history_s: float = -inf
    unread_s: float = -inf
    untold_s: float = inf
    is_read: bool = True
    has_history: bool = False
    has_lost_facts: bool = False
    has_lost_words: bool = False
    lost: list[tuple[float, float]] = field(default_factory=list)

    def clock_set(self, now_s: float, seconds: float, before_wall_s: float) -> None:
        """A step of the wall clock; the records are told at once that the time is another."""
        self.diary.passes(before_wall_s)
        wall_s = before_wall_s + seconds
        self.diary.passes(wall_s) if abs(seconds) < TWO_DAYS_S else self.diary.begins(wall_s)
        self.alive_s, self.stepped_s = -inf, now_s

    def power_fails(self, now_s: float, wall_s: float, booted_s: float, facts: Sequence[Fact]) -> None:
        """facts: that were on their way into the records."""
        self.failed_s, self.has_lost_facts, self.unseen_step_s = now_s, bool(facts), 0.0
        self.diary.passes(wall_s)
        if facts:
            keys = [fact.key for fact in facts if isinstance(fact, RunIntent) and fact.key is not None]
            first_s = min([fact.at.wall_s for fact in facts] + [key.start_s for key in keys])
            self.untold_s = booted_s + min(fact.at.long_s for fact in facts)
            self.diary.loses(min(first_s, wall_s) - BEFORE_S, max(first_s, wall_s))

    def power_is_back(self, wall_s: float, is_sure: bool) -> None:
        """is_sure: the clock, before and after."""
        diary = self.diary
        if is_sure and self.is_read and 0 <= wall_s - diary.passed_s < TWO_DAYS_S:
            diary.passes(wall_s)
            return
        # what was due and waited its turn stood in no row yet
        diary.loses(diary.passed_s - BEFORE_S, diary.passed_s)
        diary.begins(wall_s)

    def starts(self, now_s: float, wall_s: float, is_lost: bool, is_taking: bool) -> None:
        """A start finds the records so. is_lost: they are gone; is_taking: they can be read and written."""
        if is_lost:
            self.history_s, self.has_history = now_s, False
            self.diary.loses(-inf, wall_s)
        self.is_read = not is_lost and is_taking and self.has_history

    def is_read_on(self, now_s: float, is_read: bool) -> None:
        """Whether this start could take up what the records tell."""
        if is_read:
            self.untold_s = inf
        else:
            self.unread_s = now_s

    def remembered(self, found: Found, at: Instant, now_s: float, drift: float) -> Remembered:
        """What the judge may ask of a guard that begins with this."""
        memory = self._memory(found, at)
        if memory in ("parts", "nothing"):
            self.lost.append((min(self.untold_s, self.failed_s) - LOST_S, now_s))
        away_s = TWO_HOURS_S if found.memory is None else abs(at.wall_s - found.at.wall_s)
        if memory == "doubtful":
            away_s = max(away_s, min(TWO_HOURS_S, now_s - self.alive_s))
        drifted_s = DRIFT_SHARE * abs(drift) * (away_s + now_s - self.failed_s)
        return Remembered(memory, drifted_s + self.unseen_step_s, now_s - self.noted_s)

    def _memory(self, found: Found, at: Instant) -> str:
        if found.health is Health.WHOLE:
            return "whole" if at.is_sure and found.at.is_sure else "unsure"
        has_lost = self.has_lost_facts or self.has_lost_words
        if self.is_read and not has_lost and self.stepped_s < self.failed_s - DAY_S:
            return "doubtful"
        return "nothing" if found.memory is None and not self.is_read else "parts"

    def judge(
        self, spans: Sequence[Ran], rows: Sequence[RunRow], end_s: float | None, wall_s: float, wire_s: float
    ) -> list[Violation]:
        """Looks into the history. end_s: of the story, None where it ends without power."""
        outcomes = {row.run_id: None if row.outcome is None else row.outcome.value for row in rows}
        windows = {row.run_id: row.key.window for row in rows if row.key is not None}
        since_s = max(self.history_s, self.unread_s)
        end_s = min(self.failed_s, self.untold_s) if end_s is None else end_s
        wrong = judge_runs(spans, rows, outcomes, since_s, end_s, wire_s, self.lost)
        wrong += self.diary.judge(rows, windows, wall_s - JUDGED_TO_S)
        return wrong + (self.diary.repeated(spans, rows, windows) if self.unread_s == -inf else [])
