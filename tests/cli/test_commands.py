"""What people see of the commands: at most 80 columns, exit codes, and no network or daemon needed."""

import json
import os
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result
from freezegun import freeze_time
from tests.settings.test_faults import SMALLEST

from waaler.cli.main import main


@pytest.fixture
def file(home: Path) -> Path:
    path = home / "terrace.yaml"
    path.write_text(SMALLEST)
    return path


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def fits(text: str) -> bool:
    return all(len(line) <= 80 for line in text.splitlines())


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["check", "timetable", "rehearse"])
def test_a_missing_file_is_one_line_and_exit_2(file: Path, command: str) -> None:
    result = run(command, "none.yaml")

    assert result.exit_code == 2
    assert result.output == (
        "none.yaml:1:1: cannot be read: No such file or directory; name a file that exists and may be read\n"
    )


def test_an_unknown_command_is_refused(file: Path) -> None:
    assert run("dance").exit_code == 2


@pytest.mark.parametrize(
    "words",
    [
        ("timetable", "--on", "soon"),
        ("timetable", "--on", "0001-01-01"),
        ("timetable", "--on", "9999-12-31"),
        ("timetable", "--days", "0"),
        ("rehearse", "--days", "-1"),
        ("rehearse", "--from", "9999-12-31"),
    ],
)
def test_an_option_that_makes_no_sense_is_refused(file: Path, words: tuple[str, ...]) -> None:
    assert run(*words, file).exit_code == 2


def test_records_that_this_version_cannot_take_over_are_told_before_it_is_started(file: Path) -> None:
    records = file.parent / "state" / "waaler" / "terrace" / "terrace.db"
    records.parent.mkdir(parents=True)
    records.write_text("no database " * 1000)

    result = run("check", "--records", file)

    assert result.exit_code == 1
    assert "terrace.db: file is not a database" in result.output
    assert run("check", file).exit_code == 0


@pytest.mark.parametrize("words", [("rehearse", "--days", "1"), ("history", "--rehearsal"), ("status",), ("run",)])
def test_a_folder_that_cannot_be_made_is_one_line_and_exit_1(
    file: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    (file.parent / "in the way").write_text("a file where a folder should be")
    for name in ("STATE_DIRECTORY", "RUNTIME_DIRECTORY"):
        monkeypatch.setenv(name, str(file.parent / "in the way" / "terrace"))
    result = run(*words, file)

    assert result.exit_code == 1
    assert "terrace cannot be made: Not a directory; set " in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)


# --- answers ----------------------------------------------------------------------------------


@freeze_time("2026-06-21 10:00:00")
def test_check_says_what_the_plan_does_today(file: Path) -> None:
    result = run("check", file)

    assert result.exit_code == 0
    assert result.output == (
        "warning: terrace.yaml:1:1: no pins are written out: this file can be rehearsed, not run on a Pi; add `pins:` as"
        " in `waaler example`\n"
        "terrace: valid. Today 4 cycles, 8 min of pump in all, about 101 L lifted.\n"
    )


@freeze_time("2026-06-21 10:00:00")
def test_check_in_json_names_every_warning_with_its_place(file: Path) -> None:
    told = json.loads(run("check", "--json", file).output)

    assert told["today"] == {"cycles": 4, "seconds": 480.0}
    assert [(w["line"], w["column"]) for w in told["warnings"]] == [(1, 1)]


@freeze_time("2026-06-21 10:00:00")
def test_the_timetable_of_today_is_printed_with_its_offset(file: Path) -> None:
    result = run("timetable", file)

    assert fits(result.output)
    assert result.output.splitlines()[0] == "Sun 2026-06-21 05:30:00 +0100    120 s  early"
    assert result.output.splitlines()[-1] == "4 cycles, 8 min of pump in all"


def test_the_timetable_in_json_has_the_promised_shape(file: Path) -> None:
    told = json.loads(run("timetable", "--on", "2026-10-24", "--days", "2", "--json", file).output)

    assert list(told) == ["cycles"]
    assert told["cycles"][0] == {"start": "2026-10-24T05:30:00+01:00", "seconds": 120.0, "window": "early"}
    assert told["cycles"][4]["start"] == "2026-10-25T05:30:00+00:00"
    assert len(told["cycles"]) == 8


def test_the_example_is_a_valid_file(file: Path) -> None:
    file.write_text(run("example").output)

    assert run("check", file).exit_code == 0


