"""The level of the sump: as measured where records have it, else as the bed's figures expect it.

No gauge is part of an ordinary bed. So the level is kept as a person would on paper: it begins at the full mark,
falls by what the plants drink, rises by each refill that was entered, never above the full mark, and is set to the
low mark whenever the float read low at rest.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from waaler.records.reader import Reader
from waaler.records.rows import AlertRow, DeedRow, SampleRow
from waaler.report.bed import Bed

__all__ = ["Refill", "Sump", "read_sump", "refill_of"]

LOOK_BACK_S = 400 * 86_400.0
DAY_S = 86_400.0
SENSOR = ("sump", "L")


@dataclass(frozen=True, slots=True)
class Refill:
    """litres None: somebody entered a refill without its amount. of: water or solution."""

    at_s: float
    litres: float | None
    of: str

    @property
    def short(self) -> str:
        return "refill" if self.litres is None else f"+{self.litres:.3g} L"

    @property
    def words(self) -> str:
        return f"refill, {self.of}" if self.litres is None else f"{self.litres:.3g} L {self.of}"


@dataclass(frozen=True, slots=True)
class Sump:
    """points: (wall time, litres). is_expected: reckoned rather than measured."""

    points: list[tuple[float, float]]
    refills: list[Refill]
    is_expected: bool

    @property
    def now_l(self) -> float | None:
        return self.points[-1][1] if self.points else None

    @property
    def refilled_l(self) -> float:
        """All that was poured in during the period, amounts that were not entered left out."""
        return sum(refill.litres or 0.0 for refill in self.refills)

    def days_left(self, bed: Bed) -> float | None:
        """Until the low mark at the file's drink."""
        if self.now_l is None or bed.drink_l_per_day <= 0:
            return None
        return max(0.0, (self.now_l - bed.figures.sump_low_l) / bed.drink_l_per_day)


def read_sump(reader: Reader, bed: Bed, since_s: float, until_s: float, samples: Sequence[SampleRow]) -> Sump:
    """The level of a period that ends at until_s or now; samples: the period's, of all sensors."""
    deeds = reader.deeds_of(since_s - LOOK_BACK_S, until_s, "refill", "renewal", "start")
    refills = [refill_of(deed) for deed in deeds if deed.what != "start"]
    within = [refill for refill in refills if refill.at_s >= since_s]
    measured = [(row.at_s, row.mean) for row in samples if (row.name, row.unit) == SENSOR]
    if measured:
        return Sump(measured, within, is_expected=False)
    if not deeds:
        return Sump([], within, is_expected=True)
    lows = reader.alerts_of("sump-low", since_s - LOOK_BACK_S, until_s)
    points = list(_expected(bed, deeds[0].at_s, refills, lows, until_s))
    return Sump(_cut(points, since_s), within, is_expected=True)


def refill_of(deed: DeedRow) -> Refill:
    """A renewal leaves the sump full, whatever its amount."""
    if deed.what == "renewal":
        return Refill(deed.at_s, None, "solution made anew")
    for amount in deed.amounts:
        if amount.unit == "L":
            return Refill(deed.at_s, amount.value, amount.name)
    return Refill(deed.at_s, None, "amount unknown")


def _expected(
    bed: Bed, begin_s: float, refills: Sequence[Refill], lows: Sequence[AlertRow], until_s: float
) -> Iterator[tuple[float, float]]:
    figures = bed.figures
    changes: list[tuple[float, float | None]] = [(refill.at_s, refill.litres) for refill in refills]
    changes += [(low.raised_at_s, 0.0) for low in lows]
    is_low = {low.raised_at_s for low in lows}
    at_s, litres = begin_s, figures.sump_full_l
    yield at_s, litres
    for change_s, added in sorted(changes, key=lambda change: change[0]):
        litres = _drunk(bed, litres, change_s - at_s)
        at_s = change_s
        yield at_s, litres
        if change_s in is_low:
            litres = figures.sump_low_l
        else:
            litres = figures.sump_full_l if added is None else min(figures.sump_full_l, litres + added)
        yield at_s, litres
    yield until_s, _drunk(bed, litres, until_s - at_s)


def _drunk(bed: Bed, litres: float, seconds: float) -> float:
    """Not below where the pump draws air: by then nobody can say."""
    left_l = litres - bed.drink_l_per_day * max(0.0, seconds) / DAY_S
    return max(left_l, min(litres, bed.figures.sump_empty_l))


def _cut(points: list[tuple[float, float]], since_s: float) -> list[tuple[float, float]]:
    """From since_s on, with the level that it had there."""
    later = [point for point in points if point[0] >= since_s]
    before = [point for point in points if point[0] < since_s]
    if not before or not later:
        return later
    (a_s, a_l), (b_s, b_l) = before[-1], later[0]
    share = 0.0 if b_s <= a_s else (since_s - a_s) / (b_s - a_s)
    return [(since_s, a_l + share * (b_l - a_l)), *later]
