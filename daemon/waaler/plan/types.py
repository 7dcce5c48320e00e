"""What a plan is: the frozen inputs of this room, which the settings build."""

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

__all__ = [
    "AtTimes",
    "Below",
    "ClockMoment",
    "Cycle",
    "CycleKey",
    "Evenly",
    "Every",
    "HotDay",
    "Moment",
    "OnDemand",
    "Pattern",
    "PerDemand",
    "PerLight",
    "Place",
    "Plan",
    "SunEvent",
    "SunMoment",
    "Trigger",
    "Window",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """Where the bed stands. timezone: an IANA name; latitude north and longitude east are positive."""

    timezone: str
    latitude_deg: float
    longitude_deg: float


class SunEvent(StrEnum):
    """Named moments of the sun; sunrise and sunset at -0.833 degrees, dawn and dusk civil, -6 degrees."""

    DAWN = "dawn"
    SUNRISE = "sunrise"
    SUNSET = "sunset"
    DUSK = "dusk"


@dataclass(frozen=True, slots=True)
class ClockMoment:
    """A local wall time, minutes after midnight, 0 to 1439."""

    minute: int


@dataclass(frozen=True, slots=True)
class SunMoment:
    """A sun event and an offset in minutes, earlier negative."""

    event: SunEvent
    offset_min: int = 0


Moment = ClockMoment | SunMoment


@dataclass(frozen=True, slots=True)
class Evenly:
    """`count` starts evenly spaced in elapsed time, the first at `opens`, the last at `closes`; 1 at `opens`."""

    count: int
    opens: Moment
    closes: Moment


@dataclass(frozen=True, slots=True)
class Every:
    """A start at `opens` and then every `minutes`, up to and including `closes`."""

    minutes: int
    opens: Moment
    closes: Moment


@dataclass(frozen=True, slots=True)
class AtTimes:
    """Starts at these moments."""

    moments: tuple[Moment, ...]


Pattern = Evenly | Every | AtTimes


@dataclass(frozen=True, slots=True)
class Below:
    """Whenever the named probe falls below this moisture."""

    probe: str
    percent: float


@dataclass(frozen=True, slots=True)
class PerLight:
    """Each time the light that the named sensor saw since the last full run reaches this sum."""

    sensor: str
    mj_per_m2: float


@dataclass(frozen=True, slots=True)
class PerDemand:
    """Each time the thirstiest pot has drunk this much since the last full run, by crop and weather.

    thermometer: whose lowest and highest of the last day stand in for the weather's, None for the weather's own.
    """

    litres_per_pot: float
    thermometer: str | None = None


Trigger = Below | PerLight | PerDemand


@dataclass(frozen=True, slots=True)
class OnDemand:
    """A cycle whenever `trigger` says so, at least `least_gap_s` after the last run.

    Inside the window from `opens` to `closes`, at most `most_per_day` of them a day. The window's pattern is
    then its fallback: it counts while the trigger's input is not valid and when nothing ran for `longest_gap`.
    """

    trigger: Trigger
    opens: Moment
    closes: Moment
    least_gap_s: float
    most_per_day: int


@dataclass(frozen=True, slots=True)
class Window:
    """A watering window: part of the day with its cycles.

    weekdays: 0 is Monday; empty means every day. starts, ends: first and last date, both included.
    fallback_opens, fallback_closes: local minutes that stand in where the named sun event does not occur.
    """

    name: str
    pattern: Pattern
    seconds: float
    weekdays: frozenset[int] = frozenset()
    starts: date | None = None
    ends: date | None = None
    fallback_opens: ClockMoment | None = None
    fallback_closes: ClockMoment | None = None
    on_demand: OnDemand | None = None


@dataclass(frozen=True, slots=True)
class HotDay:
    """On a day whose air or media passed `above_c`, `extra_cycles` more between the midday cycles."""

    above_c: float
    extra_cycles: int


@dataclass(frozen=True, slots=True)
class Plan:
    """The day's intention. longest_gap_s: None takes 1.5 times the longest gap inside a window."""

    place: Place
    windows: tuple[Window, ...]
    hot_day: HotDay | None = None
    longest_gap_s: float | None = None


@dataclass(frozen=True, slots=True, order=True)
class CycleKey:
    """Names one cycle for ever: the instant for which it is planned (wall time, seconds since 1970) and its window.

    An edit of the plan so leaves every cycle what it was that it does not move. day: the local day that its window
    opens; n: its number in the window on that day, from 1; both are for people, and part of no comparison.
    """

    start_s: float
    window: str
    day: date = field(compare=False)
    n: int = field(compare=False)


@dataclass(frozen=True, slots=True)
class Cycle:
    """One intended watering. start: aware, UTC. is_fallback: of an on-demand window."""

    key: CycleKey
    start: datetime
    seconds: float
    is_fallback: bool = False