def test_a_rehearsal_tells_its_summary_and_keeps_records_that_history_reads(file: Path) -> None:
    result = run("rehearse", "--days", "2", "--from", "2026-06-21", file)

    assert result.exit_code == 0, result.output
    assert fits(result.output)
    assert "  runs      8 done" in result.output
    assert result.output.splitlines()[-1] == "The plan keeps the media moist, and nothing tripped."
    history = run("history", "--rehearsal", "--json", file)
    assert len(json.loads(history.output)["runs"]) == 8
    assert run("history", file).exit_code == 1
    assert sorted(os.listdir(file.parent / "state" / "waaler" / "terrace"))[0] == "terrace.rehearsal.db"


def test_a_rehearsal_that_starves_the_bed_says_so_and_exits_with_1(file: Path) -> None:
    file.write_text(SMALLEST.replace("cycles: 4", "cycles: 1").replace("2 min", "15 s"))
    file.write_text(file.read_text() + "layout: {drink_per_pot: 4 L}\n")

    result = run("rehearse", "--days", "6", "--from", "2026-06-21", "--json", file)

    assert result.exit_code == 1
    assert json.loads(result.output)["wilted_hours"] > 0


def test_two_rehearsals_with_one_seed_are_the_same(file: Path) -> None:
    first, second = (
        run("rehearse", "--days", "3", "--from", "2026-06-21", "--json", file).output for _ in range(2)
    )

    assert first == second


LAID_OUT = "layout: {pots: 16, pump: {free_flow: 400 gal/h, shut_off: 8 ft}, tray: {length: 2.4 m, width: 1.2 m}}\n"


def test_size_tells_every_outlet_what_to_do_and_what_it_assumed(file: Path) -> None:
    file.write_text(SMALLEST + LAID_OUT)
    result = run("size", file)

    assert result.exit_code == 0, result.output
    assert fits(result.output)
    rows = [line for line in result.output.splitlines() if "mm   " in line]
    assert len(rows) == 16
    assert result.output.splitlines()[2].startswith("  Yes: ")
    assert "assumed, since the file does not say: lift 0.5 m; hose length 1.5 m" in result.output
    told = json.loads(run("size", "--json", file).output)
    assert told["is_sound"]
    assert told["is_big_enough"]
    assert told["wants_l_per_min"] < told["pump_l_per_min"]
    assert [row["outlet"] for row in told["outlets"]] == list(range(1, 17))
    assert sum(row["l_per_min"] for row in told["outlets"]) == pytest.approx(told["pump_l_per_min"], rel=1e-4)


def test_size_without_a_pump_or_with_one_that_cannot_lift_is_one_line(file: Path) -> None:
    assert run("size", file).output.startswith("the layout has no pump: add")
    file.write_text(SMALLEST + LAID_OUT.replace("pots: 16", "lift: 9 ft"))
    result = run("size", file)

    assert result.exit_code == 1
    assert result.output == "lift 2.8 m is above the pump's shut-off head 2.4 m\n"


def test_a_bucket_test_is_judged_and_fitted(file: Path) -> None:
    file.write_text(SMALLEST + LAID_OUT.replace("pots: 16", "pots: 4"))
    cups = file.parent / "cups.csv"
    cups.write_text("outlet,ml,seconds\n1,300,15\n2,250,15\n3,240,15\n4,90,15\n")
    result = run("balance", cups, file)

    assert result.exit_code == 1
    assert fits(result.output)
    assert "BLOCKED   outlets 4: clean them" in result.output
    assert "- {outlet: 4, opening:" in result.output
    cups.write_text("outlet,ml,seconds\n1,lots,15\n")
    assert run("balance", cups, file).output == f"{cups}:2:3: 'lots' is no ml; write a plain number such as 212\n"
    assert run("balance", cups, file).exit_code == 2


@freeze_time("2026-07-01 10:00:00")
def test_the_budget_tells_days_refills_and_what_it_assumed(file: Path) -> None:
    result = run("budget", "--days", "16", file)

    assert result.exit_code == 0, result.output
    assert fits(result.output)
    assert "refill by Thu 09 Jul 2026; 134 L" in result.output
    assert "+134 L of" in result.output
    assert "assumed: no crops are written: 1.2 L a pot and day" in result.output
    told = json.loads(run("budget", "--days", "16", "--json", file).output)
    assert told["needs_water_on"] == "2026-07-09"
    assert len(told["days"]) == 16


