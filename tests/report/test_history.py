"""The history as a grower reads it, and as other programs do."""

import csv
import io
import json
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.records.facts import WALL_S, at, intent, whole_run

from waaler.core.facts import Act, AlertRaised, AlertResolved, Cause, Deed, Outcome, RunIntent, RunResult, Severity
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Purse
from waaler.records.reader import Reader
from waaler.records.store import Store
from waaler.report.history import COLUMNS, History, as_csv, as_object, as_text, read_history

LISBON = ZoneInfo("Europe/Lisbon")
DAY = """\
Sunday 21 June 2026
  due      start     end         asked      ran  cause      outcome         run
  08:00    08:00:00  08:02:00    120 s    120 s  plan       done              1
  08:05    08:05:00  08:05:40     40 s     40 s  plan       cut short         2
           cut short: sump low
  08:15    alert, urgent: Sump low at rest. No run starts until it reads good.
           Unplug the pump, refill to the full mark, plug it in again; it starts
           again by itself.
  08:20    -         -           120 s        -  plan       skipped           3
           pot reads 82 %, wet above 75 %
  08:25    alert over: sump-low
  08:30    pause by anna: until Sun 09:30
  09:40    09:40:00  09:41:30     90 s     90 s  by hand    done              4
           ordered by anna
  total    4 cycles: 2 done, 1 cut short, 1 skipped
           3 starts, pump on for 4 min 10 s
"""


@pytest.fixture
def history(tmp_path: Path) -> History:
    store = Store(tmp_path / "terrace.db", "boot-a")
    low = (
        "Sump low at rest. No run starts until it reads good. Unplug the pump, refill to the full mark, plug it in"
        " again; it starts again by itself."
    )
    store.write([
        *whole_run(1, 0.0),
        *whole_run(2, 300.0, 40.0, Outcome.CUT_SHORT, reason="cut short: sump low"),
        AlertRaised(at(900.0), "sump-low", Severity.URGENT, low),
        intent(3, at(1200.0)),
        RunResult(3, at(1200.0), Outcome.SKIPPED, 0.0, "pot reads 82 %, wet above 75 %"),
        AlertResolved(at(1500.0), "sump-low"),
        Deed(at(1800.0), Act.PAUSE, "until Sun 09:30", "anna", WALL_S + 5400),
        *whole_run(4, 6000.0, 90.0, cause=Cause.HAND),
    ])  # fmt: skip
    store.close()
    with Reader(tmp_path / "terrace.db") as reader:
        return read_history(reader, 0.0, 4e9, LISBON)


def test_a_day_is_told_row_by_row_and_ends_with_its_total(history: History) -> None:
    assert as_text(history) == DAY


def test_the_end_of_an_interrupted_run_is_not_known(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    store.write(whole_run(1, 0.0)[:2])
    store.write(store.unended(at(9000.0), GuardMemory()))
    with Reader(tmp_path / "terrace.db") as reader:
        history = read_history(reader, 0.0, 4e9, LISBON)
    store.close()

    (run,) = as_object(history, [])["runs"]
    assert (run["outcome"], run["ran_seconds"], run["ended"]) == ("interrupted", 120.0, None)
    assert "  08:00    08:00:00  -           120 s    120 s  plan       interrupted       1\n" in as_text(history)


def test_runs_that_gave_no_water_alike_are_one_row_a_day_until_another_ran(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    for n, seconds in enumerate((0.0, 0.0, 0.0, 60.0, 0.0)):
        outcome, reason = (Outcome.REFUSED, "sump low") if seconds == 0 else (Outcome.DONE, "ran its time")
        store.write(whole_run(n + 1, 600.0 * n, seconds, outcome, reason=reason))
    store.write(whole_run(6, 3000.0, 0.0, Outcome.REFUSED, cause=Cause.CATCH_UP, reason="sump low"))
    store.close()

    with Reader(tmp_path / "terrace.db") as reader:
        rows = as_text(read_history(reader, WALL_S - 1, WALL_S + 86_400, LISBON)).splitlines()[2:-3]

    assert [row.split() for row in rows if "refused" in row or "done" in row] == [
        ["08:00", "to", "08:20", "-", "-", "-", "plan", "refused", "3"],
        ["08:30", "08:30:00", "08:31:00", "60", "s", "60", "s", "plan", "done", "4"],
        ["08:40", "08:40:00", "08:40:00", "0", "s", "-", "plan", "refused", "5"],
        ["08:50", "08:50:00", "08:50:00", "0", "s", "-", "catch-up", "refused", "6"],
    ]
    assert "3 times, runs 1 to 3: sump low" in rows[1]


def test_an_empty_period_says_so() -> None:
    assert as_text(History(LISBON, [], [], [])) == "nothing ran, and nothing was due, in this period\n"


def test_no_line_is_wider_than_a_terminal(history: History) -> None:
    assert max(map(len, as_text(history).splitlines())) <= 80


def test_json_carries_units_in_its_keys_and_offsets_in_its_times(history: History) -> None:
    told = json.loads(json.dumps(as_object(history, [date(2026, 6, 20), date(2026, 6, 21)])))

    assert told["runs"][1] == {
        "run": 2,
        "decided": "2026-06-21T08:05:00+01:00",
        "planned": "2026-06-21T08:05:00+01:00",
        "started": "2026-06-21T08:05:00+01:00",
        "ended": "2026-06-21T08:05:40+01:00",
        "planned_seconds": 40.0,
        "asked_seconds": 40.0,
        "ran_seconds": 40.0,
        "cause": "plan",
        "window": "early",
        "cycle": 2,
        "pulse": 1,
        "pulses": 1,
        "by": None,
        "outcome": "cut short",
        "reason": "as planned",
        "ended_because": "cut short: sump low",
    }
    assert [day["pump_seconds"] for day in told["days"]] == [0.0, 250.0]
    assert told["days"][1]["outcomes"]["skipped"] == 1
    assert told["alerts"][0]["resolved"] == "2026-06-21T08:25:00+01:00"
    assert told["deeds"][0]["until"] == "2026-06-21T09:30:00+01:00"


def test_csv_has_one_row_a_run(history: History) -> None:
    rows = list(csv.DictReader(io.StringIO(as_csv(history))))

    assert tuple(rows[0]) == COLUMNS
    assert [row["outcome"] for row in rows] == ["done", "cut short", "skipped", "done"]
    assert rows[2]["started"] == ""


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t"])
def test_a_cell_that_a_spreadsheet_would_run_is_quoted(tmp_path: Path, sign: str) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    nasty = f'{sign}HYPERLINK("x")'
    store.write([RunIntent(1, at(0.0), Cause.HAND, Purse.SPARE, 60.0, nasty, by=nasty)])
    store.close()
    with Reader(tmp_path / "terrace.db") as reader:
        text = as_csv(read_history(reader, 0.0, 4e9, LISBON))

    (row,) = csv.DictReader(io.StringIO(text))
    assert (row["by"], row["reason"]) == (f"'{nasty}", f"'{nasty}")
