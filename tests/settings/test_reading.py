"""What a valid file means; and that no text at all makes the reader stumble."""

import json
import random
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from tests.settings.test_faults import PINS, SMALLEST

from waaler.bed.wiring import FlowPin, Pull, RelayPin, SensedPin
from waaler.plan.types import AtTimes, ClockMoment, Evenly, Every, SunEvent, SunMoment
from waaler.settings import Settings, SettingsError, load, parse
from waaler.settings.places import bed_id
from waaler.settings.schema import schema_text
from waaler.settings.units import DURATION, FLOW, LENGTH, SHARE, VOLUME, Dimension, UnitError, amount, temperature_c
from waaler.settings.warnings import warnings

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "config" / "bed.yaml"
UNITS = yaml.safe_load((ROOT / "tests" / "reference" / "units.yaml").read_text())


def settings(more: str = "", edit: str = "") -> Settings:
    """The smallest file with more lines, and one edit `old => new`."""
    text = SMALLEST + more
    if edit:
        old, new = edit.split(" => ")
        assert old in text
        text = text.replace(old, new, 1)
    return parse(text, "t.yaml")


# --- units ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("4 min", DURATION, 240.0), ("90s", DURATION, 90.0), ("1 h 30 min", DURATION, 5400.0), ("1,5 h", DURATION, 5400.0),
        ("250 mL", VOLUME, 0.25), ("1 gal", VOLUME, UNITS["volume"]["us_gallon_L"]),
        ("1 qt", VOLUME, UNITS["volume"]["us_quart_L"]), ("4 ft3", VOLUME, UNITS["perlite_bag"]["L"]),
        ("1000 fl oz", VOLUME, UNITS["volume"]["us_fluid_ounce_mL"]),
        ("400 gal/h", FLOW, 1514.1647 / 60), ("25 gal/h", FLOW, 94.6353 / 60),
        ("1 gal/min", FLOW, UNITS["flow"]["us_gal_per_min_L_per_h"] / 60),
        ("6 in", LENGTH, 0.1524), ("1 ft", LENGTH, UNITS["length"]["foot_m"]), ("45 %", SHARE, 45.0),
    ],
)  # fmt: skip
def test_units_convert_as_their_definitions_say(text: str, dimension: Dimension, value: float) -> None:
    assert amount(text, dimension) == pytest.approx(value, rel=1e-6)


def test_degrees_fahrenheit_are_read() -> None:
    assert temperature_c("90 F") == pytest.approx(32.2222, abs=1e-4)
    assert temperature_c("-40F") == pytest.approx(temperature_c("-40 C"))


@given(st.text(max_size=30), st.sampled_from([DURATION, VOLUME, FLOW, LENGTH, SHARE]))
def test_any_text_is_a_quantity_or_a_fault(text: str, dimension: Dimension) -> None:
    try:
        assert isinstance(amount(text, dimension), float)
    except UnitError as problem:
        assert problem.what
        assert problem.remedy


# --- meaning ----------------------------------------------------------------------------------


def test_the_smallest_file_takes_everything_else_from_defaults() -> None:
    found = settings()

    assert found.id == found.title == "terrace"
    assert found.plan.windows[0].pattern == Evenly(4, ClockMoment(330), SunMoment(SunEvent.SUNSET, -90))
    assert found.limits.longest_run_s == pytest.approx(60 * (220 - 25) / 3 / (14 * 0.9))
    assert found.limits.most_per_day_s == 3600.0
    assert found.limits.has_sump_float
    assert found.mqtt is None


def test_a_full_day_allows_four_times_itself() -> None:
    assert settings(edit="cycles: 4 => cycles: 20").limits.most_per_day_s == 4 * 20 * 120


def test_a_dose_per_pot_fills_the_line_and_then_gives_it() -> None:
    found = settings("layout: {outlet_flow: 54 L/h, pots: 10, line_holds: 1.8 L}\n", edit="2 min => 450 mL per pot")

    assert found.plan.windows[0].seconds == 60 * (1.8 / 9 + 0.45 / 0.9)


@pytest.mark.parametrize(
    ("old", "new", "pattern"),
    [
        ("cycles: 4", "every: 90 min", Every(90, ClockMoment(330), SunMoment(SunEvent.SUNSET, -90))),
        ('cycles: 4\n    between: ["05:30", "sunset - 1 h 30 min"]', "at: [6:30, dusk]",
         AtTimes((ClockMoment(390), SunMoment(SunEvent.DUSK)))),
    ],
)  # fmt: skip
def test_the_other_kinds_of_windows_and_times_that_yaml_would_misread(old: str, new: str, pattern: object) -> None:
    assert settings(edit=f"{old} => {new}").plan.windows[0].pattern == pattern


