"""A day's weather, from a small table or from the months' usual values."""

import csv
from dataclasses import dataclass
from datetime import date

__all__ = ["DayWeather", "WeatherError", "normal_day", "weather_of_csv"]

COLUMNS = {
    "date": "", "t_max_c": "degrees C", "t_min_c": "degrees C", "rh_max_percent": "%", "rh_min_percent": "%",
    "wind_m_per_s": "m/s at 2 m", "radiation_mj_per_m2": "MJ/m2",
}  # fmt: skip
MONTH_DAYS = 30.4


class WeatherError(ValueError):
    """line and column, from 1: where; the text says what is wrong and what to write instead."""

    def __init__(self, line: int, column: int, what: str, remedy: str) -> None:
        self.line, self.column, self.what, self.remedy = line, column, what, remedy
        super().__init__(f"{line}:{column}: {what}; {remedy}")


@dataclass(frozen=True, slots=True)
class DayWeather:
    """Air temperatures; what is not known is None. wind at 2 m; radiation: of the sun on level ground outdoors."""

    t_max_c: float
    t_min_c: float
    rh_max_percent: float | None = None
    rh_min_percent: float | None = None
    wind_m_per_s: float | None = None
    radiation_mj_per_m2: float | None = None

    @property
    def t_mean_c(self) -> float:
        return (self.t_max_c + self.t_min_c) / 2


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
    """Days by date. The first line names the columns; date, t_max_c, t_min_c must be there. Raises WeatherError."""
    lines = list(csv.reader(text.splitlines()))
    header = [cell.strip() for cell in lines[0]] if lines else []
    for position, name in enumerate(header):
        if name not in COLUMNS:
            column = 1 + sum(len(cell) + 1 for cell in lines[0][:position])
            raise WeatherError(1, column, f"'{name[:20]}' is no column", f"known: {', '.join(COLUMNS)}")
    missing = [name for name in ("date", "t_max_c", "t_min_c") if name not in header]
    if missing:
        raise WeatherError(1, 1, f"column {missing[0]} is missing", "name the columns in the first line")
    days: dict[date, DayWeather] = {}
    for number, row in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        day, weather = _row(number, header, row)
        if day in days:
            raise WeatherError(number, 1, f"{day} is there twice", "keep one line for each day")
        days[day] = weather
    if not days:
        raise WeatherError(1, 1, "there are no days", "write one line for each day")
    return days


def _row(number: int, header: list[str], row: list[str]) -> tuple[date, DayWeather]:
    if len(row) != len(header):
        raise WeatherError(number, 1, f"{len(row)} values for {len(header)} columns", "write one for each column")
    values: dict[str, float | None] = {}
    day, column = date.min, 1
    for name, cell in zip(header, row, strict=True):
        text = cell.strip()
        if name == "date":
            try:
                day = date.fromisoformat(text)
            except ValueError:
                raise WeatherError(number, column, f"'{text[:20]}' is no date", "write 2026-06-21") from None
        else:
            values[name] = _value(number, column, name, text)
        column += len(cell) + 1
    high, low = values["t_max_c"], values["t_min_c"]
    if high is None or low is None or high < low:
        raise WeatherError(number, 1, "the day's temperatures do not fit", "write t_max_c above t_min_c")
    others = {name: value for name, value in values.items() if name not in ("t_max_c", "t_min_c")}
    return day, DayWeather(high, low, **others)


def _value(number: int, column: int, name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not -60 <= value <= 100:
        remedy = f"write a plain number of {COLUMNS[name]}, or nothing"
        raise WeatherError(number, column, f"'{text[:20]}' is no {name}", remedy)
    return value
