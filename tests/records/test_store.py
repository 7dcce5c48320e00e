"""What is written is there, whole, and read back through a second connection."""

import sqlite3
from pathlib import Path

import pytest
from tests.records.facts import WALL_S, at, intent, key, whole_run

from waaler.core.facts import (
    Act,
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Cause,
    Deed,
    Outcome,
    RunResult,
    Severity,
)
from waaler.records.reader import Reader
from waaler.records.rows import Outgoing, Told
from waaler.records.schema import FIRST, migrate
from waaler.records.store import NewerRecords, Sample, Store, open_or_set_aside

ALWAYS = (0.0, 4e9)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "terrace.db"


def test_a_newer_file_is_refused_with_one_line_that_says_what_to_do(path: Path) -> None:
    Store(path, "boot-a").close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()

    expected = (
        f"{path}: written by a newer version (schema 99, this one knows 8); update waaler, or move the file away"
    )
    with pytest.raises(NewerRecords) as refusal:
        Store(path, "boot-a")
    assert str(refusal.value) == expected
    with pytest.raises(NewerRecords) as refusal:
        Reader(path)
    assert str(refusal.value) == expected


@pytest.mark.parametrize("damage", ["text", "torn", "newer"])
def test_a_file_that_cannot_be_used_is_kept_aside_and_records_begin_anew(path: Path, damage: str) -> None:
    store = Store(path, "boot-a")
    for number in range(200):
        store.write(whole_run(number + 1, 300.0 * number))
    store.close()
    if damage == "newer":
        with sqlite3.connect(path) as db:
            db.execute("PRAGMA user_version = 99")
        db.close()
    else:
        whole = path.read_bytes()
        path.write_bytes(b"not a database at all" * 200 if damage == "text" else whole[: len(whole) // 2])
    damaged = path.read_bytes()

    store, aside = open_or_set_aside(path, "boot-b", at(0.0))

    assert aside is not None
    assert aside.name.startswith("terrace.db.2")
    assert aside.read_bytes() == damaged
    store.write(whole_run(1, 0.0))
    store.close()
    with Reader(path) as reader:
        assert [run.run_id for run in reader.runs(*ALWAYS)] == [1]


def test_a_sound_file_is_not_set_aside(path: Path) -> None:
    Store(path, "boot-a").close()

    store, aside = open_or_set_aside(path, "boot-b", at(0.0))

    store.close()
    assert aside is None
    assert sorted(file.name for file in path.parent.iterdir()) == ["terrace.db"]


def test_a_run_is_read_back_with_its_key_its_times_and_both_reasons(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write(whole_run(7, 100.0, outcome=Outcome.CUT_SHORT, reason="low sump"))

    with Reader(path) as reader:
        (run,) = reader.runs(*ALWAYS)

    assert (run.run_id, run.cause, run.key, run.outcome) == (7, Cause.PLAN, key(7, WALL_S + 100), Outcome.CUT_SHORT)
    assert (run.asked_s, run.planned_s, run.granted_s, run.actual_s) == (120.0, 120.0, 120.0, 120.0)
    assert (run.planned_at_s, run.started_at_s, run.ended_at_s) == (WALL_S + 100, WALL_S + 100, WALL_S + 220)
    assert (run.reason, run.result_reason) == ("as planned", "low sump")
    store.close()


def test_facts_of_one_write_are_kept_all_or_none(path: Path) -> None:
    store = Store(path, "boot-a")
    not_a_number = RunResult(1, at(float("nan")), Outcome.DONE, 120.0, "ran its time")

    with pytest.raises(sqlite3.IntegrityError):
        store.write([intent(1, at(0.0)), not_a_number])

    with Reader(path) as reader:
        assert reader.runs(*ALWAYS) == []
    store.write(whole_run(1, 0.0))
    with Reader(path) as reader:
        assert [run.outcome for run in reader.runs(*ALWAYS)] == [Outcome.DONE]
    store.close()


def test_every_result_and_alert_stands_in_the_outbox_once_in_order(path: Path) -> None:
    store = Store(path, "boot-a")
    raised = AlertRaised(at(230.0), "sump-low", Severity.URGENT, "Sump low at rest.")
    facts = whole_run(1, 100.0)
    store.write([*facts, raised])
    store.write([facts[-1], raised])
    store.write([AlertResolved(at(400.0), "sump-low")])
    store.write([AlertResolved(at(410.0), "sump-low")])

    with Reader(path) as reader:
        waiting = [one for one in reader.after(0, most=10) if isinstance(one, Outgoing)]
        (alert,) = reader.alerts(*ALWAYS)

    told = [(type(one.about).__name__, one.what) for one in waiting]
    assert told == [("RunRow", Told.RUN), ("AlertRow", Told.ALERT), ("AlertRow", Told.RESOLVED)]
    assert [one.number for one in waiting] == [1, 2, 3]
    assert (alert.times, alert.raised_at_s, alert.resolved_at_s) == (2, WALL_S + 230, WALL_S + 400)
    store.close()


def test_the_outbox_is_bounded_and_alerts_stay(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("waaler.records.store.MOST_OUTBOX_RUNS", 5)
    store = Store(path, "boot-a", is_lasting=False)
    store.write([AlertRaised(at(0.0), "sump-low", Severity.URGENT, "Sump low at rest.")])
    store.write([AlertReworded(at(1.0), "sump-low", "Wait."), AlertReminded(at(2.0), "sump-low", "Still low.", 1)])
    for number in range(1, 21):
        store.write(whole_run(number, 300.0 * number))

    with Reader(path) as reader:
        assert [one.number for one in reader.after(0, most=100)] == [1, 3, 19, 20, 21, 22, 23]
        assert len(reader.runs(*ALWAYS)) == 20
    store.close()


def test_an_end_whose_intent_never_reached_the_disk_is_kept_all_the_same(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write(whole_run(3, 50.0)[1:])

    with Reader(path) as reader:
        (run,) = reader.runs(*ALWAYS)

    assert (run.run_id, run.actual_s, run.reason) == (3, 120.0, "its intent was not kept")
    store.close()


def test_deeds_are_read_back(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write([Deed(at(10.0), Act.PAUSE, "until Sun 10:00", "anna", WALL_S + 3 * 3600)])

    with Reader(path) as reader:
        (deed,) = reader.deeds(*ALWAYS)

    assert (deed.at_s, deed.what, deed.by, deed.until_s) == (WALL_S + 10, "pause", "anna", WALL_S + 10800)
    store.close()


def test_samples_are_kept_to_a_thousandth_and_a_minute_once(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write_samples([Sample("pot", "%", WALL_S, 41.0, 40.0, 42.0), Sample("air", "C", WALL_S, -3.5, -4, -3)])
    store.write_samples([Sample("pot", "%", WALL_S, 61.2345, 60.1, 62.0)])

    with sqlite3.connect(path) as db:
        rows = db.execute(
            "SELECT name, unit, minute, mean_milli, least_milli, most_milli FROM sample JOIN sensor"
            " ON sensor.id = sample.sensor ORDER BY name"
        ).fetchall()
    db.close()

    minute = int(WALL_S // 60)
    assert rows == [("air", "C", minute, -3500, -4000, -3000), ("pot", "%", minute, 61234, 60100, 62000)]
    store.close()


def test_a_step_of_the_schema_that_fails_leaves_the_file_as_it_was(path: Path) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, (FIRST,))
    broken = "CREATE TABLE refill (id INTEGER PRIMARY KEY) STRICT;\nCREATE TABLE run (id INTEGER)"

    with pytest.raises(sqlite3.OperationalError):
        migrate(db, path, (FIRST, broken))

    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    assert db.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'refill'").fetchone() == (0,)
    db.close()