def test_days_of_the_week_that_yaml_reads_as_truth_are_read_as_days() -> None:
    window = settings(edit="water: 2 min => water: 2 min\n    on: [mon, Sun]\n    from: 2026-05-01").plan.windows[0]

    assert window.weekdays == {0, 6}
    assert window.starts == date(2026, 5, 1)


def test_wiring_is_built_as_written() -> None:
    wiring = settings(PINS, edit="{gpio: 22} => {gpio: 22, pull: down}").wiring

    assert wiring.relay is not None
    assert (wiring.relay.gpio, wiring.relay.energised_by_high) == (17, True)
    assert wiring.tray_high is not None
    assert wiring.tray_high.pull is Pull.DOWN


def test_a_second_relay_a_meter_and_a_sensed_supply_are_built_as_written() -> None:
    more = (
        PINS + "  cutoff_relay: {gpio: 24, energised_by: low}\n  supply_sensed: {gpio: 25}\n"
        "  flow_meter: {gpio: 5, pulses_per_litre: 450, normal: 12 L/min}\nlimits: {flow_within: 20 s, line_drain: 2 min}\n"
    )
    found = settings(more)

    assert found.wiring.cutoff == RelayPin(24, energised_by_high=False)
    assert found.wiring.sensed == SensedPin(25)
    assert found.wiring.flow == FlowPin(5, 450.0, 12.0)
    limits = found.limits
    assert (limits.has_cutoff, limits.has_read_back, limits.normal_flow_l_per_min) == (True, True, 12.0)
    assert (limits.flow_within_s, limits.line_drain_s) == (20.0, 120.0)
    assert not [line for line in told(found) if "welded" in line or "nobody can tell" in line]


def test_a_file_that_is_missing_or_no_text_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no.yaml:1:1: cannot be read: No such file or directory; "):
        load(tmp_path / "no.yaml")
    (tmp_path / "bad.yaml").write_bytes(b"bed: a\ntitle: \xff\n")
    with pytest.raises(SettingsError, match="bad.yaml:2:8: this is not UTF-8 text; save the file as UTF-8 text"):
        load(tmp_path / "bad.yaml")


def test_the_beds_id_is_found_in_a_file_with_faults(tmp_path: Path) -> None:
    path = tmp_path / "stem.yaml"
    path.write_text("bed: terrace\nplan: [\n")
    assert bed_id(path) == "terrace"
    path.write_text("plan: [\n")
    assert bed_id(path) == "stem"


# --- warnings ---------------------------------------------------------------------------------


def told(found: Settings) -> list[str]:
    return [str(warning) for warning in warnings(found, date(2026, 6, 1))]


def test_the_example_warns_only_of_what_its_wiring_cannot_show() -> None:
    assert told(load(EXAMPLE)) == [
        f"{EXAMPLE}:{line}:10: no input reads the pump's supply behind the last contact: a welded relay can't be seen;"
        " see hardware/wiring.md"
        for line in [EXAMPLE.read_text().splitlines().index("  relay: {gpio: 17, energised_by: high}") + 1]
    ]


@pytest.mark.parametrize(
    ("more", "edit", "part"),
    [
        ("", "water: 2 min => water: 30 s", "7:12: 30 s is short"),
        ("", "water: 2 min => water: 8 min", "7:12: 480 s is longer than longest_run (310 s), and cut there"),
        ("limits: {most_per_day: 5 min}\n", "cycles: 4 => cycles: 4",
         "8:24: the plan's day is 8 min, more than most_per_day (5 min)"),
        ("  - {window: late, at: [05:34], water: 2 min}\n", "cycles: 4 => cycles: 4",
         "8:5: on 2026-06-01 early 1 and late 1 leave less than the rest of 5 min"),
        ("  - {window: night, at: [23:59], water: 4 min}\n  - {window: small hours, at: [00:01], water: 2 min}\n",
         "cycles: 4 => cycles: 4", "9:5: on 2026-06-01 night 1 and small hours 1 leave less than the rest of 5 min"),
        (PINS, "gpio: 17 => gpio: 4", "9:17: GPIO 4 (pin 7) is pulled high while the Pi boots"),
        (PINS, "{gpio: 17} => {gpio: 17, energised_by: low}", "9:17: GPIO 17 (pin 11) is pulled low while the Pi boots"),
        (PINS + "  cutoff_relay: {gpio: 4}\n", "cycles: 4 => cycles: 4", "12:24: GPIO 4 (pin 7) is pulled high while the Pi boots"),
        (PINS + "  cutoff_relay: {gpio: 24}\n", "cycles: 4 => cycles: 4",
         "12:17: with neither supply_sensed nor a flow_meter nobody can tell"),
        (PINS + "  flow_meter: {gpio: 5, pulses_per_litre: 450, normal: 12 L/min}\n", "cycles: 4 => cycles: 4",
         "9:10: no input reads the pump's supply: a welded relay is seen only once water moves"),
        (PINS + "pump: {supply: mains}\n", "cycles: 4 => cycles: 4",
         "12:16: a mains pump; mains and water: a residual-current device whose test button is pressed monthly"),
        ("", "latitude: 38.72 => latitude: 69.65", "4:5: there is no sunset here on"),
    ],
)  # fmt: skip
def test_a_valid_file_is_warned_of(more: str, edit: str, part: str) -> None:
    assert [line for line in told(settings(more, edit)) if line.startswith(f"t.yaml:{part}")]


