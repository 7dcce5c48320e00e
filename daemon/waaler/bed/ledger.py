"""The ledger of the sump: litres at rest, salts and header tank, what takes from them, and what that foretells.

The one reckoning of the sump. An entry is what is known at a moment; between two entries the water falls by what
the plants drink and what open water loses, and a header tank makes it up to the full mark as long as it has any.
It never falls below what the pump can lift: from there on the plants go dry, not the sump.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from waaler.bed.figures import Figures
from waaler.bed.solution import Solution, after

__all__ = [
    "Entry", "Outlook", "SumpBook", "Tank", "advanced", "course", "full", "lost_at", "lost_l", "outlook",
    "poured", "to_full_l", "used_up_at",
]  # fmt: skip

DAYLIGHT = (6, 20)
"""Hours between which plants drink most. With the share: common practice, no source."""

DAYLIGHT_SHARE = 0.95
DAY = timedelta(days=1)
FORESEEN_DAYS = 60

Runs = Callable[[datetime, datetime], Iterable[tuple[datetime, float]]]
"""The plan's runs that begin between two moments: when, and how many seconds."""


@dataclass(frozen=True, slots=True)
class Tank:
    """A header tank whose float valve keeps the sump full.

    litres: when it is full. ec: of what it holds, mS/cm at 25 C.
    """

    litres: float
    ec: float


def _no_runs(_since: datetime, _until: datetime) -> Iterable[tuple[datetime, float]]:
    return ()


@dataclass(frozen=True, slots=True)
class SumpBook:
    """What the ledger reckons by.

    drinks_l: what the plants of each pot take on a day, litres; None where it is not known. fresh_ec, water_ec: of
    fresh solution and of plain water. uptake_share: strength of what plants take against what is there. runs: of
    the plan; longest_run_s: none of them is longer.
    """

    figures: Figures
    drinks_l: Callable[[date], Sequence[float]] | None = field(default=None, compare=False)
    tank: Tank | None = None
    fresh_ec: float = 2.0
    water_ec: float = 0.3
    uptake_share: float = 0.7
    runs: Runs = field(default=_no_runs, compare=False)
    longest_run_s: float = 0.0

    def drink_l(self, day: date) -> float:
        """What all plants take on a whole day; nothing where it is not known."""
        return 0.0 if self.drinks_l is None else sum(self.drinks_l(day))

    def loss_l(self, day: date) -> float:
        """What leaves the sump on a whole day: drink and evaporation."""
        return self.drink_l(day) + self.figures.evaporates_l_per_day


@dataclass(frozen=True, slots=True)
class Entry:
    """litres: in the sump at rest. ec: of it, mS/cm at 25 C. tank_l: in the header tank. added_l: poured in, by
    people and by the tank, since the solution was made anew.
    """

    litres: float
    ec: float
    tank_l: float = 0.0
    added_l: float = 0.0


@dataclass(frozen=True, slots=True)
class Outlook:
    """entry: now. low_at: when the level at rest reaches the low mark. cut_at: the first planned run that would be
    cut, or not begun, for that; None for either that is not foreseen within 60 days.
    """

    entry: Entry
    low_at: datetime | None
    cut_at: datetime | None

    @property
    def needs_water_at(self) -> datetime | None:
        """The one date that matters: the first run that would be cut, else the mark itself where no run comes."""
        return self.cut_at or self.low_at

    def days_left(self, now: datetime) -> float | None:
        """Until it needs water; None if that is not foreseen."""
        when = self.needs_water_at
        return None if when is None else max(0.0, (when - now) / DAY)


def full(book: SumpBook) -> Entry:
    """Full of fresh solution, the header tank full too."""
    tank_l = 0.0 if book.tank is None else book.tank.litres
    return Entry(book.figures.sump_full_l, book.fresh_ec, tank_l)


def poured(entry: Entry, litres: float, ec: float) -> Entry:
    """With so much more in it."""
    mixed = after(Solution(entry.litres, entry.ec), 0.0, 0.0, litres, ec)
    return replace(entry, litres=mixed.litres, ec=mixed.concentration, added_l=entry.added_l + litres)


def to_full_l(book: SumpBook, entry: Entry) -> float:
    """Litres to the full mark, less what line and hose still hold and give back."""
    return max(0.0, book.figures.sump_full_l - entry.litres - book.figures.line_l)


def advanced(book: SumpBook, entry: Entry, since: datetime, until: datetime) -> Entry:
    """The entry a while later: local times of the bed, aware."""
    return next((later for _, later in reversed(tuple(course(book, entry, since, until)))), entry)


def course(book: SumpBook, entry: Entry, since: datetime, until: datetime) -> Iterator[tuple[datetime, Entry]]:
    """The entries at the end of each day, or part of one, between two moments."""
    for begin, end in _days(since, until):
        entry = _after_loss(book, entry, _share_of_day(begin, end), begin.date())
        yield end, entry


def outlook(book: SumpBook, entry: Entry, now: datetime) -> Outlook:
    """What follows from an entry that is true now, if nobody does anything."""
    figures = book.figures
    if book.drinks_l is None:
        return Outlook(entry, None, None)
    left_l = entry.litres + entry.tank_l - figures.sump_low_l
    low_at = lost_at(book, left_l, now)
    suspect = lost_at(book, left_l - figures.dip_l(book.longest_run_s), now)
    cut_at = None if suspect is None else _first_cut(book, left_l, now, suspect)
    return Outlook(entry, low_at, cut_at)


