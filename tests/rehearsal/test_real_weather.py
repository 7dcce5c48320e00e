"""A season through measured weather: the table is read, each day drinks by it, and the records of it are true."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from tests.settings.test_faults import SMALLEST
from vega_datasets import data

from waaler.bed.demand import drinks_l
from waaler.rehearsal.play import Play
from waaler.rehearsal.staging import scene_of
from waaler.settings import load
from waaler.settings.build_site import site, weather
from waaler.settings.settings import Settings

CROP = (
    "pots: [{count: 14, crop: beans}]\ncrops: [{name: beans, planted: 2014-05-01, canopy: 0.2 m2, stages: [20, 30, 60, 10],"
    " kc: [1.05, 0.9]}]\nshelter: film\nweather: {csv: seattle.csv}\n"
)
FIRST, DAYS = date(2014, 6, 1), 60


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Two months of measured days that a registry package ships (vega_datasets: NOAA's record of Seattle)."""
    folder = tmp_path_factory.mktemp("bed")
    table = data.seattle_weather()
    lines = [
        f"{row.date:%Y-%m-%d},{row.temp_max},{row.temp_min},{row.wind}"
        for row in table.itertuples()
        if row.date.year == FIRST.year
    ]
    (folder / "seattle.csv").write_text("date,t_max_c,t_min_c,wind_m_per_s\n" + "\n".join(lines) + "\n")
    (folder / "terrace.yaml").write_text(SMALLEST + CROP)
    return load(folder / "terrace.yaml")


def test_a_season_of_measured_days_drinks_what_each_days_weather_asks(settings: Settings) -> None:
    sky = weather(settings.file, Path(settings.source.name).parent)
    start = datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC) - timedelta(hours=1)  # midnight in Lisbon
    found = Play(scene_of(settings, start, DAYS, refill_after_s=12 * 3600.0)).run()
    place = site(settings.file)
    wanted_l = 0.0
    for day in (FIRST + timedelta(days=n) for n in range(DAYS)):
        wanted_l += sum(drinks_l(place, settings.figures.pots, day, sky.on(day)))

    assert not found.does_starve
    assert found.refills
    assert found.drunk_l == pytest.approx(wanted_l, rel=1e-9)
