"""From crops, weather and feed as written to what the budget owns."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

from waaler.bed.budget import Site
from waaler.bed.crops import Crop, Stages
from waaler.bed.weather import DayWeather, WeatherError, normal_day, weather_of_csv
from waaler.settings.faults import Fault, SettingsError
from waaler.settings.growing import CropSection
from waaler.settings.models import BedFile

__all__ = ["site", "weather"]

USUAL_MONTHS = ((24.0, 14.0),) * 12
"""Where the file says nothing of the weather: a mild day. Common practice, no source."""


def site(file: BedFile) -> Site:
    feed, weather = file.feed, file.weather
    return Site(
        latitude_deg=file.place.latitude,
        elevation_m=100.0 if weather is None else weather.elevation,
        cover=0.7 if weather is None else weather.cover / 100,
        crops=tuple(_crop(section) for section in file.crops),
        ec=feed.ec,
        uptake_share=feed.uptake / 100,
        water_ec=feed.water,
        top_up_l=0.0 if file.top_up is None else file.top_up.tank,
    )


def weather(file: BedFile, folder: Path) -> Callable[[date], DayWeather]:
    """The weather of any day: from the table, by the same day of another of its years, or from the months.

    folder: where a relative path of the table begins. Raises SettingsError for a table that cannot be read.
    """
    section = file.weather
    if section is None or section.csv is None:
        months = USUAL_MONTHS if section is None or section.normals is None else tuple(section.normals)
        return lambda day: normal_day(months, day)
    days = _table(folder / section.csv)
    by_season = {(day.month, day.day): weather for day, weather in days.items()}
    usual = max(days)

    def of(day: date) -> DayWeather:
        return days.get(day) or by_season.get((day.month, day.day)) or days[usual]

    return of


def _table(path: Path) -> dict[date, DayWeather]:
    try:
        return weather_of_csv(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as problem:
        what = f"cannot be read: {problem}"
        raise SettingsError((Fault(str(path), 1, 1, what, "name a table that exists and may be read"),)) from None
    except WeatherError as problem:
        fault = Fault(str(path), problem.line, problem.column, problem.what, problem.remedy)
        raise SettingsError((fault,)) from None


def _crop(section: CropSection) -> Crop:
    ini, development, mid, late = section.stages
    return Crop(
        name=section.name,
        pots=section.pots,
        plants_per_pot=section.plants_per_pot,
        stages=Stages((ini, development, mid, late), *section.kc),
        planted=section.planted,
        canopy_m2=section.canopy,
        ec_low=section.ec[0],
        ec_high=section.ec[1],
    )
