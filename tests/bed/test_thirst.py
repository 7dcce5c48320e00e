"""What a pot drinks by the hour: the budget's day, spread over the sun's hours."""

from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from waaler.bed.crops import Crop, Stages
from waaler.bed.demand import Shelter, Site
from waaler.bed.evaporation import daylight_h, extraterrestrial_mj_per_m2
from waaler.bed.figures import Figures
from waaler.bed.pots import Pot, alike
from waaler.bed.thirst import Thirst, noon_h
from waaler.bed.weather import DayWeather, Weather

LISBON = ZoneInfo("Europe/Lisbon")
DAY = date(2026, 7, 1)
BEANS = Crop("beans", Stages((1, 1, 400, 1), 1.0, 0.3), date(2026, 5, 1), 0.2, 1.5, 2.5)
MAIZE = Crop("maize", Stages((1, 1, 400, 1), 1.2, 0.3), date(2026, 5, 1), 0.5, 1.5, 2.5)
SITE = Site(38.72, 50.0, Shelter(0.7, False))
POTS = alike(3, Pot(crop=BEANS, plants=2.0)) + alike(2, Pot(crop=MAIZE))
THIRST = Thirst(SITE, Figures(pots=POTS), Weather(((28.0, 14.0),) * 12), -9.14)


def at(hour: float) -> datetime:
    return datetime(2026, 7, 1, tzinfo=LISBON) + timedelta(hours=hour)


def test_the_hours_of_a_day_add_up_to_what_the_thirstiest_pot_drinks() -> None:
    """Hargreaves by hand: 0.0023 (21 + 17.8) sqrt(14) 0.408 Ra, times cover, Kc 1.2 and half a square metre."""
    reference = 0.0023 * (21 + 17.8) * 14**0.5 * 0.408 * extraterrestrial_mj_per_m2(38.72, 182)
    hours = [THIRST.litres(a, b) for a, b in pairwise(at(n) for n in range(25))]

    assert sum(hours) == pytest.approx(0.7 * 1.2 * 0.5 * reference, rel=1e-6)
    assert THIRST.day_l(DAY) == pytest.approx(0.7 * 1.2 * 0.5 * reference)


def test_nothing_is_drunk_by_night_and_most_when_the_sun_is_highest() -> None:
    """Lisbon lies 9 degrees west and has summer time: its noon is at 13:37 by the clock."""
    half_h = daylight_h(38.72, 182) / 2
    hours = [THIRST.litres(at(n), at(n + 1)) for n in range(24)]

    assert noon_h(-9.14, 1.0) == pytest.approx(13.609, abs=0.001)
    assert hours[0] == hours[5] == 0 < hours[6]
    assert hours[21] == 0
    assert max(hours) == hours[13]
    assert THIRST.litres(at(0), at(13.6093)) == pytest.approx(THIRST.day_l(DAY) / 2, rel=1e-3)
    assert half_h > 7


def test_measured_temperatures_stand_in_for_the_weathers() -> None:
    hot = THIRST.day_l(DAY, (18.0, 38.0))

    assert hot == pytest.approx(THIRST.day_l(DAY) * (28 + 17.8) / (21 + 17.8) * (20 / 14) ** 0.5)


def test_a_polar_night_gives_nothing_and_no_error() -> None:
    north = Thirst(Site(75.0, 0.0), Figures(pots=POTS[3:]), Weather(((5.0, -5.0),) * 12), 20.0)
    winter = datetime(2026, 12, 21, 12, tzinfo=ZoneInfo("Europe/Oslo"))

    assert north.litres(winter, winter + timedelta(hours=1)) == 0.0


def test_weather_of_a_table_holds_for_its_days_and_for_the_same_days_of_other_years() -> None:
    table = Weather((), ((date(2026, 6, 21), DayWeather(28, 14)), (date(2026, 6, 22), DayWeather(30, 15))))

    assert [table.on(day).t_max_c for day in (date(2026, 6, 21), date(2031, 6, 21), date(2026, 1, 1))] == [
        28,
        28,
        30,
    ]
