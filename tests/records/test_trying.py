"""Records tried by a new version, on a copy."""

import sqlite3
from pathlib import Path

import pytest
from tests.records.facts import whole_run

from waaler.records.schema import FIRST, SCHEMA_VERSION, NewerRecords, StoreError, migrate
from waaler.records.store import Store
from waaler.records.trying import try_on_copy


def version(path: Path) -> int:
    db = sqlite3.connect(path)
    found = int(db.execute("PRAGMA user_version").fetchone()[0])
    db.close()
    return found


def test_records_of_a_newer_version_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    Store(path, "boot-a").close()
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    db.close()

    with pytest.raises(NewerRecords):
        try_on_copy(path)


def test_damaged_records_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    path.write_bytes(b"no records, but long enough to look at. " * 100)

    with pytest.raises(StoreError, match=r"terrace\.db: file is not a database"):
        try_on_copy(path)


def test_records_of_an_older_version_pass_and_stay_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, (FIRST,))
    db.close()

    try_on_copy(path)

    assert version(path) == 1


def test_records_that_a_daemon_writes_meanwhile_pass(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    store = Store(path, "boot-a")
    store.write(whole_run(1, 0.0))

    try_on_copy(path)

    store.close()
