"""FAO-56 by its own worked examples, to their printed digits; and beside a general library on computed days."""

import csv
import math
from pathlib import Path
from typing import Any

import pandas
import pyet
import pytest
import yaml
from vega_datasets import data

from waaler.bed import evaporation as et
from waaler.bed.weather import DayWeather

REFERENCE = Path(__file__).parents[1] / "reference"
EXAMPLES = {
    row["id"]: row for row in yaml.safe_load((REFERENCE / "et_fao56_examples.yaml").read_text())["examples"]
}
Given = tuple[dict[str, Any], dict[str, Any]]


def example(name: str) -> Given:
    return EXAMPLES[name]["in"], EXAMPLES[name]["out"]


def printed(value: float, digits: int) -> Any:
    """Half a unit in the last printed digit."""
    return pytest.approx(value, abs=0.5001 * 10**-digits)


def test_pressure_and_psychrometric_constant_example_2() -> None:
    given, told = example("ex2")

    assert et.pressure_kpa(given["elevation_m"]) == printed(told["pressure_kPa"], 1)
    assert et.psychrometric_kpa_per_c(given["elevation_m"]) == printed(told["gamma_kPa_per_C"], 3)


def test_saturation_example_3() -> None:
    given, told = example("ex3")

    assert et.saturation_kpa(given["tmax_C"]) == printed(told["e0_tmax_kPa"], 3)
    assert et.saturation_kpa(given["tmin_C"]) == printed(told["e0_tmin_kPa"], 3)


def test_vapour_pressure_example_5() -> None:
    given, told = example("ex5")
    both = DayWeather(given["tmax_C"], given["tmin_C"], given["rhmax_pct"], given["rhmin_pct"])

    assert et.vapour_kpa(both) == printed(told["ea_eq17_kPa"], 2)
    mean = DayWeather(given["tmax_C"], given["tmin_C"], None, (given["rhmax_pct"] + given["rhmin_pct"]) / 2)
    assert et.vapour_kpa(mean) == printed(told["ea_eq19_kPa"], 2)


def test_extraterrestrial_radiation_and_daylight_examples_8_and_9() -> None:
    given, _ = example("ex8")
    exact = EXAMPLES["ex8"]["exact_"]["ra_MJ_per_m2_d"]

    assert et.extraterrestrial_mj_per_m2(given["latitude_deg"], 246) == pytest.approx(exact, abs=1e-3)
    assert et.daylight_h(-20, 246) == printed(example("ex9")[1]["daylight_h"], 1)


def test_net_longwave_example_11() -> None:
    given, told = example("ex11")
    weather = DayWeather(given["tmax_C"], given["tmin_C"])
    share = given["rs_MJ_per_m2_d"] / et.clear_sky_mj_per_m2(given["ra_MJ_per_m2_d"], 0)

    assert share == printed(told["rs_over_rso"], 2)
    assert et.net_longwave_mj_per_m2(weather, given["ea_kPa"], share) == printed(told["rnl_MJ_per_m2_d"], 1)


def test_radiation_of_temperature_example_15() -> None:
    given, told = example("ex15")
    extraterrestrial = et.extraterrestrial_mj_per_m2(given["latitude_deg"], given["day_of_year"])
    found = et.radiation_of_temperature(given["tmax_C"], given["tmin_C"], extraterrestrial)

    assert extraterrestrial == printed(told["ra_MJ_per_m2_d"], 1)
    assert found == printed(told["rs_MJ_per_m2_d"], 1)


def test_a_day_with_everything_known_example_18() -> None:
    given, told = example("ex18_uccle")
    weather = DayWeather(
        given["tmax_C"],
        given["tmin_C"],
        given["rhmax_pct"],
        given["rhmin_pct"],
        told["u2_m_per_s"],
        told["rs_MJ_per_m2_d"],
    )
    found = et.reference_mm(weather, given["latitude_deg"], given["elevation_m"], given["day_of_year"])

    assert found.method is et.Method.PENMAN_MONTEITH
    assert found.mm == pytest.approx(told["et0_mm_per_d"], abs=0.01)


def test_a_month_with_soil_heat_example_17() -> None:
    given, told = example("ex17_bangkok")
    weather = DayWeather(given["tmax_C"], given["tmin_C"])
    found = et.penman_monteith_mm(
        weather, told["rn_MJ_per_m2_d"], given["ea_kPa"], given["u2_m_per_s"], given["elevation_m"], 0.14
    )

    assert found == pytest.approx(told["et0_mm_per_d"], abs=0.011)


def test_missing_data_are_filled_in_as_in_example_20() -> None:
    given, told = example("ex20_lyon_missing_data")
    weather = DayWeather(given["tmax_C"], given["tmin_C"], wind_m_per_s=given["u2_assumed_m_per_s"])
    found = et.reference_mm(weather, given["latitude_deg"], given["elevation_m"], given["day_of_year"])

    assert found.method is et.Method.FILLED_IN
    assert found.mm == pytest.approx(told["et0_mm_per_d"], abs=0.01)