# --- the schema -------------------------------------------------------------------------------


def test_the_schema_in_config_is_current() -> None:
    assert (ROOT / "config" / "bed.schema.json").read_text() == schema_text()


def _typed(value: object) -> object:
    """As an editor's YAML reader would give it: YAML 1.2 does not take `on` for truth."""
    return json.loads(json.dumps(value, default=str).replace('"true":', '"on":'))


@pytest.mark.parametrize("text", [SMALLEST, EXAMPLE.read_text()], ids=["smallest", "example"])
def test_valid_files_satisfy_the_schema(text: str) -> None:
    errors = list(Draft202012Validator(json.loads(schema_text())).iter_errors(_typed(yaml.safe_load(text))))

    assert [error.message for error in errors] == []


def test_a_key_that_is_not_known_fails_the_schema() -> None:
    wrong = _typed(yaml.safe_load(SMALLEST + "plann: 3\n"))

    assert list(Draft202012Validator(json.loads(schema_text())).iter_errors(wrong))


# --- damage -----------------------------------------------------------------------------------


def damaged(text: str, seed: int) -> str:
    chance = random.Random(seed)
    lines = text.splitlines(keepends=True)
    for _ in range(chance.randint(1, 4)):
        where = chance.randrange(len(lines))
        deed = chance.randrange(5)
        if deed == 0:
            lines[where] = ""
        elif deed == 1:
            lines.insert(where, lines[chance.randrange(len(lines))])
        elif deed == 2 and lines[where]:
            cut = chance.randrange(len(lines[where]))
            lines[where] = lines[where][:cut] + chance.choice("\t:{}[]&*!|>'\"%@`-?#,x0\n ") + lines[where][cut:]
        elif deed == 3 and lines[where]:
            cut = chance.randrange(len(lines[where]))
            lines[where] = lines[where][:cut] + lines[where][cut + chance.randint(1, 5) :]
        else:
            other = chance.randrange(len(lines))
            lines[where], lines[other] = lines[other], lines[where]
    return "".join(lines)


def test_two_hundred_damaged_copies_of_the_example_are_refused_with_a_place_or_valid() -> None:
    text = EXAMPLE.read_text()
    refused = 0
    for seed in range(200):
        try:
            warnings(parse(damaged(text, seed), "d.yaml"), date(2026, 6, 1))
        except SettingsError as problem:
            refused += 1
            for line in str(problem).splitlines():
                name, row, column, what = line.split(":", 3)
                assert name == "d.yaml"
                assert int(row) >= 1
                assert int(column) >= 1
                assert "; " in what

    assert 50 < refused < 200


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=200))
def test_any_text_is_settings_or_faults(text: str) -> None:
    try:
        parse(text, "t.yaml")
    except SettingsError as problem:
        assert problem.faults


@given(
    st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=8)),
        lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.sampled_from(
            ["bed", "place", "plan", "window", "cycles", "between", "water", "at", "on", "sensing", "probes", "pins",
             "limits", "relay", "gpio", "timezone", "layout", "sump", "zzz"]), inner, max_size=5)),
        max_leaves=20,
    )
)  # fmt: skip
def test_any_tree_of_values_is_settings_or_faults(tree: object) -> None:
    try:
        parse(yaml.safe_dump(tree), "t.yaml")
    except SettingsError as problem:
        assert problem.faults


def test_the_command_prints_faults_without_a_traceback_and_exits_with_2(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(SMALLEST.replace("cycles", "cycels"))

    done = subprocess.run(
        [sys.executable, "-m", "waaler.cli.main", "check", str(path)], capture_output=True, text=True, cwd=tmp_path
    )

    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "bad.yaml:5:5: 'cycels' is no key here; write 'cycles'\n"
