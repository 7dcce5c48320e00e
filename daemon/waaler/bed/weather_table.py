"""A table of days or of hours, read line by line: a large one needs little more memory than what comes of it."""

import csv
import re
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time
from math import isnan, nan
from statistics import fmean

from waaler.bed.weather import DayWeather

__all__ = ["MOST_BYTES", "MOST_ROWS", "WeatherError", "weather_of_csv"]

MOST_ROWS = 100_000
"""Eleven years of hours. Together with MOST_BYTES it bounds what a table costs the daemon: some 20 MB."""

MOST_BYTES = 8 * 1024 * 1024
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
TEMPERATURE = ("degrees C from -60 to 60", -60.0, 60.0)
HUMIDITY = ("% from 0 to 100", 0.0, 100.0)
WIND = ("m/s at 2 m, from 0 to 60", 0.0, 60.0)
DAY_COLUMNS = {
    "date": None, "t_max_c": TEMPERATURE, "t_min_c": TEMPERATURE, "rh_max_percent": HUMIDITY,
    "rh_min_percent": HUMIDITY, "wind_m_per_s": WIND, "radiation_mj_per_m2": ("MJ/m2 from 0 to 50", 0.0, 50.0),
}  # fmt: skip
HOUR_COLUMNS = {
    "time": None, "t_c": TEMPERATURE, "rh_percent": HUMIDITY, "wind_m_per_s": WIND,
    "radiation_mj_per_m2": ("MJ/m2 from 0 to 6", 0.0, 6.0),
}  # fmt: skip
"""Unit and bounds of each. Above the air the sun gives at most 49 MJ/m2 a day, 5.1 an hour (FAO-56, (21), (28))."""

HOURS = 24
Columns = dict[str, tuple[str, float, float] | None]


class WeatherError(ValueError):
    """line and column, from 1: where; the text says what is wrong and what to write instead."""

    def __init__(self, line: int, column: int, what: str, remedy: str) -> None:
        self.line, self.column, self.what, self.remedy = line, column, what, remedy
        super().__init__(f"{line}:{column}: {what}; {remedy}")


@dataclass(frozen=True, slots=True)
class _Row:
    """number: of the line. values: of the columns after the first; nan where nothing is written."""

    number: int
    at: datetime
    values: dict[str, float]


@dataclass(slots=True)
class _Hours:
    """number: of the day's first line. seen: its hours. Values stand by column and hour; nan is not known."""

    number: int
    values: dict[str, "array[float]"] = field(default_factory=dict)
    seen: set[int] = field(default_factory=set)


