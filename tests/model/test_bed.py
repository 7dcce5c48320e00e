"""The simulated bed: no water is made or lost, and volumes come out as counted by hand."""

from dataclasses import replace
from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.figures import Figures
from waaler.bed.pots import Pot
from waaler.model.bed import DRIP_S, Bed, Feed, Water, advance, full_bed, has_settled, in_bed_l, total_l
from waaler.model.outlets import Outlets
from waaler.model.sky import Sky, air_by_hour, shares_of_daylight

FIGURES = Figures()
BED = Bed(FIGURES, Outlets(FIGURES))
POT = Pot()
SKY = Sky((1.2,) * 14, evaporates_l=0.8)
NO_CROP = Sky((0.0,) * 14)
FLOW_L_PER_MIN = 14 * 0.9


def dry(sump_l: float = 220.0) -> Water:
    return Water(sump_l=sump_l, media_l=(0.0,) * 14)


@given(
    st.lists(st.tuples(st.floats(0.5, 4000.0), st.booleans(), st.floats(0.0, 1.0)), max_size=12),
    st.floats(0.0, 23.9),
)
def test_no_water_is_made_or_lost(phases: list[tuple[float, bool, float]], hour: float) -> None:
    water = full_bed(BED)
    before_l = total_l(water)
    for seconds, is_on, drain_open in phases:
        water = advance(BED, water, seconds, is_on, SKY, hour, drain_open)

    assert total_l(water) == pytest.approx(before_l, rel=1e-12)
    assert min(water.sump_l, *water.media_l, water.tray_l, water.line_l, water.dripping_l) >= 0


def test_the_pump_lifts_nothing_from_below_its_lowest_level() -> None:
    water = advance(BED, dry(FIGURES.sump_empty_l + 5.0), 3600, True, NO_CROP, 12.0)

    assert water.sump_l == pytest.approx(FIGURES.sump_empty_l, abs=0.01)
    assert water.lifted_l >= 5.0  # and again whatever ran past the dry media


def test_a_run_into_full_media_comes_back_whole_to_the_millilitre() -> None:
    water = advance(BED, full_bed(BED), 120.0, True, NO_CROP, 12.0)
    assert water.lifted_l == pytest.approx(FLOW_L_PER_MIN * 2, abs=1e-9)
    assert water.line_l == pytest.approx(1.5, abs=1e-12)

    water = advance(BED, water, 3600, False, NO_CROP, 12.0)

    assert water.sump_l == pytest.approx(220.0, abs=1e-9)
    assert has_settled(water)


def test_a_single_pot_without_a_crop_holds_what_was_counted_by_hand() -> None:
    """0.5 L/min for 4 min into 6 L of dry media that hold 1.8 L: 0.2 L stay in the line, 1.8 L go out to the pot, which
    keeps half of them and more as it grows wet, and nothing drips before it is full."""
    figures = replace(FIGURES, pots=(Pot(1.8, 0.9, 6e-9, flow_l_per_min=0.5),), line_l=0.2)
    bed = Bed(figures, Outlets(figures))
    water = advance(bed, Water(sump_l=100.0, media_l=(0.1,)), 240.0, True, Sky((0.0,)), 12.0)

    assert water.lifted_l == pytest.approx(2.0, abs=1e-12)
    assert water.line_l == pytest.approx(0.2, abs=1e-12)
    assert water.media_l[0] == pytest.approx(1.8, abs=1e-12)  # full: 0.1 + 1.8 is more than it holds
    water = advance(bed, water, 7200.0, False, Sky((0.0,)), 12.0)
    assert water.sump_l == pytest.approx(98.3, abs=1e-9)  # 100 + 0.1 in the pot before, less 1.8


def test_what_is_above_capacity_drips_out_as_a_share_of_what_is_left() -> None:
    water = replace(full_bed(BED), dripping_l=3.0)

    water = advance(BED, water, 60.0, False, NO_CROP, 0.0, drain_open=0.0)

    assert water.dripping_l == pytest.approx(3.0 * exp(-60.0 / DRIP_S))
    assert water.tray_l == pytest.approx(3.0 * (1 - exp(-60.0 / DRIP_S)))


def test_a_pot_below_its_wilting_mark_lets_part_of_the_water_run_past() -> None:
    """At half of the mark it keeps three quarters: halfway between a half and all."""
    ease_l = POT.wilting_l
    half = replace(dry(), media_l=(ease_l / 2,) * 14, line_l=1.5)
    given_l = FLOW_L_PER_MIN / 60

    water = advance(BED, half, 1.0, True, NO_CROP, 12.0)

    assert sum(water.media_l) - sum(half.media_l) == pytest.approx(0.75 * given_l)
    assert water.dripping_l + water.tray_l > 0


def test_each_pot_holds_and_wilts_by_its_own_marks() -> None:
    """A full pot of 5.4 L keeps none of what it is given, one of 3 L that is 0.5 L short keeps that. Both drink 1 L of
    what they want in full; the one that is at its mark of 2 L takes 2 (1 - 1/e^0.5) = 0.787 L.
    """
    pots = (Pot(5.4, 3.6, 1.8), Pot(3.0, 2.5, 2.0))
    figures = replace(FIGURES, pots=pots)
    bed = Bed(figures, Outlets(figures))
    given = advance(bed, replace(dry(), media_l=(5.4, 2.5), line_l=1.5), 60.0, True, Sky((0.0, 0.0)), 12.0)
    drunk = advance(bed, replace(dry(), media_l=(4.0, 2.0)), 86_400, False, Sky((1.0, 1.0)), 0.0)

    assert full_bed(bed).media_l == (5.4, 3.0)
    assert given.media_l == pytest.approx((5.4, 3.0))
    assert drunk.media_l == pytest.approx((3.0, 2.0 * exp(-0.5)))


