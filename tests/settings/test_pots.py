"""The pots in the file: groups in the order along the line, and what was written of them before."""

import pytest
from tests.settings.test_faults import SMALLEST, faults

from waaler.bed.figures import Figures
from waaler.settings import parse

CROPS = """\
crops:
  - {name: tomato, planted: 2026-05-01, canopy: 0.6 m2, stages: [30, 40, 45, 30], kc: [0.6, 1.15, 0.8]}
  - {name: lettuce, planted: 2026-06-01, canopy: 0.06 m2, stages: [20, 30, 15, 10], kc: [0.7, 1.0, 0.95]}
"""
TWO_LEGS = "layout: {pump: {free_flow: 400 gal/h, shut_off: 8 ft}, line: {legs: [{outlets: 8}, {outlets: %d}]}}\n"


def built(text: str) -> Figures:
    return parse(SMALLEST + text, "t.yaml").figures


# --- refusals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("layout: {pots: 14}\npots: [{count: 10}, {count: 6}]\n", "9:7: layout.pots says 14, and the groups under pots"
         " make 16; leave layout.pots out, or make the two agree"),
        (TWO_LEGS % 9 + "pots: [{count: 10}, {count: 6}]\n", "9:7: the legs of the line have 17 outlets, and 16 pots have"
         " 16; write as many outlets as pots, or `outlets: 2` with pots that have two"),
        (TWO_LEGS % 8 + "pots: [{count: 8}]\n", "9:7: the legs of the line have 16 outlets, and 8 pots have 8; write"
         " `outlets: 2` with pots of so many outlets each"),
        (TWO_LEGS.replace("{pump", "{pots: 8, pump") % 8, "8:16: the legs of the line have 16 outlets, and 8 pots have 8;"
         " write `outlets: 2` with pots of so many outlets each"),
        ("pots: [{count: 3, crop: tomato}]\n", "8:25: no crop is named 'tomato'; known: none is written out under crops"),
        ("pots: [{count: 3, crop: tomatoe}]\n" + CROPS, "8:25: no crop is named 'tomatoe'; known: lettuce, tomato"),
        (CROPS.replace("lettuce", "tomato"), "10:12: crop 'tomato' is there twice; give each its own name"),
        ("pots: [{nominal: 5 gal}]\n", "8:8: 'count' is missing in pots; add `count: ...`"),
        ("pots: [{count: 3, width: 30 cm}]\n", "8:8: pots: a pot's size is told one way; write `nominal: 5 gal`, or"
         " `height: 25 cm, width: 30 cm`"),
        ("pots: [{count: 3, nominal: 5 gal, height: 25 cm, width: 30 cm}]\n", "8:8: pots: a pot's size is told one way;"
         " write `nominal: 5 gal`, or `height: 25 cm, width: 30 cm`"),
        ("pots: [{count: 3, height: 30 cm}]\n", "8:8: pots: a height alone is no size; add `width: 30 cm`, or `nominal: 5"
         " gal`"),
        ("pots: [{count: 3, plants_per_pot: 2}]\n", "8:8: pots: nothing says what the plants are; add `crop: NAME`, as it"
         " is named under crops"),
    ],
)  # fmt: skip
def test_pots_that_do_not_meet_are_refused_with_both_numbers(more: str, told: str) -> None:
    assert faults(SMALLEST + more) == [f"t.yaml:{told}"]