def weather_of_csv(text: str) -> dict[date, DayWeather]:
    """Days by date. The first line names the columns; raises WeatherError.

    One line a day, with date, t_max_c and t_min_c; or one an hour, with time (its beginning, local standard time)
    and t_c, and 24 of them for each day.
    """
    lines = _lines(text)
    _, header = next(lines, (1, []))
    is_hourly = "time" in header
    known: Columns = HOUR_COLUMNS if is_hourly else DAY_COLUMNS
    _check_header(header, known, ("time", "t_c") if is_hourly else tuple(DAY_COLUMNS)[:3])
    rows = (_row(number, header, cells, known) for number, cells in lines)
    days = _days_of_hours(rows) if is_hourly else _days(rows)
    if not days:
        raise WeatherError(1, 1, "there are no days", "write one line for each day")
    return days


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Number and cells of each line that says something; a quoted cell ends on its line."""
    count = 0
    for number, line in enumerate(_split(text), start=1):
        if not line.strip(" ,\t"):
            if number == 1:
                yield number, []
            continue
        count += 1
        if count > MOST_ROWS + 1:
            raise WeatherError(number, 1, f"more than {MOST_ROWS:,} lines", "keep the last years alone")
        try:
            yield number, [cell.strip() for cell in next(csv.reader([line], strict=True))]
        except csv.Error:
            what = 'a quotation mark (") that does not fit'
            raise WeatherError(number, line.find('"') + 1, what, "write plain numbers without quotes") from None


def _split(text: str) -> Iterator[str]:
    """Line by line, without a second copy of the whole."""
    begin = 0
    while begin < len(text):
        end = text.find("\n", begin)
        end = len(text) if end < 0 else end
        yield text[begin:end]
        begin = end + 1


def _check_header(header: list[str], known: Columns, needed: tuple[str, ...]) -> None:
    for position, name in enumerate(header):
        column = _column(header, position)
        if name not in known:
            raise WeatherError(1, column, f"'{name[:20]}' is no column", f"known: {', '.join(known)}")
        if name in header[:position]:
            raise WeatherError(1, column, f"column {name} is there twice", "keep one of them")
    missing = [name for name in needed if name not in header]
    if missing:
        raise WeatherError(1, 1, f"column {missing[0]} is missing", "name the columns in the first line")


def _column(cells: list[str], position: int) -> int:
    return 1 + sum(len(cell) + 1 for cell in cells[:position])


def _row(number: int, header: list[str], cells: list[str], known: Columns) -> _Row:
    if len(cells) != len(header):
        raise WeatherError(number, 1, f"{len(cells)} values for {len(header)} columns", "write one for each column")
    values: dict[str, float] = {}
    at = datetime.min
    for position, (name, text) in enumerate(zip(header, cells, strict=True)):
        bounds = known[name]
        if bounds is None:
            at = _instant(number, _column(cells, position), name, text)
        else:
            value = _value(text, *bounds[1:])
            if value is None:
                remedy = f"write a plain number of {bounds[0]}, or nothing"
                raise WeatherError(number, _column(cells, position), f"'{text[:20]}' is no {name}", remedy)
            values[name] = value
    return _Row(number, at, values)


def _value(text: str, low: float, high: float) -> float | None:
    """nan for nothing, None for nonsense."""
    if not text:
        return nan
    if len(text) > 30 or not NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if low <= value <= high else None


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


# --- days -------------------------------------------------------------------------------------


def _days(rows: Iterator[_Row]) -> dict[date, DayWeather]:
    days: dict[date, DayWeather] = {}
    for row in rows:
        if row.at.date() in days:
            raise _twice(row.number, f"{row.at:%Y-%m-%d}")
        days[row.at.date()] = _day(row)
    return days


def _twice(number: int, when: str) -> WeatherError:
    return WeatherError(number, 1, f"{when} is there twice", "keep one line for each")


def _day(row: _Row) -> DayWeather:
    high, low = row.values["t_max_c"], row.values["t_min_c"]
    if not high >= low:
        raise WeatherError(row.number, 1, "the day's temperatures do not fit", "write t_max_c above t_min_c")

    def known(name: str) -> float | None:
        value = row.values.get(name, nan)
        return None if isnan(value) else value

    damp_most, damp_least = known("rh_max_percent"), known("rh_min_percent")
    return DayWeather(high, low, damp_most, damp_least, known("wind_m_per_s"), known("radiation_mj_per_m2"))


# --- hours ------------------------------------------------------------------------------------


def _days_of_hours(rows: Iterator[_Row]) -> dict[date, DayWeather]:
    days: dict[date, _Hours] = {}
    for row in rows:
        day = days.setdefault(row.at.date(), _Hours(row.number))
        if row.at.hour in day.seen:
            raise _twice(row.number, f"{row.at:%Y-%m-%d %H:%M}")
        day.seen.add(row.at.hour)
        for name, value in row.values.items():
            day.values.setdefault(name, array("d", [nan]) * HOURS)[row.at.hour] = value
    return {day: _day_of_hours(day, days.pop(day)) for day in sorted(days)}


def _day_of_hours(day: date, hours: _Hours) -> DayWeather:
    """A day's highest, lowest, mean and sum; what a single hour lacks is not known for the day."""
    if len(hours.seen) != HOURS:
        remedy = "write all 24, or leave the day out"
        raise WeatherError(hours.number, 1, f"{day} has {len(hours.seen)} hours", remedy)

    def column(name: str) -> tuple[float, ...]:
        found = tuple(hours.values.get(name, ()))
        return () if any(map(isnan, found)) else found

    heat = column("t_c")
    if not heat:
        raise WeatherError(hours.number, 1, f"{day} lacks a temperature", "write t_c for every hour")
    damp, wind, sun = column("rh_percent"), column("wind_m_per_s"), column("radiation_mj_per_m2")
    return DayWeather(
        t_max_c=max(heat),
        t_min_c=min(heat),
        rh_max_percent=max(damp, default=None),
        rh_min_percent=min(damp, default=None),
        wind_m_per_s=fmean(wind) if wind else None,
        radiation_mj_per_m2=sum(sun) if sun else None,
        hours_c=heat,
        hours_mj_per_m2=sun,
    )