def test_with_the_drain_blocked_the_water_stays_in_the_tray_and_spills_over_its_rim() -> None:
    water = advance(BED, full_bed(BED), 600.0, True, NO_CROP, 12.0, drain_open=0.0)
    water = advance(BED, water, 7200.0, False, NO_CROP, 12.0, drain_open=0.0)

    assert water.tray_l == pytest.approx(100.0)
    assert water.spilled_l == pytest.approx(FLOW_L_PER_MIN * 10 - 1.5 - 100.0)


def test_a_days_drink_is_what_the_figures_say() -> None:
    water = advance(BED, full_bed(BED), 86_400, False, SKY, 0.0)

    assert water.drunk_l == pytest.approx(14 * 1.2, rel=1e-12)
    assert water.evaporated_l == pytest.approx(0.8, rel=1e-12)


def test_one_long_step_is_as_many_short_ones() -> None:
    long = advance(BED, full_bed(BED), 30 * 3600, False, SKY, 5.0)
    short = full_bed(BED)
    for n in range(1800):
        short = advance(BED, short, 60.0, False, SKY, (5.0 + n / 60) % 24)

    assert long.media_l == pytest.approx(short.media_l, rel=1e-9)


def test_most_of_the_drink_is_taken_around_noon_and_none_by_night() -> None:
    at_night = advance(BED, full_bed(BED), 4 * 3600, False, SKY, 0.0)
    at_noon = advance(BED, full_bed(BED), 4 * 3600, False, SKY, 11.0)

    assert at_night.drunk_l == 0
    assert at_noon.drunk_l == pytest.approx(14 * 1.2 * sum(SKY.shares[11:15]))
    assert at_noon.drunk_l > 0.4 * 14 * 1.2


@pytest.mark.parametrize(("dawn_h", "dusk_h"), [(6.0, 20.0), (4.37, 22.9), (11.9, 12.3), (9.0, 9.0), (-2.0, 26.0)])
def test_the_daylight_shares_of_a_day_add_up_to_one(dawn_h: float, dusk_h: float) -> None:
    shares = shares_of_daylight(dawn_h, dusk_h)

    assert sum(shares) == pytest.approx(1.0, rel=1e-12)
    assert min(shares) >= 0


def test_the_air_is_warmest_at_three_in_the_afternoon() -> None:
    sky = Sky((), air_c=air_by_hour(20.0, 8.0))

    assert sky.air_at(15.0) == pytest.approx(28.0)
    assert sky.air_at(3.0) == pytest.approx(12.0)
    assert sky.air_at(23.5) == pytest.approx((sky.air_c[23] + sky.air_c[0]) / 2)


def test_plants_below_the_wilting_mark_drink_in_proportion_to_what_is_left() -> None:
    """FAO Irrigation and Drainage Paper 56, (84): the stress coefficient falls on a straight line to nothing."""
    ease_l = POT.wilting_l
    half = advance(BED, replace(dry(), media_l=(ease_l / 2,) * 14), 1.0, False, SKY, 13.0)
    full = advance(BED, replace(dry(), media_l=(ease_l * 2,) * 14), 1.0, False, SKY, 13.0)

    assert half.drunk_l == pytest.approx(full.drunk_l / 2, rel=1e-3)


def test_media_that_pass_the_wilting_mark_in_one_step_lose_what_small_steps_lose() -> None:
    thirsty = Sky((6.0,) * 14)
    begin = replace(dry(), media_l=(2.6,) * 14)
    once = advance(BED, begin, 6 * 3600, False, thirsty, 10.0)
    often = begin
    for n in range(6 * 3600 // 20):
        often = advance(BED, often, 20.0, False, thirsty, 10.0 + n * 20 / 3600)

    assert once.media_l[0] < POT.wilting_l
    assert once.media_l == pytest.approx(often.media_l, rel=1e-9)


def test_salts_stay_behind_when_plants_drink_less_of_them() -> None:
    """All of the water, well mixed: C V with dC/dV = (share - 1) C / V, so C = C0 (V0 / V) ^ (1 - share)."""
    feed = Feed(ec=2.0, water_ec=0.3, uptake=0.7)
    bed = Bed(FIGURES, Outlets(FIGURES), feed)
    water = begin = full_bed(bed)
    for n in range(5 * 24 * 60):
        water = advance(bed, water, 60.0, False, Sky((0.8,) * 14), (n / 60) % 24)

    concentrated = 2.0 * (in_bed_l(begin) / in_bed_l(water)) ** 0.3
    assert begin.ec == pytest.approx(2.0)
    assert water.ec == pytest.approx(concentrated, rel=1e-4)


def test_water_that_spills_takes_its_salts_along() -> None:
    water = advance(BED, full_bed(BED), 600.0, True, NO_CROP, 12.0, drain_open=0.0)

    assert water.spilled_l > 0
    assert water.ec == pytest.approx(2.0)


@pytest.mark.parametrize(("run_s", "least_share"), [(5.0, 0.99), (150.0, 0.65), (900.0, 0.95)])
def test_a_run_lowers_the_sump_by_no_more_than_the_figures_foretell(run_s: float, least_share: float) -> None:
    """The deepest dip, followed second by second; the estimate is what a short run lifts and a long one comes to."""
    water, lowest_l = full_bed(BED), 220.0
    for second in range(int(run_s) + 300):
        water = advance(BED, water, 1.0, second < run_s, NO_CROP, 12.0)
        lowest_l = min(lowest_l, water.sump_l)

    assert least_share * FIGURES.dip_l(run_s) <= 220.0 - lowest_l <= 1.001 * FIGURES.dip_l(run_s)