def test_a_budget_names_the_pots_that_wilt_on_the_plan_as_it_is_and_one_that_carries_them(file: Path) -> None:
    """A tomato of 0.7 m2 drinks 4 L or so on a day of 5 mm; four runs of a minute give it 2.6 L at the most."""
    file.write_text(SMALLEST.replace("2 min", "60 s") + TOMATOES)
    result = run("budget", "--from", "2026-07-01", "--days", "10", file)
    words = " ".join(result.output.split())

    assert result.exit_code == 1
    assert fits(result.output)
    assert (
        "as it is on such days the plan lets pots 1 to 3 (tomato) dry past what is easy to take (rehearsed)"
        in words
    )
    assert re.search(
        r"NOTE: on three such days the plan as written lets pots 1 to 3 \(tomato\) wilt for \d+", words
    )
    told = json.loads(run("budget", "--from", "2026-07-01", "--days", "10", "--json", file).output)
    assert told["first_pot"] in (1, 2, 3)
    assert told["as_written_pots_wilted_hours"][3:] == [0.0] * 11
    cycles, seconds = told["suggested_cycles"], told["suggested_seconds"]
    assert f"suggested {cycles} cycles of {seconds} s, sunrise + 30 min to sunset - 1 h 30 min: they carry" in words
    file.write_text(SMALLEST.replace("2 min", f"{seconds} s").replace("cycles: 4", f"cycles: {cycles}") + TOMATOES)
    assert run("budget", "--from", "2026-07-01", "--days", "10", file).exit_code == 0


def test_a_pot_that_no_plan_carries_is_told_what_would(file: Path) -> None:
    file.write_text(SMALLEST + TOMATOES.replace("count: 3", "count: 3, nominal: 0.5 gal"))
    result = run("budget", "--from", "2026-07-01", "--days", "10", file)

    assert fits(result.output)
    assert "suggested none: up to 24 cycles a day let pot 1 (tomato) dry; a larger pot," in " ".join(
        result.output.split()
    )
    assert json.loads(run("budget", "--from", "2026-07-01", "--json", file).output)["suggested_cycles"] is None


TOMATOES = """\
pots: [{count: 3, crop: tomato}, {count: 11}]
crops: [{name: tomato, planted: 2026-05-01, canopy: 0.7 m2, stages: [20, 30, 60, 10], kc: [1.15, 0.9]}]
"""
GROWN = """\
pots: [{count: 14, crop: beans}]
crops: [{name: beans, planted: 2026-05-01, canopy: 0.1 m2, stages: [20, 30, 30, 10], kc: [1.05, 0.9]}]
"""


def test_a_season_that_is_over_is_said_to_be_over(file: Path) -> None:
    """90 days from the first of May."""
    file.write_text(SMALLEST + GROWN)
    told = "the stages of beans end on Thu 30 Jul 2026; from then on it drinks as at their end"

    late = run("budget", "--from", "2026-07-20", "--days", "16", file).output
    assert f"NOTE: {told}" in " ".join(late.split())
    assert fits(late)
    assert "the stages of beans" not in run("budget", "--from", "2026-07-01", "--days", "16", file).output
    played = run("rehearse", "--from", "2026-07-28", "--days", "3", file).output
    assert f"season {told}" in " ".join(played.split())
    assert fits(played)
    assert "assumed: reference by Hargreaves" in run("budget", "--from", "2026-07-01", file).output
    assert "no shelter is written: 100 %" in " ".join(run("budget", "--from", "2026-07-01", file).output.split())


def test_the_sump_is_drawn_into_a_picture_and_a_folder_that_is_not_there_is_one_line(file: Path) -> None:
    assert run("budget", "--from", "2026-07-01", "--plot", "sump.svg", file).exit_code == 0
    svg = ElementTree.parse("sump.svg").getroot()
    words = "".join(svg.itertext())
    assert svg.tag == "{http://www.w3.org/2000/svg}svg"
    assert "low mark" in words
    assert words.count("refill") >= 2
    result = run("budget", "--plot", "nowhere/sump.svg", file)

    assert result.exit_code == 1
    assert result.output == "nowhere/sump.svg cannot be written: No such file or directory\n"


@freeze_time("2026-07-01 10:00:00")
def test_a_budget_that_does_not_last_says_so_and_exits_with_1(file: Path) -> None:
    file.write_text(SMALLEST + "layout: {drink_per_pot: 4 L}\naway_days: 5\n")
    result = run("budget", file)

    assert result.exit_code == 1
    assert "NOTE: a run would be cut by a low sump on" in result.output


def test_what_if_ranks_the_plans_and_names_the_least(file: Path) -> None:
    result = run("rehearse", "--days", "2", "--try", "cycles=3,4", "--try", "water=1 min", file)

    assert result.exit_code == 0, result.output
    assert fits(result.output)
    last = "The least water that keeps every pot above its limit: cycles 3, water 1 min."
    assert result.output.splitlines()[-1] == last
    told = json.loads(run("rehearse", "--days", "1", "--try", "cycles=3,4", "--json", file).output)
    assert [row["cycles"] for row in told] == ["3", "4"]


