"""How long the water lasts: what the plants drink day by day, what the plan gives, the sump and its solution."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil, pi

from waaler.bed.crops import Crop
from waaler.bed.evaporation import Method, Reference
from waaler.bed.figures import Figures
from waaler.bed.ledger import Entry, Outlook, SumpBook, advanced, full, outlook, poured
from waaler.bed.pots import Pot
from waaler.bed.solution import Solution

__all__ = [
    "Advice", "Budget", "BudgetDay", "advice", "budget", "cycle_s", "ec_range", "poured_ec", "safe_gap_h",
]  # fmt: skip

DAYLIGHT_H = 14.0
"""Of a growing day; its drink follows a half sine. Common practice, no source."""

DRAIN_SHARE = 0.2
"""Of what is given that should drain, so that salts do not gather. Common practice, no source."""

LEAST_GIVING_S = 60.0
"""Of a cycle that is advised, after the line is full: its outlets begin one after another. Common practice, no
source.
"""

LEAST_CYCLES = 4
RENEW_AFTER_DAYS = 21


@dataclass(frozen=True, slots=True)
class BudgetDay:
    """Litres; sump_l, tank_l and ec at the end of the day. drinks_l, gives_l: what the plants of each pot take,
    and what the plan gives it. refill_l, refill_ec: poured in that morning.

    dry_l: of the drink, what the sump could not give.
    """

    day: date
    reference_mm: float
    drinks_l: tuple[float, ...]
    gives_l: tuple[float, ...]
    sump_l: float
    ec: float
    refill_l: float = 0.0
    refill_ec: float = 0.0
    tank_l: float = 0.0
    dry_l: float = 0.0

    @property
    def drink_l(self) -> float:
        """Of the whole bed."""
        return sum(self.drinks_l)

    @property
    def given_l(self) -> float:
        """To the whole bed."""
        return sum(self.gives_l)

    @property
    def short(self) -> tuple[int, ...]:
        """The pots, from 0, that get less than they drink."""
        pairs = zip(self.gives_l, self.drinks_l, strict=True)
        return tuple(n for n, (given_l, drink_l) in enumerate(pairs) if given_l < drink_l)


@dataclass(frozen=True, slots=True)
class Budget:
    """outlook: from the full sump of the first morning. renew_on: when the solution is due. methods: how the
    reference was found.
    """

    days: tuple[BudgetDay, ...]
    outlook: Outlook
    renew_on: date
    methods: frozenset[Method]

    @property
    def hottest(self) -> BudgetDay:
        return max(self.days, key=lambda day: day.drink_l)

    @property
    def most_l(self) -> tuple[float, ...]:
        """What each pot drinks on its own thirstiest day."""
        return tuple(max(drinks) for drinks in zip(*(day.drinks_l for day in self.days), strict=True))

    @property
    def needs_water_on(self) -> date | None:
        """The day of the first run that would be cut; None if no such day is among these."""
        when = self.outlook.needs_water_at
        return when.date() if when is not None and when.date() <= self.days[-1].day else None

    def refill_l(self, figures: Figures) -> float:
        """What the first refill takes, to the full mark; what lies above the low mark where none is due."""
        usable_l = figures.sump_full_l - figures.sump_low_l
        return next((row.refill_l for row in self.days if row.refill_l > 0), usable_l)


@dataclass(frozen=True, slots=True)
class Advice:
    """For the pot that suffers first, on the day on which it drinks most.

    gaps_h: how long each pot lasts around midday of its own such day. pot: the number, from 0, of the one that
    lasts the shortest. cycles, seconds: what keeps every pot.
    """

    gaps_h: tuple[float, ...]
    pot: int
    cycles: int
    seconds: float
    refill_l: float
    refill_every_days: int | None

    @property
    def safe_gap_h(self) -> float:
        """How long the first one lasts."""
        return self.gaps_h[self.pot]


def budget(
    book: SumpBook,
    first: datetime,
    count: int,
    reference: Callable[[date], Reference],
    plan_seconds: Callable[[date], Sequence[float]],
) -> Budget:
    """Day by day from a full sump of fresh solution; filled on the morning of a day on which a run would be cut.

    first: the local midnight at which it begins, aware. plan_seconds: the lengths of a day's cycles.
    """
    entry = full(book)
    ahead = outlook(book, entry, first)
    due, renew_on = ahead.needs_water_at, first.date() + timedelta(days=RENEW_AFTER_DAYS)
    rows: list[BudgetDay] = []
    methods: set[Method] = set()
    for begin in (first + timedelta(days=n) for n in range(count)):
        end, refill_l, refill_ec = begin + timedelta(days=1), 0.0, 0.0
        if due is not None and due < end:
            refill_l = max(0.0, book.figures.sump_full_l - entry.litres)
            refill_ec = poured_ec(Solution(entry.litres, entry.ec), refill_l, book.fresh_ec, book.water_ec)
            entry = poured(entry, refill_l, refill_ec)
            due = outlook(book, entry, begin).needs_water_at
        before, entry = entry, advanced(book, entry, begin, end)
        if entry.added_l >= book.figures.sump_full_l:
            renew_on = min(renew_on, begin.date())
        found = reference(begin.date())
        methods.add(found.method)
        rows.append(_row(book, begin.date(), found.mm, before, entry, plan_seconds, (refill_l, refill_ec)))
    return Budget(tuple(rows), ahead, renew_on, frozenset(methods))


def _row(
    book: SumpBook,
    day: date,
    mm: float,
    before: Entry,
    after: Entry,
    plan_seconds: Callable[[date], Sequence[float]],
    refill: tuple[float, float],
) -> BudgetDay:
    taken_l = before.litres + before.tank_l - after.litres - after.tank_l
    assert book.drinks_l is not None
    return BudgetDay(
        day,
        mm,
        tuple(book.drinks_l(day)),
        _given_l(book.figures, plan_seconds(day)),
        after.litres,
        after.ec,
        *refill,
        tank_l=after.tank_l,
        dry_l=max(0.0, book.loss_l(day) - taken_l),
    )


def advice(found: Budget, figures: Figures) -> Advice:
    """How often and how long to water; how much and how often to refill."""
    most_l = found.most_l
    gaps_h = tuple(safe_gap_h(pot, drink_l) for pot, drink_l in zip(figures.pots, most_l, strict=True))
    first = gaps_h.index(min(gaps_h))
    cycles = max(LEAST_CYCLES, ceil(DAYLIGHT_H / gaps_h[first]))
    every = None if found.needs_water_on is None else max(1, (found.needs_water_on - found.days[0].day).days)
    return Advice(gaps_h, first, cycles, cycle_s(figures, most_l, cycles), found.refill_l(figures), every)


def cycle_s(figures: Figures, drinks_l: Sequence[float], cycles: int) -> float:
    """Seconds that are long enough for every pot by what its own outlet gives, and never so short that filling the
    line is most of them. A pot whose outlet gives nothing has no part in it: no length of a cycle waters that one.
    """
    wants_s = [
        60 * drink_l / (1 - DRAIN_SHARE) / cycles / pot.flow_l_per_min
        for pot, drink_l in zip(figures.pots, drinks_l, strict=True)
        if pot.flow_l_per_min > 0
    ]
    return figures.fill_s + max(LEAST_GIVING_S, *wants_s)


def safe_gap_h(pot: Pot, drink_l_per_day: float) -> float:
    """Hours around midday in which a full pot uses what is easily available; a day at most."""
    peak_l_per_h = drink_l_per_day * pi / (2 * DAYLIGHT_H)
    return min(24.0, pot.easy_l / peak_l_per_h) if peak_l_per_h > 0 else 24.0


def ec_range(crops: Sequence[Crop]) -> tuple[float, float] | None:
    """The solution that suits every crop, mS/cm; None where their ranges do not meet."""
    low = max((crop.ec_low for crop in crops), default=0.0)
    high = min((crop.ec_high for crop in crops), default=10.0)
    return (low, high) if low <= high else None


def poured_ec(now: Solution, litres: float, ec: float, water_ec: float) -> float:
    """How strong a refill must be for all to be as strong as `ec` again; between plain water and fresh solution."""
    if litres <= 0:
        return 0.0
    wanted = (ec * (now.litres + litres) - now.litres * now.concentration) / litres
    return min(ec, max(water_ec, wanted))


def _given_l(figures: Figures, cycles_s: Sequence[float]) -> tuple[float, ...]:
    """What the cycles of a day give, pot by pot."""
    each = [figures.given_l(seconds) for seconds in cycles_s]
    return tuple(map(sum, zip(*each, strict=True))) if each else (0.0,) * len(figures.pots)
