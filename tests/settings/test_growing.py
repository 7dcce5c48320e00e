"""Crops, weather and feed in the file."""

from datetime import date
from pathlib import Path

import pytest
from tests.settings.test_faults import SMALLEST, faults

from waaler.bed.demand import Shelter
from waaler.bed.pots import crops_of
from waaler.bed.scale import Scale
from waaler.bed.wiring import AnalogDevice, AnalogInput
from waaler.plan.types import PerDemand, PerLight
from waaler.settings import SettingsError, load, parse
from waaler.settings.build_site import site
from waaler.settings.warnings import warnings

BEANS = "crops: [{name: beans, planted: 2026-05-01, canopy: 4 ft2, stages: [20, 30, 30, 10], kc: [1.05, 0.9]%s}]\npots: [{count: 14, crop: beans}]\n"
MONTHS = "weather: {normals: [" + ", ".join(["[30 C, 16 C]"] * 12) + "]}\n"


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (BEANS % ", ec: [2.5, 1.5]", "8:9: crops: the crop's EC range is upside down; write the lower one first"),
        (BEANS.replace("4 ft2", "4 ft") % "", "8:52: crops.canopy: 'ft' is no unit of an area; use one of m2, ft2, as in"
         " 0.35 m2 or 4 ft2"),
        ("weather: {cover: 70 %}\n", "8:11: 'cover' is no key here; write `shelter: film` at the top level, or net or glass;"
         " a measured share is `transmission:` here"),
        ("shelter: tunnel\n", "8:10: shelter: this value is not known; write 'outdoors', 'net', 'film' or 'glass'"),
        (BEANS.replace("kc: [1.05", "kc: [0.5, 1.05") % "", "8:89: crops.kc: the first of three is that of bare soil; write"
         " [1.05, 0.9]: mid-season, end"),
        (BEANS.replace("4 ft2", "4 ft2, transplant: 5 ft2") % "", "8:9: crops: a transplant shades more than a grown plant;"
         " write the grown one's under canopy"),
        ("weather: {elevation: 70 m}\n", "8:10: weather: the weather needs one source; write csv: FILE, or normals: with"
         " twelve pairs"),
        ("away_days: 0\n", "8:12: away_days: 0 days is outside 1 to 60 days; write a value in that range"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_told_with_its_place(more: str, told: str) -> None:
    assert faults(SMALLEST + more) == [f"t.yaml:{told}"]


def test_a_weather_table_is_read_from_beside_the_file_and_its_faults_are_told(tmp_path: Path) -> None:
    file = tmp_path / "t.yaml"
    file.write_text(SMALLEST + "weather: {csv: days.csv}\n")
    with pytest.raises(SettingsError, match=r"days.csv:1:1: cannot be read"):
        load(file)
    (tmp_path / "days.csv").write_text("date,t_max_c,t_min_c\n2026-06-21,hot,10\n")
    with pytest.raises(SettingsError, match=r"days.csv:2:12: 'hot' is no t_max_c"):
        load(file)
    (tmp_path / "days.csv").write_text("date,t_max_c,t_min_c\n2026-06-21,28,14\n2026-06-22,30,15\n")
    of = load(file).weather.on

    assert of(date(2026, 6, 21)).t_max_c == 28
    assert of(date(2031, 6, 21)).t_max_c == 28  # the same day of another year
    assert of(date(2026, 1, 1)).t_max_c == 30  # nothing nearer is known


def test_crops_and_feed_are_built_as_written() -> None:
    settings = parse(
        SMALLEST + BEANS % "" + MONTHS + "feed: {ec: 1.8, uptake: 60 %}\ntop_up: {tank: 100 gal}\n", "t"
    )
    found = site(settings.file)

    (crop,) = crops_of(settings.figures.pots)
    assert crop.canopy_m2 == pytest.approx(4 * 0.09290304)
    assert crop.stages.days == (20, 30, 30, 10)
    assert (found.ec, found.uptake_share, found.water_ec) == (1.8, 0.6, 0.3)
    assert settings.book.tank is not None
    assert settings.book.tank.litres == pytest.approx(378.5411784)
    assert settings.book.tank.ec == 0.3  # plain water, unless it is said to hold solution


@pytest.mark.parametrize(
    ("more", "transmission", "is_open"),
    [
        ("", 1.0, True),
        ("shelter: outdoors\n", 1.0, True),
        ("shelter: net\n", 0.75, True),
        ("shelter: film\n", 0.7, False),
        ("shelter: glass\n", 0.7, False),
        ("shelter: glass\n" + MONTHS.replace("]]}", "]], transmission: 61 %}"), 0.61, False),
        (MONTHS.replace("]]}", "]], transmission: 61 %}"), 0.61, True),
    ],
)
def test_nothing_is_taken_off_where_no_shelter_is_written(more: str, transmission: float, is_open: bool) -> None:
    assert site(parse(SMALLEST + more, "t").file).shelter == Shelter(pytest.approx(transmission), is_open)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("more", "part"),
    [
        (BEANS % "" + MONTHS + "layout: {sump: {full: 60 L}}\n", "a full sump lasts"),
        (BEANS.replace("4 ft2", "3 m2") % "" + MONTHS, "the longest gap by day is"),
        (BEANS.replace("}]\npots: [", "}, {name: kale, planted: 2026-05-01, canopy: 0.1 m2, stages: [9, 9, 9, 9],"
         " kc: [1, 1], ec: [3, 4]}]\npots: [{count: 1, crop: kale}, ") % "", "EC ranges do not meet"),
        ("sensing: {probes: [{name: pot_3, channel: 0, dry_below: 60 %}]}\n", "8:20: pot_3 calls dry below 60 %, and plants"
         " here wilt below 64 %; write a higher dry_below"),
        (BEANS.replace("05-01", "02-01") % "", "8:67: the stages of 'beans' ended on 2026-05-02; since then it counts as at"
         " their end; write longer stages, or what grows there now"),
        (BEANS.replace(", crop: beans", "") % "", "8:9: no pot grows 'beans'; add `crop:` to its pots"),
    ],
)  # fmt: skip
def test_check_warns_of_water_that_does_not_last(more: str, part: str) -> None:
    told = [str(fault) for fault in warnings(parse(SMALLEST + more, "t.yaml"), date(2026, 6, 1))]

    assert [line for line in told if part in line], told


