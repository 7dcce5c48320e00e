"""From planting to full cover: the paper's examples, its curve by hand, and what handbooks say that plants drink."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.crops import Crop, Stages, canopy_m2, climate_term, coefficient, cover_term, height_m
from waaler.bed.demand import Shelter, Site, drinks_l, litres_per_plant
from waaler.bed.evaporation import noon_height_rad
from waaler.bed.pots import Pot
from waaler.bed.weather import DayWeather

REFERENCE = Path(__file__).parents[1] / "reference"
SPARSE = yaml.safe_load((REFERENCE / "et_fao56_sparse_and_small.yaml").read_text())
CURVES = yaml.safe_load((REFERENCE / "crop_kc_curve.yaml").read_text())
TOMATO = Crop("tomato", Stages((30, 40, 45, 30), 1.15, 0.8), date(2026, 5, 1), 0.4, 2.0, 4.0, height_m=1.8)
GLASS, OPEN = Site(40.0, 100.0, Shelter(0.7, False)), Site(40.0, 100.0)
PLAIN = DayWeather(30.0, 16.0)


def air(wind: float, rh_min: float) -> DayWeather:
    return DayWeather(30.0, 16.0, 90.0, rh_min, wind, 20.0)


# --- worked examples ------------------------------------------------------------------------------------


def test_the_share_of_ground_that_is_covered_makes_the_coefficient_of_example_41() -> None:
    """Source: FAO-56 example 41, read in source: plants as wide as tall on 0.3 of the ground."""
    example = SPARSE["ex41_as_wide_as_tall"]
    given, exact = example["inputs"], example["exact_"]
    full = 1.2 + climate_term(air(given["u2"], given["rhmin"]), given["h_m"])
    term = cover_term(given["fc"], exact["fc_eff"], given["h_m"], is_open=True)

    assert noon_height_rad(given["latitude_deg"], given["day"]) == pytest.approx(exact["eta_rad"], abs=5e-5)
    assert full == pytest.approx(exact["kcb_full"], abs=5e-5)
    assert given["kc_min"] + (full - given["kc_min"]) * term == pytest.approx(exact["kcb_mid"], abs=5e-5)


def test_wind_and_humidity_change_the_coefficient_as_in_the_examples() -> None:
    """Source: FAO-56 examples 27 and 40, and its ratio (68), read in source."""
    maize, ratio, half = CURVES["ex27_kc_mid_maize"], CURVES["eq68_ratio"], SPARSE["ex40_tomato_half_cover"]
    for case in maize["cases"]:
        term = climate_term(air(case["u2_m_per_s"], case["rhmin_pct"]), maize["height_m"])
        assert maize["kc_mid_table"] + term == pytest.approx(case["exact_"], abs=5e-4), case["place"]
    term = climate_term(air(half["inputs"]["u2"], half["inputs"]["rhmin"]), half["inputs"]["h_m"])
    assert term == pytest.approx(half["exact_"]["climate_term"], abs=5e-5)
    term = climate_term(air(ratio["u2_m_per_s"], ratio["rhmin_pct"]), ratio["height_m"])
    assert ratio["kc"] + term == pytest.approx(ratio["exact_"], abs=5e-4)


def test_beyond_the_bounds_of_the_correction_its_bounds_count_and_the_unknown_changes_nothing() -> None:
    """1 to 6 m/s, 20 to 80 %, 0.1 m at least: 0.04 (6 - 2) - 0.004 (20 - 45) = 0.26 by (0.1 / 3) ^ 0.3 = 0.3605."""
    assert climate_term(air(20.0, 5.0), 0.01) == pytest.approx(0.26 * 0.36046, rel=1e-4)
    assert climate_term(air(0.0, 100.0), 3.0) == pytest.approx(-0.04 - 0.14)
    assert climate_term(PLAIN, 2.0) == 0.0


# --- from planting to full cover ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "share"),
    [
        (0, 0.03),
        (15, 0.03 * (0.1 / 0.03) ** 0.5),
        (30, 0.1),
        (50, 0.55),
        (70, 1.0),
        (115, 1.0),
        (145, 1.0),
        (400, 1.0),
    ],
)
def test_a_canopy_grows_from_a_transplant_to_a_tenth_and_then_on_a_line_to_all(number: int, share: float) -> None:
    assert canopy_m2(TOMATO, number) == pytest.approx(0.4 * share)
    assert height_m(TOMATO, number) == pytest.approx(1.8 * share**0.5)


def test_a_large_transplant_keeps_its_size_until_the_crop_has_grown_past_it() -> None:
    potted = replace(TOMATO, transplant_m2=0.1)

    assert [canopy_m2(potted, n) for n in (1, 30, 50, 70)] == pytest.approx([0.1, 0.1, 0.25, 0.4])


def test_a_transplant_drinks_what_transplants_drink() -> None:
    """Published: 0.06 L, and 1.9 to 2.8 L when full-grown (Mississippi State University Extension P1828, from memory):
    one to between 32 and 47. On one and the same day, so that the weather does not count.
    """
    june = date(2026, 6, 21)
    first, grown = (
        litres_per_plant(GLASS, replace(TOMATO, planted=june - timedelta(days=n)), june, 5.5, PLAIN)
        for n in (0, 90)
    )

    assert 0.03 < first < 0.1
    assert 1.5 < grown < 2.8
    assert 1 / 47 < first / grown < 1 / 28


def test_the_season_of_a_plant_is_counted_by_hand() -> None:
    """Glass, grown plants that meet, reference 5 mm: at the summer solstice at 40 N the sun stands 73.4 degrees high, so
    shade is 1.0434 of the cover. Day 50: 0.55 of 0.4 m2: 5 x 0.7 x 1.15 x 0.4 x 0.55 x 1.0434 L.
    """
    june = date(2026, 6, 21)
    half = replace(TOMATO, planted=june - timedelta(days=49))
    late = replace(TOMATO, planted=june - timedelta(days=129))

    assert litres_per_plant(GLASS, half, june, 5.0, PLAIN) == pytest.approx(0.92390, rel=1e-3)
    assert litres_per_plant(GLASS, late, june, 5.0, PLAIN) == pytest.approx(5 * 0.7 * 0.975 * 0.4)
    assert litres_per_plant(GLASS, replace(TOMATO, planted=june + timedelta(days=1)), june, 5.0, PLAIN) == 0.0
    assert coefficient(TOMATO.stages, 130) == pytest.approx(0.975)


def test_a_grown_plant_drinks_millimetres_on_its_canopy() -> None:
    """5 mm, Kc 1.15, 0.35 m2: 2.0125 L a plant. Source: tests/reference/volumes.yaml, crop_demand_case."""
    crop = replace(TOMATO, planted=date(2026, 3, 1), canopy_m2=0.35)

    assert litres_per_plant(OPEN, crop, date(2026, 6, 1), 5.0, PLAIN) == pytest.approx(2.0125)


def test_a_plant_that_stands_alone_outdoors_drinks_more_than_its_shade_and_under_glass_it_does_not() -> None:
    """0.4 m2 on 2 m2 of ground is 0.2: outdoors 2 x 0.2 of the ground's 5 x 1.15 x 2 L, twice what 0.4 m2 drink in a
    closed stand; in a house what its shade catches, 0.2 x 1.0434.
    """
    june = date(2026, 6, 21)
    alone = replace(TOMATO, planted=date(2026, 3, 20), ground_m2=2.0)

    assert litres_per_plant(OPEN, alone, june, 5.0, PLAIN) == pytest.approx(2 * 5 * 1.15 * 0.4)
    assert litres_per_plant(GLASS, alone, june, 5.0, PLAIN) == pytest.approx(
        0.7 * 5 * 1.15 * 0.4 * 1.0434, rel=1e-3
    )


def test_wind_counts_outdoors_and_not_in_a_closed_house() -> None:
    june, crop = date(2026, 6, 21), replace(TOMATO, planted=date(2026, 3, 20))
    windy = air(5.0, 30.0)
    term = (0.04 * 3 + 0.004 * 15) * (1.8 / 3) ** 0.3

    assert litres_per_plant(OPEN, crop, june, 5.0, windy) == pytest.approx(5 * (1.15 + term) * 0.4)
    assert litres_per_plant(GLASS, crop, june, 5.0, windy) == pytest.approx(0.7 * 5 * 1.15 * 0.4)


@given(number=st.integers(1, 400), ground=st.floats(0.05, 5), latitude=st.floats(-80, 80), is_open=st.booleans())
def test_no_plant_drinks_more_than_its_ground_in_full_or_twice_its_shade_outdoors(
    number: int, ground: float, latitude: float, is_open: bool
) -> None:
    june = date(2026, 6, 21)
    crop = replace(TOMATO, planted=june - timedelta(days=number - 1), ground_m2=ground)
    litres = litres_per_plant(Site(latitude, 0.0, Shelter(1.0, is_open)), crop, june, 5.0, PLAIN)

    assert 0 < litres <= 5 * 1.15 * ground * (1 + 1e-9)
    if is_open:
        assert litres <= 5 * 1.15 * 2 * min(ground, canopy_m2(crop, number)) * (1 + 1e-9)


def test_the_first_day_after_the_last_stage_is_known() -> None:
    """30 + 40 + 45 + 30 = 145 days from the first of May: the last one is 22 September."""
    assert TOMATO.over_on == date(2026, 9, 23)


def test_each_pot_drinks_by_its_own_plants() -> None:
    pots = (Pot(crop=TOMATO, plants=2.0), Pot(drink_l_per_day=0.7), Pot(crop=TOMATO))
    found = drinks_l(GLASS, pots, date(2026, 7, 20), PLAIN)

    assert found[0] == pytest.approx(2 * found[2])
    assert found[1] == 0.7
