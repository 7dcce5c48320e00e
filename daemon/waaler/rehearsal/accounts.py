"""Holds the history to the truth: every second of the relay, every planned cycle. It knows no guard, no planner."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import inf
from typing import Protocol

from waaler.rehearsal.naive import Planned, Timetable
from waaler.rehearsal.rules import TWO_DAYS_S, Ran, Violation

__all__ = ["Diary", "Row", "judge_runs"]

EXACT_S = 0.2
LATEST_S = 1800.0
"""What is younger than this at the end of a story may still be on its way into the history."""

BEFORE_S = 3600.0
"""A cycle may wait this long before a row tells of it."""


class Row(Protocol):
    """Of the history: a run, or what became of a cycle."""

    @property
    def run_id(self) -> int: ...
    @property
    def actual_s(self) -> float: ...
    @property
    def pulse(self) -> int: ...
    @property
    def planned_at_s(self) -> float | None: ...
    @property
    def decided_at_s(self) -> float: ...


def judge_runs(
    spans: Sequence[Ran],
    rows: Sequence[Row],
    outcomes: dict[int, str | None],
    since_s: float,
    end_s: float,
    late_s: float = 0.0,
    lost: Sequence[tuple[float, float]] = (),
) -> list[Violation]:
    """Run by run, second by second. since_s: what was before it no history can tell; end_s: of the story;
    late_s: of the wire; lost: stretches that neither journal nor records can tell of.

    An interrupted run that nobody saw end counts to its deadline; any other as the relay was on.
    """
    known = {row.run_id: row for row in rows}
    wrong, true = [], set()
    for span in spans:
        true.add(span.run_id)
        is_lost = any(a <= span.on_s <= b for a, b in lost)
        if is_lost or span.on_s > end_s - LATEST_S or span.on_s < since_s:
            continue
        row = known.get(span.run_id)
        if row is None:
            wrong.append(Violation(span.off_s, f"S16: run {span.run_id} is not in the history"))
            continue
        outcome = outcomes[span.run_id]
        if outcome is None:
            wrong.append(Violation(span.off_s, f"S16: run {span.run_id} has no end in the history"))
        least_s, most_s = _counted_s(span, outcome == "interrupted", late_s)
        if outcome is not None and not least_s - EXACT_S <= row.actual_s <= most_s + EXACT_S:
            told = f"was on for {least_s:.1f} s, {row.actual_s:.1f} s in the history"
            wrong.append(Violation(span.off_s, f"S16: run {span.run_id} {told}"))
    ran = [row for row in rows if row.actual_s > 0 and outcomes[row.run_id] != "interrupted"]
    never = [row for row in ran if row.run_id not in true]
    wrong += [Violation(end_s, f"S16: run {row.run_id} of the history never was") for row in never]
    known_since_s = max([since_s, *(b for _, b in lost)])
    settled = [span.run_id for span in spans if span.on_s >= known_since_s and span.off_s <= end_s - LATEST_S]
    endless = [n for n in _between(settled) & known.keys() - true if outcomes[n] is None]
    return wrong + [Violation(end_s, f"S16: run {n}, never granted, has no end in the history") for n in endless]


def _counted_s(span: Ran, is_interrupted: bool, late_s: float) -> tuple[float, float]:
    """What the history may have, at the least and at the most.

    Where power failed while the guard stood still a run may have gone on past the deadline that it counts to.
    """
    on_s, meant_s = span.off_s - span.on_s, span.until_s - span.on_s
    if not is_interrupted:
        return on_s - span.test_s, on_s
    return min(on_s, meant_s) - span.test_s, max(on_s, meant_s) + late_s


def _between(numbers: Sequence[int]) -> set[int]:
    return set(range(min(numbers), max(numbers))) if numbers else set()


@dataclass
class Diary:
    """Which cycles the bed's own clock has passed, by which plan. Wall times.

    required: each must have a row; so must what edits have taken away. excused: stretches of which no row can be
    asked for. former: plans before the one in force.
    """

    timetable: Timetable
    passed_s: float
    former: list[Timetable] = field(default_factory=list)
    required: list[Planned] = field(default_factory=list)
    excused: list[tuple[float, float]] = field(default_factory=list)
    taken: list[Planned] = field(default_factory=list)

    def passes(self, wall_s: float) -> None:
        """The clock has come to here; whoever was away since less than two days must tell of what was between."""
        if self.passed_s < wall_s <= self.passed_s + TWO_DAYS_S:
            self.required += self.timetable.between(self.passed_s, wall_s)
        if wall_s > self.passed_s:
            self.passed_s = wall_s

    def begins(self, wall_s: float) -> None:
        """Nothing is known of the time before."""
        self.excused.append((min(self.passed_s, wall_s) - 1.0, wall_s + 1.0))
        self.passed_s = wall_s

    def loses(self, since_s: float, until_s: float) -> None:
        """Rows of this stretch are gone, and nobody knows which edits they told of."""
        self.excused.append((since_s, until_s))
        self.taken.clear()

    def edit(self, wall_s: float, timetable: Timetable, end_of_day_s: float) -> None:
        """A new plan; what it takes away of today must be told of."""
        self.passes(wall_s)
        self.excused.append((wall_s, wall_s))
        after = timetable.between(wall_s, end_of_day_s)
        self.taken += [p for p in self.timetable.between(wall_s, end_of_day_s) if not _has(p, after)]
        self.former.append(self.timetable)
        self.timetable = timetable

    def judge(self, rows: Sequence[Row], windows: dict[int, str], until_s: float) -> list[Violation]:
        """windows: by run id, of rows that belong to a cycle. until_s: later ones may still be on their way."""
        told: dict[str, list[float]] = defaultdict(list)
        for row in rows:
            if row.run_id in windows and row.planned_at_s is not None:
                told[windows[row.run_id]].append(row.planned_at_s)
        for times in told.values():
            times.sort()
        wrong = []
        for planned in sorted({*self.required, *self.taken}):
            near_s = planned.tolerance_s
            if planned.at_s > until_s or any(a - near_s <= planned.at_s <= b + near_s for a, b in self.excused):
                continue
            if not _is_near(planned, told[planned.window]):
                what = f"S16: the cycle of {planned.window} planned for {planned.at_s:.0f} has vanished"
                wrong.append(Violation(planned.at_s, what))
        return wrong

    def repeated(self, spans: Iterable[Ran], rows: Sequence[Row], windows: dict[int, str]) -> list[Violation]:
        """S9: a cycle comes twice only once the longest gap of a plan has passed in truth.

        The gap counts from when the cycle came due; it may have waited its turn since then.
        """
        on_s = {span.run_id: span.on_s for span in spans}
        last: dict[tuple[str, float], float] = {}
        wrong = []
        for row in sorted(rows, key=lambda row: row.run_id):
            if row.run_id not in windows or row.planned_at_s is None or row.pulse != 1:
                continue
            if row.run_id not in on_s or row.actual_s <= 0:  # where all was lost, a number may come again
                continue
            key, began_s = (windows[row.run_id], row.planned_at_s), on_s[row.run_id]
            gap_s = min(table.gap_s(row.decided_at_s) for table in (*self.former, self.timetable))
            if began_s < last.get(key, -inf) + gap_s - EXACT_S:
                wrong.append(Violation(began_s, f"S9: the cycle of {key[0]} for {key[1]:.0f} ran twice"))
            last[key] = began_s - max(0.0, row.decided_at_s - row.planned_at_s)
        return wrong


def _has(planned: Planned, others: list[Planned]) -> bool:
    return any(p.window == planned.window and abs(p.at_s - planned.at_s) <= planned.tolerance_s for p in others)


def _is_near(planned: Planned, times: list[float]) -> bool:
    place = bisect_left(times, planned.at_s - planned.tolerance_s)
    return place < len(times) and times[place] <= planned.at_s + planned.tolerance_s
