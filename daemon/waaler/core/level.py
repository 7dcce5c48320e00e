"""The sump's level at rest as it is expected, what that foretells, and what should be added.

No gauge is part of an ordinary bed: the level falls by what the plants drink, rises by each refill that was
entered, and is set right whenever somebody or something reads it, or the float is low at rest.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from waaler.bed.budget import USED_SHARE
from waaler.bed.figures import Figures
from waaler.core.care import Care

__all__ = ["Mix", "SumpLevel", "Tended", "Upkeep", "drunk_l", "low_at", "thirsty_at", "to_add", "to_full_l"]

DAYLIGHT = (6, 20)
"""Hours between which plants drink most. With the share: common practice, no source."""

DAYLIGHT_SHARE = 0.95
DAY = timedelta(days=1)
FORESEEN = timedelta(days=60)
EC_ROSE = 1.05
"""A measurement above the first one after mixing by this factor has risen. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class SumpLevel:
    """Litres in the sump at rest, and when that was (long hand)."""

    litres: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Mix:
    """The solution since it was last made anew. at_s: when (long hand). topped_l: poured in since.

    first_ec, last_ec: measured since the last refill, mS/cm at 25 C; None where nobody did.
    """

    at_s: float
    topped_l: float = 0.0
    first_ec: float | None = None
    last_ec: float | None = None

    @property
    def has_risen(self) -> bool:
        """Whether the EC has, since the first measurement after mixing."""
        return self.first_ec is not None and self.last_ec is not None and self.last_ec > EC_ROSE * self.first_ec


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Pump time and starts since pump and filter were last cleaned."""

    pumped_s: float = 0.0
    starts: int = 0


@dataclass(frozen=True, slots=True)
class Tended:
    """Something of the past that tells of sump and solution. at_s: by the long hand of the present boot.

    what: `began`, `refill`, `renewal`, `low`, `sump` (litres, read at rest) or `EC` (mS/cm). value None: not known.
    """

    at_s: float
    what: str
    value: float | None = None


def drunk_l(care: Care, since: datetime, until: datetime) -> float:
    """What the plants take between two moments of the bed's wall time; 0 where nothing is known of them."""
    if care.drink_l is None:
        return 0.0
    return sum(_of_day_l(care, begin, end) for begin, end in _days(since, until))


def low_at(care: Care, litres: float, since: datetime) -> datetime | None:
    """When the float reads low in a run, from a level at rest now; None if that is not foreseen."""
    return None if care.figures is None else _drunk_at(care, litres - care.figures.sump_low_l - care.dip_l, since)


def thirsty_at(care: Care, since: datetime) -> datetime | None:
    """When plants watered in full at a moment have drunk half of what the media can give; None if not foreseen."""
    figures = care.figures
    if figures is None:
        return None
    media_l = figures.pots * figures.media_l_per_pot
    return _drunk_at(care, USED_SHARE * media_l * (figures.capacity_fraction - figures.wilting_fraction), since)


def _drunk_at(care: Care, left_l: float, since: datetime) -> datetime | None:
    """When so much has been drunk."""
    if care.drink_l is None:
        return None
    for begin, end in _days(since, since + FORESEEN):
        day_l = _of_day_l(care, begin, end)
        if day_l >= left_l:
            return _within(care, left_l, begin, end)
        left_l -= day_l
    return None


def _days(since: datetime, until: datetime) -> Iterator[tuple[datetime, datetime]]:
    """Each day between, the first and the last in part."""
    begin = since
    midnight = since.replace(hour=0, minute=0, second=0, microsecond=0) + DAY
    while begin < until:
        yield begin, min(midnight, until)
        begin, midnight = midnight, midnight + DAY


def _of_day_l(care: Care, begin: datetime, end: datetime) -> float:
    """Of a day or a part of one."""
    assert care.drink_l is not None
    if end - begin == DAY:
        return care.drink_l(begin.date())
    return sum(rate * (stop - start).total_seconds() for start, stop, rate in _spells(care, begin, end))


def _within(care: Care, left_l: float, since: datetime, until: datetime) -> datetime:
    """The moment of a day by which so much has been drunk, which it has by its end."""
    for begin, end, rate in _spells(care, since, until):
        spell_l = rate * (end - begin).total_seconds()
        if spell_l >= left_l:
            return begin + timedelta(seconds=max(0.0, left_l) / rate if rate > 0 else 0.0)
        left_l -= spell_l
    return until


def to_full_l(figures: Figures, litres: float) -> float:
    """Litres to the full mark from a level, less what line and hose still hold and give back."""
    return max(0.0, figures.sump_full_l - litres - figures.line_l)


def to_add(care: Care, mix: Mix | None) -> str:
    """What a refill should be: plain water where the EC rose since the last mix, else fresh solution."""
    if mix is not None and mix.has_risen:
        return "plain water, since the EC has risen"
    if care.fresh_ec is None:
        return "water or solution"
    return f"solution of {care.fresh_ec:g} mS/cm"


def _spells(care: Care, since: datetime, until: datetime) -> Iterator[tuple[datetime, datetime, float]]:
    """Begin, end and litres a second of each stretch of even drink."""
    assert care.drink_l is not None
    hours = DAYLIGHT[1] - DAYLIGHT[0]
    begin = since
    while begin < until:
        midnight = begin.replace(hour=0, minute=0, second=0, microsecond=0)
        edges = [midnight + timedelta(hours=hour) for hour in (*DAYLIGHT, 24)]
        end = min(until, next((edge for edge in edges if edge > begin), until))
        day_l = care.drink_l(begin.date())
        is_light = DAYLIGHT[0] <= begin.hour < DAYLIGHT[1]
        share, length_h = (DAYLIGHT_SHARE, hours) if is_light else (1 - DAYLIGHT_SHARE, 24 - hours)
        yield begin, end, day_l * share / (3600 * length_h)
        begin = end
