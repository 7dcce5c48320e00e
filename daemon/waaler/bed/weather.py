"""A day's weather, from a small table of days or of hours, or from the months' usual values."""

import csv
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property
from statistics import fmean

__all__ = ["DayWeather", "Weather", "WeatherError", "normal_day", "weather_of_csv"]

DAY_COLUMNS = {
    "date": "", "t_max_c": "degrees C", "t_min_c": "degrees C", "rh_max_percent": "%", "rh_min_percent": "%",
    "wind_m_per_s": "m/s at 2 m", "radiation_mj_per_m2": "MJ/m2",
}  # fmt: skip
HOUR_COLUMNS = {
    "time": "", "t_c": "degrees C", "rh_percent": "%", "wind_m_per_s": "m/s at 2 m", "radiation_mj_per_m2": "MJ/m2",
}  # fmt: skip
MONTH_DAYS = 30.4


class WeatherError(ValueError):
    """line and column, from 1: where; the text says what is wrong and what to write instead."""

    def __init__(self, line: int, column: int, what: str, remedy: str) -> None:
        self.line, self.column, self.what, self.remedy = line, column, what, remedy
        super().__init__(f"{line}:{column}: {what}; {remedy}")


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


def weather_of_csv(text: str) -> dict[date, DayWeather]:
    """Days by date. The first line names the columns; raises WeatherError.

    One line a day, with date, t_max_c and t_min_c; or one an hour, with time (its beginning, local standard time)
    and t_c, and 24 of them for each day.
    """
    lines = list(csv.reader(text.splitlines()))
    header = [cell.strip() for cell in lines[0]] if lines else []
    known, needed = (HOUR_COLUMNS, ("time", "t_c")) if "time" in header else (DAY_COLUMNS, tuple(DAY_COLUMNS)[:3])
    _check_header(header, lines, known, needed)
    rows: dict[datetime, _Row] = {}
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        at, row = _row(number, header, cells, known)
        if at in rows:
            when = f"{at:%Y-%m-%d %H:%M}" if known is HOUR_COLUMNS else f"{at:%Y-%m-%d}"
            raise WeatherError(number, 1, f"{when} is there twice", "keep one line for each")
        rows[at] = row
    if not rows:
        raise WeatherError(1, 1, "there are no days", "write one line for each day")
    if known is HOUR_COLUMNS:
        return _days_of_hours(rows)
    return {at.date(): _day(row) for at, row in rows.items()}


@dataclass(frozen=True, slots=True)
class _Row:
    """number: of the line."""

    number: int
    values: dict[str, float | None]


def _check_header(
    header: list[str], lines: list[list[str]], known: dict[str, str], needed: tuple[str, ...]
) -> None:
    for position, name in enumerate(header):
        if name not in known:
            column = 1 + sum(len(cell) + 1 for cell in lines[0][:position])
            raise WeatherError(1, column, f"'{name[:20]}' is no column", f"known: {', '.join(known)}")
    missing = [name for name in needed if name not in header]
    if missing:
        raise WeatherError(1, 1, f"column {missing[0]} is missing", "name the columns in the first line")


def _row(number: int, header: list[str], cells: list[str], known: dict[str, str]) -> tuple[datetime, _Row]:
    if len(cells) != len(header):
        raise WeatherError(number, 1, f"{len(cells)} values for {len(header)} columns", "write one for each column")
    values: dict[str, float | None] = {}
    at, column = datetime.min, 1
    for name, cell in zip(header, cells, strict=True):
        text = cell.strip()
        if name in ("date", "time"):
            at = _instant(number, column, name, text)
        else:
            values[name] = _value(number, column, name, text, known)
        column += len(cell) + 1
    return at, _Row(number, values)


def _instant(number: int, column: int, name: str, text: str) -> datetime:
    try:
        if name == "date":
            return datetime.combine(date.fromisoformat(text), time())
        at = datetime.fromisoformat(text)
    except ValueError:
        example = "2026-06-21" if name == "date" else "2026-06-21T14:00"
        raise WeatherError(number, column, f"'{text[:20]}' is no {name}", f"write {example}") from None
    if at.tzinfo is not None or (at.minute, at.second, at.microsecond) != (0, 0, 0):
        remedy = "write 2026-06-21T14:00, local standard time without an offset"
        raise WeatherError(number, column, f"'{text[:25]}' is no full hour", remedy)
    return at


def _day(row: _Row) -> DayWeather:
    high, low = row.values["t_max_c"], row.values["t_min_c"]
    if high is None or low is None or high < low:
        raise WeatherError(row.number, 1, "the day's temperatures do not fit", "write t_max_c above t_min_c")
    others = {name: value for name, value in row.values.items() if name not in ("t_max_c", "t_min_c")}
    return DayWeather(
        high,
        low,
        others.get("rh_max_percent"),
        others.get("rh_min_percent"),
        others.get("wind_m_per_s"),
        others.get("radiation_mj_per_m2"),
    )


def _days_of_hours(rows: dict[datetime, _Row]) -> dict[date, DayWeather]:
    days: dict[date, list[_Row]] = {}
    for at in sorted(rows):
        days.setdefault(at.date(), []).append(rows[at])
    return {day: _day_of_hours(day, hours) for day, hours in days.items()}


def _day_of_hours(day: date, hours: list[_Row]) -> DayWeather:
    """A day's highest, lowest, mean and sum; what a single hour lacks is not known for the day."""
    if len(hours) != 24:
        number = hours[0].number
        raise WeatherError(number, 1, f"{day} has {len(hours)} hours", "write all 24, or leave the day out")

    def column(name: str) -> list[float]:
        found = [hour.values.get(name) for hour in hours]
        return [value for value in found if value is not None] if None not in found else []

    heat = column("t_c")
    if not heat:
        raise WeatherError(hours[0].number, 1, f"{day} lacks a temperature", "write t_c for every hour")
    damp, wind, sun = column("rh_percent"), column("wind_m_per_s"), column("radiation_mj_per_m2")
    return DayWeather(
        t_max_c=max(heat),
        t_min_c=min(heat),
        rh_max_percent=max(damp, default=None),
        rh_min_percent=min(damp, default=None),
        wind_m_per_s=fmean(wind) if wind else None,
        radiation_mj_per_m2=sum(sun) if sun else None,
        hours_c=tuple(heat),
        hours_mj_per_m2=tuple(sun),
    )


def _value(number: int, column: int, name: str, text: str, known: dict[str, str]) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not -60 <= value <= 100:
        remedy = f"write a plain number of {known[name]}, or nothing"
        raise WeatherError(number, column, f"'{text[:20]}' is no {name}", remedy)
    return value
