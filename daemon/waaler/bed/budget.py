"""How long the water lasts: what the plants drink day by day, what the plan gives, the sump and its solution."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, pi

from waaler.bed.crops import Crop, litres_per_plant
from waaler.bed.evaporation import Method, reference_mm
from waaler.bed.figures import Figures
from waaler.bed.solution import Solution, after
from waaler.bed.weather import DayWeather

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
    """cover: share of the outdoor reference that reaches the crop. ec, water_ec: of the fresh solution and of plain
    water, mS/cm at 25 C; uptake_share: what plants take against what is there. top_up_l: in a header tank
    whose float valve keeps the sump full. Without crops the bed drinks what its figures say.
    """

    latitude_deg: float
    elevation_m: float
    cover: float
    crops: tuple[Crop, ...]
    ec: float = 2.0
    uptake_share: float = 0.7
    water_ec: float = 0.3
    top_up_l: float = 0.0


@dataclass(frozen=True, slots=True)
class BudgetDay:
    """Litres of the whole bed; sump_l and ec at the end of the day. refill_l, refill_ec: poured in that morning."""

    day: date
    reference_mm: float
    drink_l: float
    given_l: float
    sump_l: float
    ec: float
    refill_l: float = 0.0
    refill_ec: float = 0.0


@dataclass(frozen=True, slots=True)
class Budget:
    """low_on: the first day that ends at or under the low mark, None if none does. renew_on: when the solution is
    due. methods: how the reference was found.
    """

    days: tuple[BudgetDay, ...]
    low_on: date | None
    renew_on: date
    methods: frozenset[Method]

    @property
    def hottest(self) -> BudgetDay:
        return max(self.days, key=lambda day: day.drink_l)


@dataclass(frozen=True, slots=True)
class Advice:
    """safe_gap_h: how long the media last on the day of most drink. cycles, seconds: what that day wants."""

    safe_gap_h: float
    cycles: int
    seconds: float
    refill_l: float
    refill_every_days: int | None


def budget(
    site: Site,
    figures: Figures,
    first: date,
    count: int,
    weather: Callable[[date], DayWeather],
    plan_seconds: Callable[[date], Sequence[float]],
) -> Budget:
    """Day by day from a full sump of fresh solution; a sump that ended a day low is filled the next morning.

    plan_seconds: the lengths of a day's cycles.
    """
    rows: list[BudgetDay] = []
    methods, tank_l = set(), site.top_up_l
    now = Solution(figures.sump_full_l, site.ec)
    topped_l, renew_on = 0.0, first + timedelta(days=RENEW_AFTER_DAYS)
    for day in (first + timedelta(days=n) for n in range(count)):
        reference = reference_mm(weather(day), site.latitude_deg, site.elevation_m, day.timetuple().tm_yday)
        methods.add(reference.method)
        refill_l = figures.sump_full_l - now.litres if now.litres <= figures.sump_low_l else 0.0
        refill_ec = poured_ec(now, refill_l, site.ec, site.water_ec)
        now = after(now, 0.0, 0.0, refill_l, refill_ec)
        topped_l += refill_l
        now = after(now, min(figures.evaporates_l_per_day, now.litres), 0.0)
        drunk_l = min(drink_l(site, figures, day, reference.mm), now.litres)
        added_l = min(tank_l, drunk_l + figures.evaporates_l_per_day)
        tank_l -= added_l
        topped_l += added_l
        now = after(now, drunk_l, site.uptake_share * now.concentration, added_l, site.water_ec)
        if topped_l >= figures.sump_full_l:
            renew_on = min(renew_on, day)
        given_l = sum(_given_l(figures, seconds) for seconds in plan_seconds(day))
        rows.append(
            BudgetDay(day, reference.mm, drunk_l, given_l, now.litres, now.concentration, refill_l, refill_ec)
        )
    low_on = next((row.day for row in rows if row.sump_l <= figures.sump_low_l), None)
    return Budget(tuple(rows), low_on, renew_on, frozenset(methods))


def advice(found: Budget, figures: Figures) -> Advice:
    """For the day of most drink: how often and how long to water; how much and how often to refill."""
    pot_l = found.hottest.drink_l / figures.pots
    gap_h = safe_gap_h(figures, pot_l)
    cycles = max(LEAST_CYCLES, ceil(DAYLIGHT_H / gap_h))
    seconds = figures.dose_s(pot_l / (1 - DRAIN_SHARE) / cycles)
    usable_l = figures.sump_full_l - figures.sump_low_l
    every = None if found.low_on is None else max(1, (found.low_on - found.days[0].day).days)
    return Advice(gap_h, cycles, seconds, usable_l, every)


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
