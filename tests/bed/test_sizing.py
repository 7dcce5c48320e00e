"""Does what the pump lifts find room: tray, sump, line, and the bags to buy."""

from dataclasses import replace

import pytest
from tests.bed.test_layout import line

from waaler.bed.figures import Figures
from waaler.bed.pots import Pot, alike
from waaler.bed.pump import from_label
from waaler.bed.sizing import answer, bags, size
from waaler.bed.tray import Tray

TRAY = Tray(2.4, 1.2, 0.04, 0.01, 0.1)
BED = Figures(pots=alike(16, Pot()), sump_full_l=200.0, sump_low_l=45.0, sump_empty_l=25.0)


def test_a_drain_lets_through_what_torricelli_says() -> None:
    """0.6 of the area of a 40 mm hole times sqrt(2 g h): at 90 mm of head 60.1 L/min, by hand."""
    assert TRAY.most_l_per_min == pytest.approx(60_000 * 0.6 * 1.25664e-3 * 1.32861, rel=1e-3)
    assert TRAY.depth_m(TRAY.most_l_per_min) == pytest.approx(0.1)
    assert TRAY.depth_m(0.0) == 0.01


def test_a_tray_whose_drain_cannot_keep_up_spills() -> None:
    found = size(line(), BED, replace(TRAY, drain_bore_m=0.012), None, 120.0)

    assert found.is_spilling
    assert not found.is_sound


def test_a_sound_bed_says_so_and_its_figures_hang_together() -> None:
    found = size(line(), BED, TRAY, 240.0, 120.0)

    assert found.is_sound
    assert found.weak_l_per_min < found.mean_l_per_min
    assert found.least_pump_l_per_min == pytest.approx(1.2 * found.flows.flow_l_per_min)
    assert found.mean_l_per_min * 16 == pytest.approx(found.flows.flow_l_per_min, rel=1e-5)
    assert found.depth_m is not None
    assert 0.01 < found.depth_m < 0.1
    assert found.dip_l == pytest.approx(found.backs_l + TRAY.held_l(found.flows.flow_l_per_min))


def test_a_short_run_lowers_the_sump_by_no_more_than_it_lifts() -> None:
    found = size(line(), BED, TRAY, None, 1.0)

    assert found.dip_l == pytest.approx(found.flows.flow_l_per_min / 60)


def test_a_sump_without_room_for_what_runs_back_is_not_sound() -> None:
    assert not size(line(), BED, TRAY, 200.5, 120.0).is_sound
    assert size(line(), BED, TRAY, None, 120.0).is_sound


def test_a_dip_that_passes_the_lowest_pumping_level_is_told() -> None:
    shallow = replace(BED, sump_low_l=27.0)

    assert size(line(), shallow, TRAY, None, 120.0).runs_dry


def bed_of(flows: tuple[float, ...]) -> tuple[Pot, ...]:
    return tuple(Pot(flow_l_per_min=flow) for flow in flows)


def test_the_pump_is_big_enough_where_every_pot_gets_what_it_wants() -> None:
    """Twice the want of the pot with the least to spare, the last: the bed wants half of what there is."""
    found = size(line(), BED, TRAY, 240.0, 120.0)
    flows = found.flows.outlets_l_per_min
    pots = bed_of(flows)
    told = answer(found, pots, [flows[-1] / 2] * 16)

    assert told.is_yes
    assert told.wants_l_per_min == pytest.approx(found.flows.flow_l_per_min / 2)
    assert told.why == f"{60 * sum(flows):.0f} L/h where this bed wants {30 * sum(flows):.0f}"


def test_pots_that_get_less_than_they_want_are_named_and_the_answer_is_no() -> None:
    found = size(line(), BED, TRAY, 240.0, 120.0)
    flows = found.flows.outlets_l_per_min
    wants = [0.0] * 13 + [1.1 * flow for flow in flows[13:]]
    told = answer(found, bed_of(flows), wants)

    assert not told.is_yes
    assert told.why.endswith(
        "; pots 14 to 16 get less than they drink on the plan as it is: longer cycles, or a larger pump"
    )
    assert told.wants_l_per_min == pytest.approx(1.1 * found.flows.flow_l_per_min)


def test_outlets_that_are_far_apart_are_no_and_the_two_are_named() -> None:
    """Tubes of 4 and 8 mm, by far the most of the loss: the wider one gives several times as much."""
    even = line(4)
    tubes = (*even.tubes[:3], replace(even.tubes[3], bore_m=0.008))
    found = size(replace(even, legs=(replace(even.legs[0], tubes=tubes),)), BED, TRAY, None, 60.0)
    flows = found.flows.outlets_l_per_min
    told = answer(found, bed_of(flows), [0.0] * 4)
    least = flows.index(min(flows)) + 1

    assert flows[3] > 2 * min(flows)
    assert not told.is_yes
    assert f"; outlet 4 gets {flows[3] / min(flows):.1f} times what outlet {least} gets" in told.why


def test_what_is_not_sound_is_the_reason_for_no() -> None:
    spilling = size(line(), BED, replace(TRAY, drain_bore_m=0.012), None, 120.0)
    no_room = size(line(), BED, TRAY, 200.5, 120.0)
    drawing_air = size(line(), replace(BED, sump_low_l=27.0), TRAY, None, 120.0)
    for found, why in ((spilling, "the tray spills"), (no_room, "passes the brim"), (drawing_air, "draws air")):
        told = answer(found, bed_of(found.flows.outlets_l_per_min), [0.0] * 16)
        assert not told.is_yes
        assert why in told.why


def test_a_dry_outlet_is_not_sound() -> None:
    weak = replace(line(2, end_m=0.4), pump=from_label(1e-4, 0.68))
    tubes = (weak.tubes[0], replace(weak.tubes[1], end_m=0.36))

    assert size(replace(weak, legs=(replace(weak.legs[0], tubes=tubes),)), BED, None, None, 60.0).flows.dry == (1,)


@pytest.mark.parametrize(("nominal_gal", "count"), [(68, 3), (48, 2)])
def test_bags_are_those_of_the_worked_cases(nominal_gal: int, count: int) -> None:
    """Source: tests/reference/volumes.yaml, pots_cases: exact arithmetic on a stated fill of 0.93."""
    _, found = bags([nominal_gal * 3.785411784 * 0.93], 113.267)

    assert found == count


def test_four_cubic_feet_fill_the_pots_that_growers_say() -> None:
    """Common practice, no source: 5 pots of 5 gal and 2 of 3, or 3 and 6: 0.965 and 0.907 of the nominal volume."""
    for nominal_gal, fill in ((31, 0.9652), (33, 0.9067)):
        litres, _ = bags([3.785411784 * fill] * nominal_gal, 113.267)
        assert litres == pytest.approx(113.267, rel=1e-3)
