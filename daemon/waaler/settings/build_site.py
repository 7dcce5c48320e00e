"""From crops, weather and feed as written to what the budget owns."""

from datetime import date
from pathlib import Path

from waaler.bed.demand import Shelter, Site
from waaler.bed.figures import Figures
from waaler.bed.thirst import Thirst
from waaler.bed.weather import DayWeather, Weather
from waaler.bed.weather_table import MOST_BYTES, WeatherError, weather_of_csv
from waaler.settings.faults import Fault, SettingsError
from waaler.settings.models import BedFile
from waaler.settings.outside_file import text_of

__all__ = ["USUAL_MONTHS", "shelter", "site", "thirst", "weather"]

USUAL_MONTHS = ((24.0, 14.0),) * 12
"""Where the file says nothing of the weather: a mild day. Common practice, no source."""

LETS_THROUGH = {"outdoors": 1.0, "net": 0.75, "film": 0.7, "glass": 0.7}
"""Share of the outdoor demand; by the light that gets in. Common practice, no source."""

OPEN = frozenset({"outdoors", "net"})
"""Where wind reaches the plants."""


def site(file: BedFile) -> Site:
    feed, weather = file.feed, file.weather
    return Site(
        latitude_deg=file.place.latitude,
        elevation_m=100.0 if weather is None else weather.elevation,
        shelter=shelter(file),
        ec=feed.ec,
        uptake_share=feed.uptake / 100,
        water_ec=feed.water,
    )


def shelter(file: BedFile) -> Shelter:
    """As it is written; outdoors where nothing is."""
    kind = file.shelter or "outdoors"
    own = None if file.weather is None else file.weather.transmission
    return Shelter(LETS_THROUGH[kind] if own is None else own / 100, kind in OPEN)


def weather(file: BedFile, folder: Path) -> Weather:
    """folder: where a relative path of the table begins. Raises SettingsError for a table that cannot be read.

    Where the settings are at hand, take theirs: a table is read once.
    """
    section = file.weather
    if section is None or section.csv is None:
        return Weather(USUAL_MONTHS if section is None or section.normals is None else tuple(section.normals))
    return Weather(USUAL_MONTHS, tuple(sorted(_table(folder / section.csv).items())))


def thirst(file: BedFile, figures: Figures, weather: Weather) -> Thirst | None:
    """None where no window waters by demand."""
    rules = (window.on_demand for window in file.plan)
    if not any(rule is not None and rule.per_demand is not None for rule in rules):
        return None
    return Thirst(site(file), figures, weather, file.place.longitude)


def _table(path: Path) -> dict[date, DayWeather]:
    try:
        return weather_of_csv(text_of(path, MOST_BYTES, "name a table of days or hours, of at most 8 MB"))
    except WeatherError as problem:
        fault = Fault(str(path), problem.line, problem.column, problem.what, problem.remedy)
        raise SettingsError((fault,)) from None
