"""Everything that a report, a page or a chart of a period needs, read in a few questions."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from statistics import median

from waaler.core.facts import Act, Outcome
from waaler.records.reader import Reader, Step
from waaler.records.rows import DeedRow, RunRow, SampleRow, TripRow
from waaler.report.bed import Bed
from waaler.report.charts import Band, Span
from waaler.report.history import History, read_history
from waaler.report.sump import Sump, read_sump

__all__ = ["POTS", "Period", "is_lengthened", "read_period"]

POTS = ("driest_pot", "median_pot", "wettest_pot")
"""Names under which a rehearsal samples the truth of all its pots."""

MOST_POINTS = 240
"""Of a curve: more are not seen on a phone, and make the page heavy."""

FINE_S = 300 * 86_400.0
"""Longer periods are drawn from the days' samples."""


@dataclass(frozen=True, slots=True)
class Period:
    """span: of time; now_s: up to where there is anything to tell. step_s: what lies between two samples."""

    bed: Bed
    span: Span
    now_s: float
    history: History
    trips: list[TripRow]
    samples: list[SampleRow]
    coverage: list[SampleRow]
    step_s: float
    sump: Sump

    @property
    def days(self) -> float:
        return (min(self.now_s, self.span.end_s) - self.span.begin_s) / 86_400

    @property
    def cycles(self) -> dict[Outcome | None, int]:
        """Cycles by how they ended, None for those that have not yet."""
        counts: dict[Outcome | None, int] = {}
        for total in self.history.totals:
            for outcome, count in total.outcomes.items():
                counts[outcome] = counts.get(outcome, 0) + count
        return counts

    @property
    def pump_s(self) -> float:
        return sum(run.actual_s for run in self.history.runs)

    def moisture(self) -> list[Band]:
        """Driest, median and wettest probe; of a single one the least, mean and most that it read.

        Of all pots instead, where a rehearsal knows them.
        """
        return list(_bands(self.moist))

    @property
    def moist(self) -> list[SampleRow]:
        """The samples that `moisture` tells of."""
        moist = [row for row in self.samples if row.unit == "%"]
        return [row for row in moist if row.name in POTS] or moist

    @property
    def knows_pots(self) -> bool:
        """Whether they are of all pots, rather than of probes in some."""
        return any(row.name in POTS for row in self.samples)

    def measured(self, name: str) -> list[tuple[float, float, str]]:
        """What people measured under this name: wall time, value, unit."""
        deeds: list[DeedRow] = [deed for deed in self.history.deeds if deed.what == Act.MEASURE]
        return [(d.at_s, a.value, a.unit) for d in deeds for a in d.amounts if a.name == name]


def read_period(reader: Reader, bed: Bed, since_s: float, until_s: float, now_s: float) -> Period:
    """A period that may reach past now: then its charts stay empty there."""
    end_s = min(until_s, now_s)
    step, seconds = (Step.TEN_MINUTES, 600) if until_s - since_s < FINE_S else (Step.DAY, 86_400)
    bundle = max(1, ceil((until_s - since_s) / seconds / MOST_POINTS))
    samples = reader.samples(since_s, until_s, step, bundle)
    return Period(
        bed=bed,
        span=Span(since_s, until_s, bed.zone),
        now_s=now_s,
        history=read_history(reader, since_s, until_s, bed.zone),
        trips=reader.trips(since_s, until_s),
        samples=samples,
        coverage=reader.coverage(since_s, until_s, step),
        step_s=float(bundle * seconds),
        sump=read_sump(reader, bed, since_s, end_s, samples),
    )


def is_lengthened(run: RunRow) -> bool:
    """Whether it was decided, before its start, to give more than the plan has."""
    return 0 < run.planned_s < run.asked_s - 0.5


def _bands(rows: Sequence[SampleRow]) -> Iterator[Band]:
    moments: dict[float, list[SampleRow]] = {}
    for row in rows:
        moments.setdefault(row.at_s, []).append(row)
    is_single = len({row.name for row in rows}) == 1
    for at_s, here in moments.items():
        if is_single:
            yield Band(at_s, here[0].least, here[0].mean, here[0].most)
        else:
            means = [row.mean for row in here]
            yield Band(at_s, min(means), median(means), max(means))