def lost_l(book: SumpBook, since: datetime, until: datetime) -> float:
    """What plants and open water take between two moments, whatever the sump holds."""
    return sum(_share_of_day(*part) * book.loss_l(part[0].date()) for part in _days(since, until))


def _first_cut(book: SumpBook, left_l: float, now: datetime, suspect: datetime) -> datetime | None:
    """The first run from a moment on whose dip reaches below the low mark. left_l: above the mark now."""
    at = now
    begin = max(now, suspect - timedelta(seconds=1))
    for start, seconds in book.runs(begin, suspect + timedelta(days=FORESEEN_DAYS)):
        left_l -= lost_l(book, at, start)
        at = max(at, start)
        if left_l < book.figures.dip_l(seconds):
            return start
    return None


def lost_at(book: SumpBook, litres: float, since: datetime) -> datetime | None:
    """When so much has been lost; None if not within the days that are foreseen."""
    if litres <= 0:
        return since
    for begin, end in _days(since, since + timedelta(days=FORESEEN_DAYS)):
        day_l = book.loss_l(begin.date())
        part_l = _share_of_day(begin, end) * day_l
        if part_l >= litres:
            return _within(begin, end, litres / day_l)
        litres -= part_l
    return None


def used_up_at(book: SumpBook, since: datetime) -> datetime | None:
    """When the first pot has drunk what is easily available, all of them full at a moment; None if not foreseen."""
    if book.drinks_l is None:
        return None
    left_l = [pot.easy_l for pot in book.figures.pots]
    for begin, end in _days(since, since + timedelta(days=FORESEEN_DAYS)):
        share, drinks_l = _share_of_day(begin, end), book.drinks_l(begin.date())
        needs = [litres / drink_l for litres, drink_l in zip(left_l, drinks_l, strict=True) if drink_l > 0]
        if needs and min(needs) <= share:
            return _within(begin, end, max(0.0, min(needs)))
        left_l = [litres - share * drink_l for litres, drink_l in zip(left_l, drinks_l, strict=True)]
    return None


def _after_loss(book: SumpBook, entry: Entry, share: float, day: date) -> Entry:
    """After a share of a day. Plants take what the pump can lift, and no more."""
    figures = book.figures
    floor_l = min(entry.litres, figures.sump_empty_l)
    drink_l = share * book.drink_l(day)
    supply_l = max(0.0, entry.litres - floor_l) + entry.tank_l
    evaporated_l = min(share * figures.evaporates_l_per_day, supply_l)
    drunk_l = min(drink_l, supply_l - evaporated_l)
    room_l = max(0.0, figures.sump_full_l - (entry.litres - evaporated_l - drunk_l))
    added_l = min(entry.tank_l, room_l)
    tank_ec = 0.0 if book.tank is None else book.tank.ec
    thicker = after(Solution(entry.litres, entry.ec), evaporated_l, 0.0)
    mixed = after(thicker, drunk_l, book.uptake_share * thicker.concentration, added_l, tank_ec)
    return Entry(mixed.litres, mixed.concentration, entry.tank_l - added_l, entry.added_l + added_l)


def _days(since: datetime, until: datetime) -> Iterator[tuple[datetime, datetime]]:
    """Each day between, the first and the last in part; nothing where until is not later."""
    begin = since
    midnight = since.replace(hour=0, minute=0, second=0, microsecond=0) + DAY
    while begin < until:
        yield begin, min(midnight, until)
        begin, midnight = midnight, midnight + DAY


def _share_of_day(begin: datetime, end: datetime) -> float:
    """Of a day's loss, what falls between two moments of that day by its wall time."""
    return _shape(_hour(end, begin)) - _shape(_hour(begin, begin))


def _within(begin: datetime, end: datetime, share: float) -> datetime:
    """The moment of a day by which such a share of its loss has gone since `begin`."""
    wanted = _shape(_hour(begin, begin)) + share
    hour = _hour_of(min(wanted, 1.0))
    found = begin.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(hours=hour)
    return min(max(found, begin), end)


def _hour(moment: datetime, day: datetime) -> float:
    if moment.date() != day.date():
        return 24.0
    return moment.hour + moment.minute / 60 + (moment.second + moment.microsecond / 1e6) / 3600


def _shape(hour: float) -> float:
    """Share of a day's loss that is gone by this hour: even by night and by day."""
    sunrise, sunset = DAYLIGHT
    light_h = min(max(hour - sunrise, 0.0), sunset - sunrise)
    return DAYLIGHT_SHARE * light_h / (sunset - sunrise) + (1 - DAYLIGHT_SHARE) * (hour - light_h) / (
        24 - sunset + sunrise
    )


def _hour_of(share: float) -> float:
    """The hour by which this share is gone: the inverse of `_shape`."""
    sunrise, sunset = DAYLIGHT
    dark_per_h, light_per_h = (1 - DAYLIGHT_SHARE) / (24 - sunset + sunrise), DAYLIGHT_SHARE / (sunset - sunrise)
    before, until_night = dark_per_h * sunrise, dark_per_h * sunrise + DAYLIGHT_SHARE
    if share <= before:
        return share / dark_per_h
    if share <= until_night:
        return sunrise + (share - before) / light_per_h
    return sunset + (share - until_night) / dark_per_h
