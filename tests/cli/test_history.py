"""`waaler history` from the shell."""

import csv
import io
import json
import os
import time
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tests.records.facts import whole_run
from tests.report.beds import write_days
from tests.settings.test_faults import SMALLEST

from waaler.cli.main import main
from waaler.core.facts import Act, Deed
from waaler.guard.memory import DAY_S
from waaler.guard.messages import Instant
from waaler.records.reader import Reader, Table
from waaler.records.store import Store

BED = SMALLEST


@pytest.fixture
def bed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    file = tmp_path / "terrace.yaml"
    file.write_text(BED)
    return file


def history(bed: Path, *options: str) -> Result:
    return CliRunner().invoke(main, ["history", *options, str(bed)])


def write_run(bed: Path, age_days: float, name: str = "terrace.db") -> None:
    store = Store(bed.parent / name, "boot-a")
    run_id = store.memory(Instant(0.0, time.time())).next_run_id
    store.write(whole_run(run_id, 0.0, run_at=Instant(0.0, time.time() - age_days * DAY_S)))
    store.close()


def test_without_records_one_line_says_so_and_the_answer_is_no(bed: Path) -> None:
    done = history(bed)

    assert done.exit_code == 1
    assert done.stdout == ""
    assert done.stderr == (
        f"{bed.parent}/terrace.db: no records yet; they begin when `waaler run` first starts for this bed\n"
    )


def test_a_bad_file_is_named_with_its_place(bed: Path) -> None:
    bed.write_text(BED.replace("Europe/Lisbon", "Europe/Lissabon"))

    done = history(bed)

    assert done.exit_code == 2
    assert done.stderr.startswith(f"{bed}:2:")
    assert "Traceback" not in done.output


@pytest.mark.parametrize(("days", "runs"), [("1", 1), ("3", 2), ("7", 2), ("30", 3)])
def test_days_are_today_and_those_before(bed: Path, days: str, runs: int) -> None:
    for age_days in (0, 2, 20):
        write_run(bed, age_days)

    told = json.loads(history(bed, "--days", days, "--json").stdout)

    assert (told["bed"], len(told["runs"]), len(told["days"])) == ("terrace", runs, int(days))


def test_a_terminal_gets_days_and_totals_within_80_columns(bed: Path) -> None:
    write_run(bed, 0)

    text = history(bed).stdout

    assert "total    1 cycle: 1 done" in text
    assert max(map(len, text.splitlines())) <= 80


def test_csv_begins_with_its_columns(bed: Path) -> None:
    write_run(bed, 0)

    lines = history(bed, "--csv").stdout.splitlines()

    assert lines[0].startswith("run,decided,planned,started,ended,planned_seconds,asked_seconds,ran_seconds,cause")
    assert len(lines) == 2


def test_a_rehearsal_is_told_from_its_own_file_and_its_own_last_day(bed: Path) -> None:
    write_run(bed, 0)
    write_run(bed, 400, "terrace.rehearsal.db")
    write_run(bed, 403, "terrace.rehearsal.db")

    told = json.loads(history(bed, "--rehearsal", "--days", "7", "--json").stdout)

    assert len(told["runs"]) == 2


# --- a chosen stretch, one run, a copy ----------------------------------------------------------


def test_days_the_wrong_way_round_are_refused(bed: Path) -> None:
    write_run(bed, 0)

    done = history(bed, "--since", "2026-06-21", "--until", "2026-06-20")

    assert done.exit_code == 2
    assert "--since 2026-06-21 lies after --until 2026-06-20; swap them" in done.stderr


def test_since_and_until_are_whole_days_both_included(bed: Path) -> None:
    store = Store(bed.parent / "terrace.db", "boot-a")
    for n in range(4):
        store.write(whole_run(n + 1, n * DAY_S))
    store.close()

    told = json.loads(history(bed, "--since", "2026-06-22", "--until", "2026-06-23", "--json").stdout)

    assert [run["run"] for run in told["runs"]] == [2, 3]
    assert [day["day"] for day in told["days"]] == ["2026-06-22", "2026-06-23"]


def test_a_number_that_no_run_has_is_said(bed: Path) -> None:
    write_run(bed, 0)

    done = history(bed, "--why", "99")

    assert (done.exit_code, done.stdout) == (1, "")
    assert done.stderr == "no run has the number 99; `waaler history --csv` lists them\n"