def test_a_story_of_faults_is_played_and_one_that_makes_no_sense_is_refused(file: Path) -> None:
    story = file.with_name("story.yaml")
    story.write_text("faults:\n  - blocked-drain@1d\n")
    told = run("rehearse", "--days", "2", "--from", "2026-06-21", "--story", story, "--json", file)
    assert "tray too full" in told.output
    assert told.exit_code == 1

    story.write_text("faults:\n  - blocked-brain@1d\n")
    told = run("rehearse", "--story", story, file)
    assert told.exit_code == 2
    assert told.output == f"{story}:2:5: no fault is called 'blocked-brain'; write blocked-drain\n"


@pytest.mark.parametrize("text", ["cycles", "=4", "cycles=", "cycles=" + ",".join(map(str, range(1, 300)))])
def test_a_choice_that_is_none_is_refused(file: Path, text: str) -> None:
    assert run("rehearse", "--try", text, file).exit_code == 2


def test_every_command_tells_an_example(file: Path) -> None:
    names = main.list_commands(None)  # type: ignore[arg-type]
    assert len(names) >= 15
    for name in names:
        told = run(name, "--help").output
        assert "Example: waaler" in told or name in {"history", "keep", "notify"}, name
        assert fits(told), name


# --- the header -------------------------------------------------------------------------------

PINS = """\
pins:
  relay: {gpio: 17}
  sump_low: {gpio: pin 13}
  tray_high: {gpio: 22, pull: down}
"""


def test_without_pins_there_is_no_header_to_draw(file: Path) -> None:
    result = run("pins", file)

    assert result.exit_code == 2
    assert result.output.startswith("terrace.yaml:1:1: no pins are written out; add `pins:`")


def test_the_header_is_drawn_with_what_goes_where(file: Path) -> None:
    file.write_text(SMALLEST + PINS + "sensing: {probes: [{name: p, channel: 0}]}\n")
    result = run("pins", file)
    lines = result.output.splitlines()

    assert result.exit_code == 0
    assert fits(result.output)
    rows = [line for line in lines if "│" in line]
    assert len(rows) == 20
    assert rows[5].split() == ["relay", "GPIO", "17", "11", "│", "●", "○", "│", "12", "GPIO", "18"]
    assert rows[6].split()[:5] == ["sump_low", "GPIO", "27", "13", "│"]
    assert rows[9].split()[:6] == ["MOSI", "GPIO", "10", "19", "│", "◆"]
    assert rows[3].split()[-5:] == ["×", "│", "8", "GPIO", "14"]
    assert "  tray_high: pin 15 (GPIO 22) and pin 17 (3.3 V)" in lines


def test_the_header_is_told_as_json(file: Path) -> None:
    file.write_text(SMALLEST + PINS + "  header: 26\n")
    told = json.loads(run("pins", "--json", file).output)

    assert told["header"] == 26
    assert [(pin["pin"], pin["gpio"], pin["name"], pin["back_to_pin"]) for pin in told["pins"]] == [
        (11, 17, "relay", 9),
        (13, 27, "sump_low", 14),
        (15, 22, "tray_high", 17),
    ]


# --- the card ---------------------------------------------------------------------------------


def test_the_card_tells_marks_plug_phones_and_leaves_lines_for_what_only_people_know(file: Path) -> None:
    bare = run("card", "--from", "2026-07-01", file)
    file.write_text(
        SMALLEST + "card: {plug: white tape, shut_off: breaker 4}\ncontacts: [{name: Mina, call: 555 0123}]\n"
    )
    own = run("card", "--from", "2026-07-01", file)

    assert bare.exit_code == own.exit_code == 0
    assert fits(bare.output)
    assert "The plug: ____" in bare.output
    assert "Pull the plug. With a can out of the sump give every pot" in bare.output
    for words in ("The plug: white tape", "Main switch or breaker: breaker 4", "Mina: 555 0123", "full mark 220 L"):
        assert words in own.output
    assert "Button, short" not in own.output


def test_the_card_s_expected_refills_are_those_of_the_budget(file: Path) -> None:
    file.write_text((Path(__file__).parents[2] / "config" / "bed.yaml").read_text())
    card = json.loads(run("card", "--from", "2026-07-01", "--json", file).output)
    budget = json.loads(run("budget", "--from", "2026-07-01", "--days", "60", "--json", file).output)

    expected = [row["day"] for row in budget["days"] if row.get("refill_litres")]
    assert card["expected_refills"] == expected[:6]
    assert card["expected_refills"] != []


def test_the_rehearsal_that_the_readme_shows_is_the_one_that_is_played() -> None:
    root = Path(__file__).parents[2]
    played = run("rehearse", "--from", "2026-06-21", root / "config" / "bed.yaml").output
    shown = "".join(f"    {line}\n" if line else "\n" for line in played.splitlines())

    assert shown in (root / "README.md").read_text()
