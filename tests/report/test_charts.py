"""Charts say the same to the eye, to a screen reader and in black and white."""

import xml.etree.ElementTree as ET
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from tests.report.beds import DAY_S, MIDNIGHT_S, NASTY

from waaler.report.charts import (
    Band,
    Bar,
    Entry,
    Line,
    Look,
    Mark,
    Span,
    band_chart,
    bars,
    day_strip,
    dots_chart,
    level_chart,
    spark_text,
)  # fmt: skip
from waaler.report.charts.dots import Dot, scatter
from waaler.report.charts.frame import Scale

LISBON = ZoneInfo("Europe/Lisbon")
DAY = Span(MIDNIGHT_S, MIDNIGHT_S + DAY_S, LISBON)
MONTH = Span(MIDNIGHT_S, MIDNIGHT_S + 30 * DAY_S, LISBON)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in drawn(svg).iter(f"{SVG}text")]


def of_class(svg: str, name: str) -> list[ET.Element]:
    return [element for element in drawn(svg).iter() if name in element.get("class", "").split()]


def strip(*entries: Entry, now_s: float | None = None) -> str:
    return day_strip(DAY, entries, (MIDNIGHT_S + 6 * 3600, MIDNIGHT_S + 21 * 3600), now_s)


def test_a_strip_tells_every_kind_apart_by_shape() -> None:
    entries = [Entry(MIDNIGHT_S + 3600 * (n + 6), 120.0, look, look.value) for n, look in enumerate(Look)]
    svg = strip(*entries)

    assert [len(of_class(svg, look.value)) for look in Look] == [1] * 5
    assert len(of_class(svg, "bar")) == 1, "a cut run has a bar across"
    assert len(of_class(svg, "cross")) == 1, "a refused one is a cross"
    assert drawn(svg).get("aria-label") == (
        "The day from midnight to midnight: 1 cycles planned, 2 runs, sun 06:00 to 21:00"
    )


def test_a_strip_runs_from_midnight_to_midnight_with_its_hours() -> None:
    svg = strip(Entry(MIDNIGHT_S + 43_200, 864.0, Look.RAN, "at noon"))

    assert texts(svg)[-5:] == ["00:00", "06:00", "12:00", "18:00", "24:00"]
    (mark,) = of_class(svg, "ran")
    assert [(rect.get("x"), rect.get("width")) for rect in mark.iter(f"{SVG}rect")] == [("50%", "5"), ("50%", "1%")]


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-10-25", 25)])
def test_a_day_on_which_the_clock_changes_is_labelled_as_it_was_lived(day: str, hours: int) -> None:
    begin_s = datetime.fromisoformat(day).replace(tzinfo=LISBON).timestamp()
    span = Span(begin_s, begin_s + hours * 3600, LISBON)

    svg = day_strip(span, [], None, None)

    labels = {element.text: element.get("x") for element in drawn(svg).iter(f"{SVG}text")}
    assert (labels["00:00"], labels["24:00"]) == ("0%", "100%")
    noon_h = 12 + (hours - 24)
    assert labels["12:00"] == f"{round(100 * noon_h / hours, 2):g}%"


def test_a_month_has_no_more_labels_than_a_phone_has_room_for() -> None:
    svg = bars("Run minutes a day", MONTH, [Bar(MIDNIGHT_S + n * DAY_S, 12.0, 2.0, "a day") for n in range(30)])

    assert [text for text in texts(svg) if "J" in text] == ["21 Jun", "27 Jun", "3 Jul", "9 Jul", "15 Jul"]
    assert (len(of_class(svg, "solid")), len(of_class(svg, "hatched"))) == (30, 30)
    assert "15 min" in texts(svg)


def test_a_band_is_broken_where_nothing_was_read() -> None:
    points = [Band(MIDNIGHT_S + 600 * n, 60.0, 70.0, 80.0) for n in range(144) if not 40 < n < 60]

    svg = band_chart("Moisture", "%", DAY, points, 600.0, [Line(55.0, "dry below")])

    assert len(of_class(svg, "curve")) == 2
    assert drawn(svg).get("aria-label") == "Moisture, %: 60 to 80, last 70"
    assert "dry below" in texts(svg)


def test_a_level_that_is_expected_is_a_broken_line_and_refills_are_named() -> None:
    marks = [Mark(MIDNIGHT_S + 5 * DAY_S, "+60 L", "anna"), Mark(MIDNIGHT_S + 6 * DAY_S, "+10 L", "anna")]
    svg = level_chart("Level", "L", MONTH, [(MIDNIGHT_S, 200.0), (MIDNIGHT_S + DAY_S, 80.0)], [], marks, True)

    assert of_class(svg, "expected")
    assert len(of_class(svg, "moment")) == 2
    assert "+60 L" in texts(svg)
    assert "+10 L" not in texts(svg), "no room beside the other on a phone"


@pytest.mark.parametrize("values", [[], [5.0], [0.0, 0.0], [1e-9, 2e-9], [-30.0, 70.0], [1.8, 1.81]])
def test_a_scale_holds_its_values_on_round_ticks(values: list[float]) -> None:
    scale = Scale.of(values, 150)

    assert 2 <= len(scale.ticks) <= 6
    assert all(scale.least <= value <= scale.most for value in values)
    assert list(scale.ticks) == sorted(set(scale.ticks))


def test_empty_charts_are_drawn_all_the_same() -> None:
    for svg in (
        strip(), bars("Minutes", MONTH, []), band_chart("Moisture", "%", MONTH, [], 600.0),
        level_chart("Level", "L", MONTH, [], [], [], False), dots_chart("EC", "mS/cm", MONTH, [], []),
    ):  # fmt: skip
        assert drawn(svg).get("role") == "img"


def test_names_are_text_and_never_markup() -> None:
    svg = strip(Entry(MIDNIGHT_S, 60.0, Look.RAN, NASTY)) + level_chart(
        NASTY, NASTY, DAY, [(MIDNIGHT_S, 1.0)], [Line(1.0, NASTY)], [Mark(MIDNIGHT_S, NASTY, NASTY)], False
    )

    assert "<script" not in svg


def test_a_line_of_text_rises_with_its_values() -> None:
    assert spark_text([0.0, 50.0, None, 100.0, 140.0, -5.0], 0.0, 100.0) == "▁▅·██▁"


# --- one figure over another ------------------------------------------------------------------------


def test_dots_tell_sound_ones_from_others_by_shape_and_stand_where_their_figures_are() -> None:
    dots = [Dot(10.0, 20.0, "1", True, "one"), Dot(30.0, 80.0, "2", False, "two")]
    svg = scatter("dry over wet", "a day", "L", "%", dots, [Line(33.0, "limit")])
    (full,), (ring,) = of_class(svg, "spot"), of_class(svg, "dot")

    assert float(full.get("cx", "").rstrip("%")) < float(ring.get("cx", "").rstrip("%"))
    assert float(full.get("cy", "")) > float(ring.get("cy", ""))
    assert {"1", "2", "limit"} <= set(texts(svg))
    assert any(text.endswith("L a day") for text in texts(svg))


def test_one_dot_alone_can_be_drawn() -> None:
    assert len(of_class(scatter("t", "a day", "L", "%", [Dot(5.0, 5.0, "1", True, "")]), "spot")) == 1
