"""The layout in the file: metric or US, a few figures or every outlet."""

import pytest
from tests.settings.test_faults import SMALLEST, faults

from waaler.bed.layout import Layout
from waaler.settings import Settings, parse

PUMP = "pump: {free_flow: 400 gal/h, shut_off: 8 ft}"


def built(layout: str) -> Settings:
    return parse(f"{SMALLEST}layout:\n  {layout}\n", "t.yaml")


def layout_of(text: str) -> Layout:
    layout = built(text).layout
    assert layout is not None
    return layout


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("layout", "told"),
    [
        ("pump: {free_flow: 400 gal/h}", "9:9: layout.pump: a pump needs its curve; write free_flow and shut_off, or"
         " three points"),
        ("pump: {points: [[0 L/h, 2 m], [700 L/h, 3 m], [900 L/h, 1 m]]}", "9:9: layout.pump: the pump's points do not"
         " fall; begin at 0 L/h, each point with more flow and less head than the one before"),
        ("tube: {length: 3 parsecs}", "9:18: layout.tube.length: 'parsecs' is no unit of a length; use one of m, cm, mm,"
         " in, ft, as in 1.2 m, 15 mm or 18 in"),
        ("each: [{outlet: 15, opening: 50 %}]", "9:19: there are 14 outlets; write a number from 1 to 14"),
        ("each: [{outlet: 3, opening: 50 %}, {outlet: 3, end: 5 cm}]", "9:47: outlet 3 is there twice; write all of it in"
         " one place"),
        ("tray: {length: 2 m, width: 1 m, rim: 1 cm, standing: 2 cm}", "9:9: layout.tray: the tray spills below its"
         " standing level; write standing below rim"),
        ("sump: {full: 40 cm}", "9:16: layout.sump.full: 'cm' is no unit of a volume; use one of L, l, mL, ml, m3, gal, qt,"
         " fl oz, ft3, as in 220 L, 250 mL or 29 gal"),
        ("sump: {points: [[0 cm, 0 L], [30 cm, 100 L]], full: 40 cm, low: 10 cm, empty: 5 cm}", "9:55: layout.sump.full:"
         " 'cm' is no unit of a volume; use one of L, l, mL, ml, m3, gal, qt, fl oz, ft3, as in 220 L, 250 mL or 29 gal"),
        ("sump: {brim: 200 L, full: 220 L}", "9:9: layout.sump: the sump's marks are not in order; write empty below low"
         " below full below brim"),
    ],
)  # fmt: skip
def test_a_layout_that_makes_no_sense_is_told_with_its_place(layout: str, told: str) -> None:
    assert faults(f"{SMALLEST}layout:\n  {layout}\n") == [f"t.yaml:{told}"]


# --- what is built ----------------------------------------------------------------------------


def test_without_a_pump_there_is_no_layout_and_flows_are_as_measured() -> None:
    found = built("outlet_flow: 54 L/h")

    assert found.layout is None
    assert [pot.flow_l_per_min for pot in found.figures.pots] == pytest.approx([0.9] * 14)


def test_a_pump_and_nothing_else_is_a_bed_with_an_outlet_for_every_pot() -> None:
    found = built(PUMP + "\n  pots: 16")
    assert found.layout is not None

    assert len(found.layout.tubes) == 16
    assert found.layout.pump.shut_off_head_m == pytest.approx(2.4384)
    assert found.layout.pump.free_flow_m3_per_s * 3.6e6 == pytest.approx(1514.16, rel=1e-4)
    assert found.figures.line_l == pytest.approx(found.layout.pipes_l)
    flows = [pot.flow_l_per_min for pot in found.figures.pots]
    assert len(flows) == 16
    assert flows == sorted(flows, reverse=True)
    assert flows[0] > 1.05 * flows[-1]


def test_legs_headers_and_rings_are_built_as_written() -> None:
    layout = layout_of(
        PUMP + "\n  line:\n    bore: 16 mm\n    friction: hazen-williams\n    c: 140\n    legs:\n"
        "      - {outlets: 3, spacing: 40 cm, first: 25 cm}\n"
        "      - {outlets: 2, spacing: 18 in, bore: 13.6 mm, header: {length: 1.2 m, bore: 25 mm, fittings: 0}, back: 2 m}\n"
    )
    one, two = layout.legs

    assert one.gaps_m == (0.25, 0.4, 0.4)
    assert (one.bore_m, two.bore_m) == (0.016, 0.0136)
    assert two.gaps_m == (0.4572, 0.4572)
    assert two.header is not None
    assert (two.header.length_m, two.header.bore_m, two.back_m) == (1.2, 0.025, 2.0)
    assert layout.law.hazen_williams_c == 140.0


def test_what_is_different_at_one_outlet_is_written_once() -> None:
    tubes = layout_of(
        PUMP + "\n  each: [{outlet: 2, opening: 40 %, length: 12 in, pot: south}, {outlet: 3, end: -5 cm}]"
    ).tubes

    assert (tubes[1].opening, tubes[1].pot) == (0.4, "south")
    assert tubes[1].length_m == pytest.approx(0.3048)
    assert tubes[2].end_m == -0.05
    assert tubes[0] == tubes[3]


def test_a_dose_is_meant_for_the_weakest_quarter() -> None:
    text = f"{SMALLEST}layout: {{{PUMP}}}\n".replace("water: 2 min", "water: 450 mL per pot")
    found = parse(text, "t.yaml")
    weak = sum(sorted(pot.flow_l_per_min for pot in found.figures.pots)[:4]) / 4

    expected_s = 60 * (found.figures.line_l / found.figures.pump_l_per_min + 0.45 / weak)
    assert found.plan.windows[0].seconds == pytest.approx(expected_s, abs=0.5)


def test_a_tray_gives_the_water_that_it_holds() -> None:
    found = built("tray: {length: 2.4 m, width: 1.2 m}")

    assert found.figures.tray_rim_l == pytest.approx(1000 * 0.66 * 2.4 * 1.2 * 0.09)


@pytest.mark.parametrize(
    "sump",
    [
        "floor: [80 cm, 50 cm], full: 50 cm, low: 12 cm, empty: 2 in",
        "points: [[0 cm, 0 L], [10 cm, 40 L], [60 cm, 240 L]], full: 50 cm, low: 12 cm, empty: 2 in",
    ],
)
def test_a_sumps_marks_may_be_depths_where_its_shape_is_written(sump: str) -> None:
    figures = built(f"sump: {{{sump}}}").figures

    assert figures.sump_full_l == pytest.approx(200.0)
    assert figures.sump_low_l == pytest.approx(48.0)
    assert figures.sump_empty_l == pytest.approx(20.32)
