"""The crop's coefficient by its stages, its litres, the solution's salts, and weather from a table."""

from datetime import date
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.crops import Stages, coefficient
from waaler.bed.solution import Solution, after
from waaler.bed.weather import DayWeather, normal_day
from waaler.bed.weather_table import WeatherError, weather_of_csv

REFERENCE = Path(__file__).parents[1] / "reference"
CURVES = yaml.safe_load((REFERENCE / "crop_kc_curve.yaml").read_text())
SALTS = yaml.safe_load((REFERENCE / "nutrient_balance.yaml").read_text())


# --- refusals ---------------------------------------------------------------------------------

HEAD = "date,t_max_c,t_min_c\n"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "1:1: column date is missing; name the columns in the first line"),
        ("date,t_max_c,t_min_c,rain\n", "1:22: 'rain' is no column; known: date, t_max_c, t_min_c, rh_max_percent,"
         " rh_min_percent, wind_m_per_s, radiation_mj_per_m2"),
        (HEAD, "1:1: there are no days; write one line for each day"),
        (HEAD + "june,20,10\n", "2:1: 'june' is no date; write 2026-06-21"),
        (HEAD + "2026-06-21,hot,10\n", "2:12: 'hot' is no t_max_c; write a plain number of degrees C from -60 to 60, or nothing"),
        (HEAD + "2026-06-21,nan,10\n", "2:12: 'nan' is no t_max_c; write a plain number of degrees C from -60 to 60, or nothing"),
        (HEAD + "2026-06-21,10,20\n", "2:1: the day's temperatures do not fit; write t_max_c above t_min_c"),
        (HEAD + "2026-06-21,20\n", "2:1: 2 values for 3 columns; write one for each column"),
        (HEAD + "2026-06-21,20,10\n2026-06-21,20,10\n", "3:1: 2026-06-21 is there twice; keep one line for each"),
    ],
)  # fmt: skip
def test_a_weather_table_that_makes_no_sense_is_told_with_its_place(text: str, told: str) -> None:
    with pytest.raises(WeatherError) as caught:
        weather_of_csv(text)

    assert str(caught.value) == told


# --- weather ----------------------------------------------------------------------------------


def test_a_table_may_leave_out_what_is_not_known() -> None:
    days = weather_of_csv("date,t_max_c,t_min_c,wind_m_per_s\n2026-06-21,28.5,14,\n2026-06-22,30,15,1.5\n")

    assert days[date(2026, 6, 21)] == DayWeather(28.5, 14.0)
    assert days[date(2026, 6, 22)].wind_m_per_s == 1.5


def test_a_usual_day_lies_between_the_middles_of_its_months() -> None:
    months = tuple((10.0 + n, float(n)) for n in range(12))

    assert normal_day(months, date(2026, 3, 15)).t_max_c == pytest.approx(12.0, abs=0.05)
    assert normal_day(months, date(2026, 3, 30)).t_max_c == pytest.approx(12.5, abs=0.05)
    assert normal_day(months, date(2026, 1, 1)).t_min_c == pytest.approx(
        5.7, abs=0.5
    )  # between December and January


# --- crops ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "digits"), [("ex28_dry_bean", 2), ("tomato_mediterranean", 4)])
def test_the_coefficient_of_full_cover_follows_the_published_curve(name: str, digits: int) -> None:
    """From the mid-season on. Source: FAO-56 example 28, read in source; a curve from its tables 11 and 12."""
    row = CURVES[name]
    stages = Stages(tuple(row["lengths_d"]), *row["kc"][1:])
    grown = {day: kc for day, kc in row["days"].items() if day >= sum(row["lengths_d"][:2])}
    assert len(grown) >= 2
    for day, kc in grown.items():
        assert coefficient(stages, day) == pytest.approx(kc, abs=0.51 * 10**-digits), day
    assert coefficient(stages, 1000) == row["kc"][2]


# --- solution ---------------------------------------------------------------------------------