# --- water by light and by demand -------------------------------------------------------------------

RULE = "    on_demand: {%s, between: ['06:00', '20:00']}\n"
GROWING = BEANS % ""


def with_rule(rule: str, rest: str = "") -> str:
    """The rule stands in the last window, which is the file's end."""
    return SMALLEST + RULE % rule + rest


@pytest.mark.parametrize(
    ("rule", "rest", "told"),
    [
        ("light: roof", "", "on_demand must go by one thing; write probe and below, or light and per_light, or"),
        ("probe: pot_1, per_light: 1 MJ/m2", "", "on_demand must go by one thing"),
        ("per_demand: 150 mL per pot, light: roof, per_light: 1 MJ/m2", "", "on_demand must go by one thing"),
        ("light: roof, per_light: 1 MJ/m2, thermometer: air", "", "on_demand must go by one thing"),
        (
            "light: roof, per_light: 1 MJ/m2",
            "",
            "no light sensor is named 'roof'; known: none is written out under",
        ),
        ("light: roof, per_light: 1 mol", "", "use one of MJ/m2, J/cm2, Wh/m2, as in 1.2 MJ/m2"),
        ("per_demand: 3 min", GROWING, "per_demand"),
        ("per_demand: 150 mL per pot", "", "nothing says what the crop drinks; add `crops:` and `weather:`"),
        ("per_demand: 150 mL per pot, thermometer: air", GROWING, "no thermometer is named 'air'"),
    ],
)
def test_a_rule_on_demand_that_makes_no_sense_is_told(rule: str, rest: str, told: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse(with_rule(rule, rest), "t.yaml")

    assert told in str(caught.value)


def test_rules_by_light_and_by_demand_are_read_with_what_they_go_by() -> None:
    roof = "sensing: {lights: [{name: roof, channel: 1, full: 1200 W/m2}]}\n"
    by_light = parse(with_rule("light: roof, per_light: 120 J/cm2", roof), "t.yaml")
    by_demand = parse(with_rule("per_demand: 150 mL per pot", GROWING), "t.yaml")

    light, demand = (s.plan.windows[0].on_demand for s in (by_light, by_demand))
    assert light is not None
    assert light.trigger == PerLight("roof", pytest.approx(1.2))  # type: ignore[arg-type]
    assert by_light.wiring.lights == (AnalogDevice("roof", AnalogInput(1), Scale.of((0.0, 0.0), (1023.0, 1200.0))),)
    assert by_light.thirst is None
    assert demand is not None
    assert demand.trigger == PerDemand(0.15)
    assert by_demand.thirst is not None
