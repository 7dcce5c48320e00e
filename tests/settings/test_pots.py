"""The pots in the file: groups in the order along the line, and what was written of them before."""

import pytest
from tests.settings.test_faults import SMALLEST, faults

from waaler.bed.figures import Figures
from waaler.settings import parse

CROPS = """\
crops:
  - {name: tomato, planted: 2026-05-01, canopy: 0.6 m2, stages: [30, 40, 45, 30], kc: [1.15, 0.8]}
  - {name: lettuce, planted: 2026-06-01, canopy: 0.06 m2, stages: [20, 30, 15, 10], kc: [1.0, 0.95]}
"""
ROOT = "media: [{name: root, points: [[0 cm, 80 %], [4 cm, 40 %], [16 cm, 20 %], [64 cm, 10 %]]}]\n"
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
        ("pots: [{count: 900}, {count: 200}]\n", "8:7: these are 1100 pots; write at most 1000 in one bed"),
        ("pots: [{count: 3, medium: gravel}]\n", "8:27: no medium is named 'gravel'; known: coarse perlite, fine perlite"),
        ("pots: [{count: 3, drained: 9 kg}]\n", "8:8: pots: a pot is weighed twice; write both: `drained: 9.1 kg, droops: 7.4"
         " kg`"),
        ("pots: [{count: 3, drained: 7 kg, droops: 9 kg}]\n", "8:8: pots: a pot that droops is lighter than a drained one;"
         " write the heavier one as drained"),
        ("pots: [{count: 3, nominal: 20 L, filled: 100 %, drained: 19 kg, droops: 9 kg}]\n", "8:58: this pot loses 10.0 kg of"
         " water before it droops, and 20.0 L of coarse perlite hold 5.9 L; weigh one pot, an hour after watering and when"
         " it droops; or write its medium and size"),
        ("pots: [{count: 3, drained: 9}]\n", "8:28: pots.drained: 9 has no unit; write 9.1 kg or 20 lb"),
        (ROOT.replace("root", "fine perlite"), "8:9: media: 'fine perlite' is known already; give your own medium a name"
         " of its own"),
        (ROOT.replace("0 cm, 80", "1 cm, 80"), "8:9: media: a medium begins with all its pores full; begin with 0 cm, such"
         " as [0 cm, 95 %]"),
        (ROOT.replace("20 %", "40 %"), "8:9: media: a medium's points do not fall; write each with more suction and less"
         " water than before"),
        (ROOT.replace("}]", "}, {name: root, points: [[0 cm, 9 %], [1 cm, 8 %], [2 cm, 7 %]]}]"), "8:98: medium 'root' is"
         " there twice; give each its own name"),
        ("layout: {holds: 30 %}\n", "8:10: 'holds' is no key here; take it out: what a pot holds follows from its medium and"
         " height; write `medium:` with the pots, or weigh one and write `drained: 9.1 kg, droops: 7.4 kg`"),
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
    """Three gallons are three fifths of five; being lower, they hold a greater share."""
    pots = built("pots: [{count: 10, nominal: 5 gal}, {count: 6, nominal: 3 gal}]\n").pots

    assert len(pots) == 16
    assert pots[0] == pots[9]
    assert pots[10] == pots[15]
    assert 0.6 < pots[10].capacity_l / pots[0].capacity_l < 0.65
    assert pots[10].wilting_l / pots[0].wilting_l == pytest.approx(0.6)


MEASURED = ROOT + "pots: [{count: 1, height: 25 cm, width: 30 cm, filled: 100 %, medium: root}]\n"


def test_a_measured_pot_of_a_written_medium_has_the_marks_counted_by_hand() -> None:
    """This medium holds 0.8 / sqrt(h) at h cm of suction, all of 0.8 up to 1 cm. A cylinder of 30 cm across and 25 cm
    high is 17.671 L: (0.8 + 1.6 (5 - 1)) / 25 = 0.288 of it once drained, 0.8 / sqrt(50) = 0.11314 and 0.08 at the marks.
    """
    (pot,) = built(MEASURED).pots

    assert pot.capacity_l == pytest.approx(0.288 * 17.6715, rel=1e-4)
    assert pot.dry_l == pytest.approx(0.113137 * 17.6715, rel=1e-4)
    assert pot.wilting_l == pytest.approx(0.08 * 17.6715, rel=1e-4)


def test_a_pot_that_is_less_full_is_less_high_too() -> None:
    """16 of 25 cm, 64 %: (0.8 + 1.6 x 3) / 16 = 0.35 of 11.310 L."""
    (pot,) = built(MEASURED.replace("100 %", "64 %")).pots

    assert pot.capacity_l == pytest.approx(0.35 * 11.3097, rel=1e-4)


def test_the_growers_own_scale_says_when_plants_wilt() -> None:
    """1.7 kg less between drained and drooping are 1.7 L; easy of it is what the medium's marks make of it:
    (0.288 - 0.11314) / (0.288 - 0.08) = 0.84068.
    """
    (pot,) = built(MEASURED.replace("medium: root", "medium: root, drained: 9.1 kg, droops: 7.4 kg")).pots

    assert pot.capacity_l == pytest.approx(0.288 * 17.6715, rel=1e-4)
    assert pot.capacity_l - pot.wilting_l == pytest.approx(1.7)
    assert pot.easy_l == pytest.approx(0.84068 * 1.7, rel=1e-4)
    (pounds,) = built(MEASURED.replace("medium: root", "medium: root, drained: 20 lb, droops: 16 lb")).pots
    assert pounds.capacity_l - pounds.wilting_l == pytest.approx(4 * 0.45359237)


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