@pytest.mark.parametrize("step", SALTS["single_steps"])
def test_a_step_keeps_water_and_salts(step: dict[str, float]) -> None:
    found = after(
        Solution(step["volume_before_L"], step["c_before"]),
        step["taken_by_plants_L"],
        step["c_of_uptake"],
        step["added_L"],
        step["c_added"],
    )

    assert found.litres == step["volume_after_L"]
    assert found.concentration == pytest.approx(step["c_after"], abs=1e-6)


def test_water_leaves_faster_than_salts_do_and_plain_water_weakens() -> None:
    for name in ("run_no_topup", "run_water_topup"):
        run = SALTS[name]
        now = Solution(run["start_L"], run["start_c"])
        for row in run["days"]:
            added = run.get("added_L_per_d", 0.0)
            now = after(now, run["uptake_L_per_d"], run["c_of_uptake"], added, run.get("c_added", 0.0))
            assert now.litres == pytest.approx(row["volume_L"])
            assert now.concentration == pytest.approx(row["c"], abs=1e-5)


@given(
    litres=st.floats(10, 1000), c=st.floats(0, 5), drunk=st.floats(0, 0.9), uptake=st.floats(0, 1),
    added=st.floats(0, 500), cm=st.floats(0, 3),
)  # fmt: skip
def test_salts_are_conserved(litres: float, c: float, drunk: float, uptake: float, added: float, cm: float) -> None:
    drunk_l, taken = drunk * litres, uptake * c
    found = after(Solution(litres, c), drunk_l, taken, added, cm)

    before = litres * c - drunk_l * taken + added * cm
    assert found.litres * found.concentration == pytest.approx(before, rel=1e-9, abs=1e-9)


# --- hours ----------------------------------------------------------------------------------------

HOURS = "time,t_c,radiation_mj_per_m2\n"


def hours(day: str, *, leave_out: int | None = None) -> str:
    return "".join(
        f"{day}T{hour:02}:00,{10 + hour / 2:g},{0.5 if 8 <= hour < 16 else 0}\n"
        for hour in range(24)
        if hour != leave_out
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("time,t_max_c\n", "1:6: 't_max_c' is no column; known: time, t_c, rh_percent, wind_m_per_s,"
         " radiation_mj_per_m2"),
        ("time,rh_percent\n", "1:1: column t_c is missing; name the columns in the first line"),
        (HOURS + "noon,20,1\n", "2:1: 'noon' is no time; write 2026-06-21T14:00"),
        (HOURS + "2026-06-21T14:30,20,1\n", "2:1: '2026-06-21T14:30' is no full hour; write 2026-06-21T14:00, local"
         " standard time without an offset"),
        (HOURS + "2026-06-21T14:00+02:00,20,1\n", "2:1: '2026-06-21T14:00+02:00' is no full hour; write"
         " 2026-06-21T14:00, local standard time without an offset"),
        (HOURS + hours("2026-06-21", leave_out=7), "2:1: 2026-06-21 has 23 hours; write all 24, or leave the day out"),
        (HOURS + hours("2026-06-21").replace(",13.5,", ",,"), "2:1: 2026-06-21 lacks a temperature; write t_c for every"
         " hour"),
        (HOURS + hours("2026-06-21") * 2, "26:1: 2026-06-21 00:00 is there twice; keep one line for each"),
    ],
)  # fmt: skip
def test_a_table_of_hours_that_makes_no_sense_is_told_with_its_place(text: str, told: str) -> None:
    with pytest.raises(WeatherError) as caught:
        weather_of_csv(text)

    assert str(caught.value) == told


def test_a_table_of_hours_gives_each_day_its_extremes_and_sums() -> None:
    days = weather_of_csv(HOURS + hours("2026-06-21") + hours("2026-06-22"))

    assert list(days) == [date(2026, 6, 21), date(2026, 6, 22)]
    day = days[date(2026, 6, 21)]
    assert (day.t_max_c, day.t_min_c) == (21.5, 10.0)
    assert day.radiation_mj_per_m2 == pytest.approx(4.0)
    assert day.wind_m_per_s is None
    assert day.hours_c[13] == 16.5
    assert day.hours_mj_per_m2[7:9] == (0.0, 0.5)
