"""The level of the sump over a period: as a gauge measured it, else as the ledger has it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from waaler.bed.ledger import Outlook, advanced, course, outlook
from waaler.core.facts import Act
from waaler.records.reader import Reader
from waaler.records.rows import DeedRow, SampleRow, SumpRow
from waaler.report.bed import Bed

__all__ = ["Refill", "Sump", "read_sump", "refill_of"]

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
    """points: (wall time, litres). is_expected: reckoned rather than measured. outlook: at the end, None where
    nothing is known.
    """

    points: list[tuple[float, float]]
    refills: list[Refill]
    is_expected: bool
    outlook: Outlook | None = None
    days_left: float | None = None

    @property
    def now_l(self) -> float | None:
        """At rest."""
        return None if self.outlook is None else self.outlook.entry.litres

    @property
    def refilled_l(self) -> float:
        """All that was poured in during the period, amounts that were not entered left out."""
        return sum(refill.litres or 0.0 for refill in self.refills)


def read_sump(reader: Reader, bed: Bed, since_s: float, until_s: float, samples: Sequence[SampleRow]) -> Sump:
    """The level of a period that ends at until_s or now; samples: the period's, of all sensors."""
    refills = [refill_of(deed) for deed in reader.deeds_of(since_s, until_s, Act.REFILL, Act.RENEWAL)]
    entries = reader.sump_entries(since_s, until_s)
    measured = [(row.at_s, row.mean) for row in samples if (row.name, row.unit) == SENSOR]
    if not entries:
        return Sump(measured, refills, is_expected=not measured)
    now = bed.local(until_s)
    last = entries[-1]
    found = outlook(bed.book, advanced(bed.book, last.entry, bed.local(last.at_s), now), now)
    points = measured or list(_reckoned(bed, entries, since_s, until_s))
    return Sump(points, refills, not measured, found, found.days_left(now))


def refill_of(deed: DeedRow) -> Refill:
    """A renewal leaves the sump full, whatever its amount."""
    if deed.what == "renewal":
        return Refill(deed.at_s, None, "solution made anew")
    for amount in deed.amounts:
        if amount.unit == "L":
            return Refill(deed.at_s, amount.value, amount.name)
    return Refill(deed.at_s, None, "amount unknown")


def _reckoned(
    bed: Bed, entries: Sequence[SumpRow], since_s: float, until_s: float
) -> Iterator[tuple[float, float]]:
    """The ledger's level: each entry, and what follows from it up to the next."""
    ends = [row.at_s for row in entries[1:]] + [until_s]
    for row, end_s in zip(entries, ends, strict=True):
        begin_s = max(row.at_s, since_s)
        entry = advanced(bed.book, row.entry, bed.local(row.at_s), bed.local(begin_s))
        yield begin_s, entry.litres
        for at, later in course(bed.book, entry, bed.local(begin_s), bed.local(end_s)):
            yield at.timestamp(), later.litres
