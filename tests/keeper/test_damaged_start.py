"""A start on damaged records: it waters, believes what can be read, and tells what was lost."""

import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from tests.keeper.test_parts import begun
from tests.records.damage import whole
from tests.records.facts import at

from waaler.core.alert import Words
from waaler.devices.pipe import Hello
from waaler.guard.journal import Health
from waaler.guard.memory import Memory as GuardMemory
from waaler.keeper.restore import Restored
from waaler.records.damage import check

NOW = at(20_000.0)
WHOLE = Hello(Health.WHOLE, GuardMemory())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Records of some days."""
    whole(tmp_path)
    (tmp_path / "whole.db").rename(tmp_path / "t.db")
    (tmp_path / "t.accepted.yaml").write_text("accepted before")
    return tmp_path


def after(folder: Path, *statements: str, hello: Hello = WHOLE) -> Restored:
    """What a start finds once a bad card did this, past every check of the tables."""
    with closing(sqlite3.connect(folder / "t.db", isolation_level=None)) as db:
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute("PRAGMA ignore_check_constraints = ON")
        db.execute("PRAGMA writable_schema = ON")
        for statement in statements:
            assert db.execute(statement).rowcount != 0
    return begun(folder, hello, NOW)


def kinds(found: Restored) -> list[str]:
    return [str(notice.kind) for notice in found.notices]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE run SET cause = 'plam' WHERE id = 22",
        "UPDATE run SET outcome = 'dome' WHERE id = 22",
        "UPDATE run SET purse = 'xlan' WHERE id = 22",
        "UPDATE run SET day = '2026-99-99' WHERE id = 22",
        "UPDATE run SET ended_long_s = 9e999 WHERE id = 22",
        "UPDATE run SET intent_boot = 77 WHERE id = 22",
        "UPDATE trip SET trip = 'low-sumq' WHERE over_wall_s IS NULL",
        "UPDATE alert SET raised_boot = -3 WHERE resolved_wall_s IS NULL",
    ],
)
def test_a_row_that_a_start_cannot_read_is_left_out_and_told_and_all_else_is_believed(
    statement: str, folder: Path
) -> None:
    sound = folder / "sound"
    sound.mkdir()
    (sound / "t.db").write_bytes((folder / "t.db").read_bytes())
    (sound / "t.accepted.yaml").write_text("accepted before")
    known = after(sound).memory

    found = after(folder, statement)

    assert kinds(found) == ["history-lost", "restarted"]
    words = found.notices[0].about
    assert isinstance(words, Words)
    assert words.what.endswith(f"cannot be read any more: {statement.split()[1]}.")
    assert len(found.memory.done) >= len(known.done) - 1
    assert replace(found.memory, sump=None).next_run_id == known.next_run_id
    assert found.memory.sump == known.sump


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE sqlite_schema SET sql = replace(sql, 'intent_long_s', 'intent_lonh_s') WHERE name = 'run'",
        "UPDATE sqlite_schema SET sql = replace(sql, 'CREATE', 'CREATF') WHERE name = 'alert'",
        "UPDATE sqlite_schema SET sql = cast(x'ff4352454154452054' AS text) WHERE name = 'alert'",
        "UPDATE sqlite_schema SET name = cast(x'616cff' AS text), sql = 'CREATE TABLE' WHERE name = 'alert'",
        "DELETE FROM name",
        "UPDATE outbox SET id = 4611686018427387904 WHERE id = 1",
        "DELETE FROM sample_day",
        "DELETE FROM sample_10_min",
    ],
)
def test_records_whose_tables_are_no_tables_of_this_version_are_kept_aside(statement: str, folder: Path) -> None:
    found = after(folder, statement)

    assert kinds(found) == ["history-lost"]
    assert len(list(folder.glob("t.db.2*Z"))) == 1
    with closing(sqlite3.connect(folder / "t.db")) as db:
        check(db)


def test_an_alert_whose_severity_is_lost_stands_on_and_is_urgent(folder: Path) -> None:
    found = after(folder, "UPDATE alert SET severity = 'sooo' WHERE kind = 'sump-low'")

    assert [one.severity.value for one in found.memory.open_alerts if one.alert.name == "sump-low"] == ["urgent"]


def test_with_the_journal_lost_too_a_row_that_cannot_be_read_counts_as_a_plan_that_ran(folder: Path) -> None:
    found = after(folder, "UPDATE run SET cause = 'plam' WHERE id = 22", hello=Hello(Health.MISSING, GuardMemory()))

    assert sum(span.ended_s - span.started_s for span in found.memory.guard.spans) >= 4 * 120
    assert {trip.value for _, trip in found.memory.guard.tripped} == {"low sump", "high tray"}


@pytest.mark.parametrize("what", ["folder", "pipe"])
def test_what_is_no_file_in_place_of_the_records_is_kept_aside(what: str, folder: Path) -> None:
    (folder / "t.db").unlink()
    (folder / "t.db").mkdir() if what == "folder" else os.mkfifo(folder / "t.db")

    found = begun(folder, WHOLE, NOW)

    assert kinds(found) == ["history-lost"]
    assert (folder / "t.db").is_file()