def test_temperatures_alone_go_by_hargreaves_as_in_example_20() -> None:
    given, told = example("ex20_lyon_missing_data")
    weather = DayWeather(given["tmax_C"], given["tmin_C"])
    found = et.reference_mm(weather, given["latitude_deg"], given["elevation_m"], given["day_of_year"])

    assert found.method is et.Method.HARGREAVES
    assert found.mm == printed(told["hargreaves_eq52_mm_per_d"], 1)


LINES = (REFERENCE / "et_daily_computed.csv").read_text().splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['date']} {row['latitude_deg']}")
def test_days_agree_with_two_general_libraries(row: dict[str, str]) -> None:
    """pyet 1.5.0 and refet 0.5.0, computed beforehand: 1 % or 0.02 mm, as the file says."""
    value = {name: float(text) for name, text in row.items() if name != "date"}
    weather = DayWeather(
        value["tmax_C"],
        value["tmin_C"],
        value["rhmax_pct"],
        value["rhmin_pct"],
        value["u2_m_per_s"],
        value["rs_MJ_per_m2_d"],
    )
    found = et.reference_mm(weather, value["latitude_deg"], value["elevation_m"], int(value["day_of_year"]))

    for name in ("et0_fao56_mm_per_d", "et0_pyet_mm_per_d", "et0_refet_asce_mm_per_d"):
        assert found.mm == pytest.approx(max(0.0, value[name]), rel=0.01, abs=0.02), name  # dew is no drink
    bare = DayWeather(value["tmax_C"], value["tmin_C"])
    by_temperature = et.reference_mm(bare, value["latitude_deg"], value["elevation_m"], int(value["day_of_year"]))
    assert by_temperature.mm == pytest.approx(value["hargreaves_eq52_mm_per_d"], rel=0.01, abs=0.02)


def test_where_the_sun_does_not_rise_there_is_no_radiation_and_no_error() -> None:
    assert et.extraterrestrial_mj_per_m2(80, 355) == pytest.approx(0.0)
    assert et.daylight_h(80, 172) == pytest.approx(24.0)


@pytest.fixture(scope="module")
def seattle() -> pandas.DataFrame:
    """Four years of measured days that a registry package ships (vega_datasets: NOAA's record of Seattle)."""
    table = data.seattle_weather().set_index("date")
    return table.asfreq("D")


def test_real_days_by_temperature_alone_agree_with_pyet(seattle: pandas.DataFrame) -> None:
    """pyet's own Hargreaves, on 1461 measured days: 1 % or 0.02 mm.

    It takes the latent heat at the day's temperature, the paper 2.45 MJ/kg throughout: that is put right first."""
    mean = (seattle.temp_max + seattle.temp_min) / 2
    expected = pyet.hargreaves(mean, seattle.temp_max, seattle.temp_min, lat=math.radians(47.61))
    expected *= (2.501 - 0.002361 * mean) / 2.45
    found = [
        et.reference_mm(DayWeather(high, low), 47.61, 50.0, day.dayofyear).mm
        for day, high, low in zip(seattle.index, seattle.temp_max, seattle.temp_min, strict=True)
    ]

    assert len(found) == 1461
    assert found == pytest.approx([max(0.0, mm) for mm in expected], rel=0.01, abs=0.02)


def test_real_days_with_wind_agree_with_pyet(seattle: pandas.DataFrame) -> None:
    """pyet's Penman-Monteith given the same filled-in humidity and radiation: 1 % or 0.02 mm."""
    mean = (seattle.temp_max + seattle.temp_min) / 2
    sun = [
        et.radiation_of_temperature(high, low, et.extraterrestrial_mj_per_m2(47.61, day.dayofyear))
        for day, high, low in zip(seattle.index, seattle.temp_max, seattle.temp_min, strict=True)
    ]
    vapour = seattle.temp_min.map(et.saturation_kpa)
    expected = pyet.pm_fao56(
        mean, seattle.wind, rs=pandas.Series(sun, seattle.index), elevation=50.0, lat=math.radians(47.61),
        tmax=seattle.temp_max, tmin=seattle.temp_min, ea=vapour,
    )  # fmt: skip
    found = [
        et.reference_mm(DayWeather(high, low, wind_m_per_s=wind), 47.61, 50.0, day.dayofyear).mm
        for day, high, low, wind in zip(
            seattle.index, seattle.temp_max, seattle.temp_min, seattle.wind, strict=True
        )
    ]

    assert found == pytest.approx([max(0.0, mm) for mm in expected], rel=0.01, abs=0.02)