def test_why_tells_the_plan_the_reasons_and_the_readings_before(bed: Path) -> None:
    write_days(bed.parent / "terrace.db")

    text = history(bed, "--why", "12").stdout

    for part in (
        "  what            plan, skipped\n",
        "  cycle           early, number 12 of Sun 21 Jun 2026\n",
        "  planned         Mon 22 Jun 2026, 09:00:00 for 2 min\n",
        "  ended because   pot_3 reads 92 %, wet above 90 %\n",
        "  pot_3           79 % at 09:00\n",
        "  pot_9           56 % at 09:00\n",
        "  the rule        A cycle is left out only if every valid sensor says wet;",
    ):
        assert part in text
    assert max(map(len, text.splitlines())) <= 80


def test_each_day_has_its_line_of_moisture(bed: Path) -> None:
    write_days(bed.parent / "terrace.db", 1)

    text = history(bed, "--since", "2026-06-21", "--until", "2026-06-21").stdout

    assert "  moisture ········▆▆·············· 70 to 70 %, midnight to midnight\n" in text
    assert "\x1b" not in text, "no colours in a pipe"
    assert max(map(len, text.splitlines())) <= 80


def test_a_complete_copy_says_of_every_column_what_it_holds(bed: Path) -> None:
    write_days(bed.parent / "terrace.db")
    out = bed.parent / "copy.zip"

    done = history(bed, "--export", str(out))

    assert done.exit_code == 0
    with zipfile.ZipFile(out) as copy:
        readme = copy.read("README.txt").decode()
        rows = {name: list(csv.reader(io.StringIO(copy.read(name).decode()))) for name in copy.namelist()[:-1]}
    assert len(rows["run.csv"]) == 1 + 7
    assert len(rows["sample.csv"]) == 1 + 3 * 2 * 120
    assert [row[2] for row in rows["deed.csv"] if row[1] == "note"] == [
        'planted <script>alert(1)</script> & "Söhne"'
    ]
    for head, *_ in rows.values():
        for column in head:
            assert f"\n  {column} " in readme


def test_a_copy_reads_in_pages_and_loses_no_row_between_them(bed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("waaler.records.reader.PAGE_ROWS", 7)
    write_days(bed.parent / "terrace.db", 1)

    with Reader(bed.parent / "terrace.db") as reader:
        pages = list(reader.pages(Table.SAMPLE))

    assert max(map(len, pages)) == 7
    assert len({row[:2] for page in pages for row in page}) == sum(map(len, pages)) == 240


# --- what comes from outside --------------------------------------------------------------------


def test_a_note_that_steers_a_terminal_is_shown_as_it_was_written(bed: Path) -> None:
    at = Instant(0.0, time.time() - 60)
    store = Store(bed.parent / "terrace.db", "boot-a")
    store.write([Deed(at, Act.NOTE, "new \x1b]0;gotcha\x07 \u202e pump", by="\x1b[2J")])
    store.close()

    shown = history(bed).stdout
    rows = json.loads(history(bed, "--json").stdout)["deeds"]

    assert "new \\x1b]0;gotcha\\x07 \\u202e pump" in shown
    assert "\x1b" not in shown + history(bed, "--csv").stdout + history(bed, "--json").stdout
    assert "\u202e" not in history(bed, "--json").stdout
    assert rows[0]["text"] == "new \x1b]0;gotcha\x07 \u202e pump"


@pytest.mark.parametrize("out", ["", ".", "folder", "pipe", "device"])
def test_a_copy_goes_into_a_new_or_a_regular_file_only(
    bed: Path, out: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    write_run(bed, 1.0)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "device").symlink_to("/dev/null")
    before = {path.name for path in tmp_path.iterdir()}

    done = history(bed, f"--export={out}")

    assert done.exit_code in (1, 2)
    assert "no regular file" in done.stderr or "is a directory" in done.stderr
    assert len(done.stderr.strip().splitlines()[-1]) < 200
    assert {path.name for path in tmp_path.iterdir() if not path.name.startswith("terrace.db-")} == before
    assert (tmp_path / "device").is_char_device()


def test_a_link_where_the_new_copy_is_begun_is_not_followed(bed: Path, tmp_path: Path) -> None:
    write_run(bed, 1.0)
    (tmp_path / "precious").write_text("precious")
    (tmp_path / "copy.zip.new").symlink_to(tmp_path / "precious")
    (tmp_path / "copy.zip").write_text("the former copy")

    done = history(bed, "--export", str(tmp_path / "copy.zip"))

    assert done.exit_code == 0
    assert (tmp_path / "precious").read_text() == "precious"
    assert zipfile.is_zipfile(tmp_path / "copy.zip")
    assert not list(tmp_path.glob(".*.new"))
