"""A day's weather: of a table (`weather_table`), or of the months' usual values."""

from dataclasses import dataclass
from datetime import date
from functools import cached_property

__all__ = ["DayWeather", "Weather", "normal_day"]

MONTH_DAYS = 30.4


@dataclass(frozen=True, slots=True)
class DayWeather:
    """Air temperatures; what is not known is None. wind at 2 m; radiation: of the sun on level ground outdoors.

    hours_c, hours_mj_per_m2: temperature at each full hour and radiation within each, from a table of hours.
    """

    t_max_c: float
    t_min_c: float
    rh_max_percent: float | None = None
    rh_min_percent: float | None = None
    wind_m_per_s: float | None = None
    radiation_mj_per_m2: float | None = None
    hours_c: tuple[float, ...] = ()
    hours_mj_per_m2: tuple[float, ...] = ()

    @property
    def t_mean_c(self) -> float:
        return (self.t_max_c + self.t_min_c) / 2


@dataclass(frozen=True, eq=False)
class Weather:
    """Of any day: by the table, else by the same day of another of its years, else by its last; or by the months.

    months: usual highest and lowest temperature for January to December, where there is no table.
    """

    months: tuple[tuple[float, float], ...]
    days: tuple[tuple[date, DayWeather], ...] = ()

    def on(self, day: date) -> DayWeather:
        if not self.days:
            return normal_day(self.months, day)
        known, by_season = self._tables
        return known.get(day) or by_season.get((day.month, day.day)) or self.days[-1][1]

    @cached_property
    def _tables(self) -> tuple[dict[date, DayWeather], dict[tuple[int, int], DayWeather]]:
        return dict(self.days), {(day.month, day.day): weather for day, weather in self.days}


def normal_day(months: tuple[tuple[float, float], ...], day: date) -> DayWeather:
    """The usual highest and lowest temperature of a day, between the middles of the months.

    months: (t_max_c, t_min_c) for January to December.
    """
    place = day.month - 1 + (day.day - 15.5) / MONTH_DAYS
    before = int(place // 1) % 12
    share = place - place // 1
    (high_1, low_1), (high_2, low_2) = months[before], months[(before + 1) % 12]
    return DayWeather(high_1 + share * (high_2 - high_1), low_1 + share * (low_2 - low_1))
