"""`waaler history` from the shell."""

import json
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tests.records.facts import whole_run

from waaler.cli.main import main
from waaler.guard.messages import Instant
from waaler.records.store import Store

BED = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
plan:
  - window: early
    cycles: 4
    between: ["05:30", "sunset - 1 h 30 min"]
    water: 2 min
"""
DAY_S = 86_400.0


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
