"""The simulated bed: no water is made or lost, and volumes come out as counted by hand."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.figures import Figures
from waaler.model.bed import Water, advance, capacity_l, daylight_share, full_bed, has_settled, total_l

FIGURES = Figures()
NO_CROP = replace(FIGURES, drink_l_per_pot_day=0.0)


@given(
    st.lists(st.tuples(st.floats(0.5, 4000.0), st.booleans(), st.floats(0.0, 1.0)), max_size=12),
    st.floats(0.0, 23.9),
)
def test_no_water_is_made_or_lost(phases: list[tuple[float, bool, float]], hour: float) -> None:
    water = full_bed(FIGURES)
    before_l = total_l(water)
    for seconds, is_on, drain_open in phases:
        water = advance(water, FIGURES, seconds, is_on, hour, drain_open)

    assert total_l(water) == pytest.approx(before_l, rel=1e-9)
    assert min(water.sump_l, water.media_l, water.tray_l, water.line_l) >= 0


def test_the_pump_lifts_nothing_from_below_its_lowest_level() -> None:
    water = Water(sump_l=NO_CROP.sump_empty_l + 5.0, media_l=0.0)

    water = advance(water, NO_CROP, 3600, True, 12.0)

    assert water.lifted_l == pytest.approx(5.0)
    assert water.sump_l == pytest.approx(NO_CROP.sump_empty_l)


def test_a_run_into_full_media_comes_back_whole() -> None:
    water = advance(full_bed(NO_CROP), NO_CROP, 120.0, True, 12.0)
    lifted_l = 14 * 0.9 * 2  # 14 outlets of 0.9 L/min for 2 min
    assert water.lifted_l == pytest.approx(lifted_l)
    assert water.line_l == pytest.approx(1.5)

    water = advance(water, NO_CROP, 3600, False, 12.0)

    assert water.sump_l == pytest.approx(220.0, abs=0.03)
    assert has_settled(water)


def test_a_run_into_dry_media_stays_there_but_for_the_line() -> None:
    water = advance(Water(sump_l=220.0, media_l=0.0), NO_CROP, 120.0, True, 12.0)
    water = advance(water, NO_CROP, 3600, False, 12.0)

    assert water.media_l == pytest.approx(14 * 0.9 * 2 - 1.5)
    assert water.sump_l == pytest.approx(220.0 - (14 * 0.9 * 2 - 1.5))


def test_with_the_drain_blocked_the_water_stays_in_the_tray_and_spills_over_its_rim() -> None:
    water = advance(full_bed(NO_CROP), NO_CROP, 600.0, True, 12.0, drain_open=0.0)

    assert water.tray_l == pytest.approx(100.0)
    assert water.spilled_l == pytest.approx(14 * 0.9 * 10 - 1.5 - 100.0)


def test_a_days_drink_is_what_the_figures_say() -> None:
    water = advance(full_bed(FIGURES), FIGURES, 86_400, False, 0.0)

    assert water.drunk_l == pytest.approx(14 * 1.2, rel=1e-3)


def test_the_daylight_shares_of_a_day_add_up_to_one() -> None:
    assert sum(daylight_share(n / 100) / 100 for n in range(2400)) == pytest.approx(1.0, abs=1e-4)


def test_plants_below_the_wilting_point_drink_less() -> None:
    wilting_l = 14 * 18.0 * 0.1
    half = advance(Water(sump_l=220.0, media_l=wilting_l / 2), FIGURES, 60, False, 13.0)
    full = advance(Water(sump_l=220.0, media_l=wilting_l * 2), FIGURES, 60, False, 13.0)

    assert half.drunk_l == pytest.approx(full.drunk_l / 2, rel=1e-3)
    assert capacity_l(FIGURES) == pytest.approx(75.6)
