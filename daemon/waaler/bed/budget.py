"""How long the water lasts: what the plants drink day by day, what the plan gives, the sump and its solution."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil, pi

from waaler.bed.crops import Crop, litres_per_plant
from waaler.bed.evaporation import Method, Reference
from waaler.bed.figures import Figures
from waaler.bed.ledger import Entry, Outlook, SumpBook, advanced, full, outlook, poured
from waaler.bed.solution import Solution

__all__ = [
    "USED_SHARE", "Advice", "Budget", "BudgetDay", "Site", "advice", "budget", "drink_l", "drinks_by_pot_l",
    "ec_range", "poured_ec", "safe_gap_h",
]  # fmt: skip

DAYLIGHT_H = 14.0
"""Of a growing day; its drink follows a half sine. Common practice, no source."""

USED_SHARE = 0.5
"""Of the water between capacity and wilting that may go before the next cycle. Common practice, no source."""

DRAIN_SHARE = 0.2
"""Of what is given that should drain, so that salts do not gather. Common practice, no source."""

LEAST_CYCLES = 4
RENEW_AFTER_DAYS = 21


@dataclass(frozen=True, slots=True)
class Site:
    """cover: share of the outdoor reference that reaches the crop. ec, water_ec: of the fresh solution and of
    plain water, mS/cm at 25 C; uptake_share: what plants take against what is there. Without crops the bed drinks
    what its figures say.
    """

    latitude_deg: float
    elevation_m: float
    cover: float
    crops: tuple[Crop, ...]
    ec: float = 2.0
    uptake_share: float = 0.7
    water_ec: float = 0.3


@dataclass(frozen=True, slots=True)
class BudgetDay:
    """Litres of the whole bed; sump_l, tank_l and ec at the end of the day. refill_l, refill_ec: poured in that
    morning.

    dry_l: of the drink, what the sump could not give.
    """

    day: date
    reference_mm: float
    drink_l: float
    given_l: float
    sump_l: float
    ec: float
    refill_l: float = 0.0
    refill_ec: float = 0.0
    tank_l: float = 0.0
    dry_l: float = 0.0


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
    """safe_gap_h: how long the media last on the day of most drink. cycles, seconds: what that day wants."""

    safe_gap_h: float
    cycles: int
    seconds: float
    refill_l: float
    refill_every_days: int | None


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
    wanted_l = book.loss_l(day)
    taken_l = before.litres + before.tank_l - after.litres - after.tank_l
    return BudgetDay(
        day,
        mm,
        wanted_l - book.figures.evaporates_l_per_day,
        sum(_given_l(book.figures, seconds) for seconds in plan_seconds(day)),
        after.litres,
        after.ec,
        *refill,
        tank_l=after.tank_l,
        dry_l=max(0.0, wanted_l - taken_l),
    )


def advice(found: Budget, figures: Figures) -> Advice:
    """For the day of most drink: how often and how long to water; how much and how often to refill."""
    pot_l = found.hottest.drink_l / figures.pots
    gap_h = safe_gap_h(figures, pot_l)
    cycles = max(LEAST_CYCLES, ceil(DAYLIGHT_H / gap_h))
    seconds = figures.dose_s(pot_l / (1 - DRAIN_SHARE) / cycles)
    every = None if found.needs_water_on is None else max(1, (found.needs_water_on - found.days[0].day).days)
    return Advice(gap_h, cycles, seconds, found.refill_l(figures), every)


def safe_gap_h(figures: Figures, drink_l_per_pot_day: float) -> float:
    """Hours around midday after which half of what a pot can give is drunk; a day at most."""
    storage_l = USED_SHARE * figures.media_l_per_pot * (figures.capacity_fraction - figures.wilting_fraction)
    peak_l_per_h = drink_l_per_pot_day * pi / (2 * DAYLIGHT_H)
    return min(24.0, storage_l / peak_l_per_h) if peak_l_per_h > 0 else 24.0


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


def drink_l(site: Site, figures: Figures, day: date, reference: float) -> float:
    """What the whole bed takes; without crops the file's own figure."""
    if not site.crops:
        return figures.pots * figures.drink_l_per_pot_day
    return sum(
        crop.pots * crop.plants_per_pot * litres_per_plant(crop, day, reference, site.cover) for crop in site.crops
    )


def drinks_by_pot_l(site: Site, figures: Figures, day: date, reference: float) -> tuple[float, ...]:
    """What each pot takes; the crops stand in the pots in their written order, a pot without one takes nothing."""
    if not site.crops:
        return (figures.drink_l_per_pot_day,) * figures.pots
    drinks: list[float] = []
    for crop in site.crops:
        drinks += [crop.plants_per_pot * litres_per_plant(crop, day, reference, site.cover)] * crop.pots
    return tuple(drinks[: figures.pots]) + (0.0,) * (figures.pots - len(drinks))


def _given_l(figures: Figures, seconds: float) -> float:
    """What comes out at the pots in a cycle: all that is lifted but what fills the line."""
    return max(0.0, figures.pump_l_per_min * seconds / 60 - figures.line_l)