def test_a_file_of_before_is_told_its_pots_in_the_new_words() -> None:
    before = CROPS.replace("tomato, planted", "tomato, pots: 3, planted").replace("lettuce, planted", "lettuce, pots: 11, plants_per_pot: 2, planted")  # fmt: skip
    told = faults(f"{SMALLEST}layout: {{pots: 16, pot: {{nominal: 3 gal, filled: 90 %}}}}\n{before}")
    pots = (
        "{count: 3, nominal: 3 gal, filled: 90 %, crop: tomato},"
        " {count: 11, nominal: 3 gal, filled: 90 %, crop: lettuce, plants_per_pot: 2}, {count: 2, nominal: 3 gal, filled: 90 %}"
    )

    remedy = f"take it out, and write at the top level `pots: [{pots}]`"
    assert told == [
        f"t.yaml:8:20: 'pot' is no key here; {remedy}",
        f"t.yaml:10:20: 'pots' is no key here; {remedy}",
        f"t.yaml:11:21: 'pots' is no key here; {remedy}",
        f"t.yaml:11:31: 'plants_per_pot' is no key here; {remedy}",
    ]
    now = SMALLEST + CROPS + f"pots: [{pots}]\n"
    assert [pot.plants for pot in parse(now, "t.yaml").figures.pots] == [1.0] * 3 + [2.0] * 11 + [1.0] * 2


def test_the_volume_of_the_medium_moved_too() -> None:
    assert faults(SMALLEST + "layout: {media_per_pot: 17 L}\n") == [
        "t.yaml:8:10: 'media_per_pot' is no key here; take it out, and write at the top level `pots: [{count: 14,"
        " nominal: 17 L, filled: 100 %}]`"
    ]
    assert faults(SMALLEST + "pots: [{count: 2}]\nlayout: {media_per_pot: 17 L}\n") == [
        "t.yaml:9:10: 'media_per_pot' is no key here; write it with the pots, under `pots:` at the top level"
    ]


# --- what is built ------------------------------------------------------------------------------------


def test_ten_of_five_gallons_and_six_of_three_are_one_bed() -> None:
    """Their media by hand: 0.93 of the nominal volume, of which 30 % is water once drained."""
    pots = built("pots: [{count: 10, nominal: 5 gal}, {count: 6, nominal: 3 gal}]\n").pots

    assert len(pots) == 16
    assert [pots[n].capacity_l for n in (0, 9, 10, 15)] == pytest.approx([5.281, 5.281, 3.168, 3.168], abs=0.001)


def test_a_pot_may_be_measured_instead_of_named_by_its_label() -> None:
    """A cylinder of 30 cm across and 25 cm high holds 17.671 L; 90 % of it 15.904 L."""
    (pot,) = built("pots: [{count: 1, height: 25 cm, width: 30 cm, filled: 90 %}]\n").pots

    assert pot.capacity_l == pytest.approx(0.3 * 15.904, abs=0.001)


def test_pots_are_in_the_order_along_the_line_and_one_without_a_crop_beside_others_is_empty() -> None:
    pots = built(
        CROPS + "pots: [{count: 3, crop: tomato}, {count: 1}, {count: 2, crop: lettuce, plants_per_pot: 4}]\n"
    ).pots
    names = [None if pot.crop is None else pot.crop.name for pot in pots]

    assert names == ["tomato"] * 3 + [None] + ["lettuce"] * 2
    assert [pot.plants for pot in pots] == [1, 1, 1, 1, 4, 4]
    assert pots[3].drink_l_per_day == 0.0
    assert {pot.drink_l_per_day for pot in built("pots: [{count: 2}]\n").pots} == {1.2}


def test_a_pot_with_two_outlets_gets_what_both_give() -> None:
    measured = built("layout: {outlet_flow: 54 L/h}\npots: [{count: 2, outlets: 2}, {count: 3}]\n")
    computed = built(TWO_LEGS % 8 + "pots: [{count: 4, outlets: 2}, {count: 8}]\n")

    assert [pot.flow_l_per_min for pot in measured.pots] == pytest.approx([1.8, 1.8, 0.9, 0.9, 0.9])
    assert measured.pump_l_per_min == pytest.approx(6.3)
    flows = [pot.flow_l_per_min for pot in computed.pots]
    assert len(flows) == 12
    assert min(flows[:4]) > 1.6 * max(flows[4:])


def test_without_groups_there_is_a_pot_for_every_outlet_of_the_legs() -> None:
    assert len(built(TWO_LEGS % 3).pots) == 11
    assert len(built("").pots) == 14
