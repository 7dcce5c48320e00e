"""Old files become new ones, and old samples are forgotten while what was made of them stays."""

import sqlite3
from pathlib import Path

import pytest
from tests.records.facts import WALL_S, at, whole_run

from waaler.core.facts import Act, Amount, Deed
from waaler.guard.messages import Instant
from waaler.records.reader import Reader, Step
from waaler.records.schema import FIRST, MIGRATIONS, SCHEMA_VERSION, migrate
from waaler.records.store import Sample, Store
from waaler.records.thinning import ROWS_AT_ONCE

ALWAYS = (0.0, 4e9)
DAY_S = 86_400.0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "terrace.db"


def tables(path: Path) -> set[tuple[str, str, str]]:
    """Every table and index with its columns."""
    db = sqlite3.connect(path)
    names = db.execute("SELECT type, name FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'").fetchall()
    told = {
        (kind, name, str(db.execute(f"PRAGMA {'table' if kind == 'table' else 'index'}_info({name})").fetchall()))
        for kind, name in names
    }
    db.close()
    return told


def minutes(days_ago: float, count: int, name: str = "pot_5", value: float = 70.0) -> list[Sample]:
    begin_s = WALL_S - days_ago * DAY_S
    return [Sample(name, "%", begin_s + 60 * n, value + n % 10, value - 1, value + 11) for n in range(count)]


@pytest.mark.parametrize("version", range(SCHEMA_VERSION + 1))
def test_a_file_of_every_earlier_version_becomes_the_present_one(tmp_path: Path, version: int) -> None:
    old, new = tmp_path / "old.db", tmp_path / "new.db"
    db = sqlite3.connect(old, isolation_level=None)
    migrate(db, old, MIGRATIONS[:version])
    db.close()

    Store(old, "boot-a").close()

    Store(new, "boot-a").close()
    assert tables(old) == tables(new)
    Store(old, "boot-a").close()


def test_an_old_file_stays_beside_the_new_one_as_it_was(path: Path) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, (FIRST,))
    db.execute("INSERT INTO sensor VALUES (1, 'pot_5', '%')")
    db.close()

    Store(path, "boot-a").close()

    kept = sqlite3.connect(path.with_name("terrace.db.schema-1"))
    assert kept.execute("PRAGMA user_version").fetchone() == (1,)
    assert kept.execute("SELECT name FROM sensor").fetchall() == [("pot_5",)]
    kept.close()
    Store(path, "boot-a").close()
    assert [file.name for file in path.parent.glob("*.schema-*")] == ["terrace.db.schema-1"]


def test_samples_and_deeds_of_the_first_version_are_kept(path: Path) -> None:
    minute = int(WALL_S // 60)
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, (FIRST,))
    db.execute("INSERT INTO sensor VALUES (1, 'pot_5', '%')")
    db.executemany("INSERT INTO sample VALUES (1, ?, ?, 0, 99000)", [(minute + n, 1000 * n) for n in range(20)])
    db.execute("INSERT INTO boot VALUES (1, 'boot-a', 5, NULL)")
    db.execute("INSERT INTO deed VALUES (1, 'refill', '60 L', 'anna', NULL, NULL, 1, 5, ?, 1)", (WALL_S,))
    db.close()

    Store(path, "boot-b").close()

    with Reader(path) as reader:
        assert [row.mean for row in reader.samples(*ALWAYS, Step.MINUTE)] == [float(n) for n in range(20)]
        assert [(r.minutes, r.mean) for r in reader.samples(*ALWAYS)] == [(10, 4.5), (10, 14.5)]
        assert [(r.minutes, r.mean) for r in reader.samples(*ALWAYS, Step.DAY)] == [(20, 9.5)]
        assert [(deed.text, deed.amounts) for deed in reader.deeds(*ALWAYS)] == [("60 L", ())]


@pytest.mark.parametrize("version", range(1, SCHEMA_VERSION))
def test_readers_read_a_file_of_every_earlier_version_and_leave_it_as_it_is(path: Path, version: int) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, MIGRATIONS[:version])
    db.execute("INSERT INTO boot VALUES (1, 'boot-a', 5, NULL)")
    db.execute(
        "INSERT INTO deed (what, text, by, boot, long_s, wall_s, is_sure) VALUES ('note', 'aphids', 'anna', 1, 5, ?, 1)",
        (WALL_S,),
    )
    db.close()
    before = path.read_bytes()

    with Reader(path) as reader:
        assert [deed.text for deed in reader.deeds(*ALWAYS)] == ["aphids"]
        assert reader.runs(*ALWAYS) == []
        assert reader.present() is None
        assert reader.unread == 0
    assert path.read_bytes() == before


def test_an_alert_of_an_earlier_version_keeps_its_last_text_at_the_time_it_was_told(path: Path) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, MIGRATIONS[:7])
    db.execute("INSERT INTO boot VALUES (1, 'boot-a', 9000, 0)")
    row = "INSERT INTO alert (kind, severity, text, raised_boot, raised_long_s, raised_wall_s, raised_is_sure,"
    row += " told_boot, told_long_s) VALUES (?, 'urgent', ?, 1, 100, ?, 1, 1, ?)"
    db.execute(row, ("cycle-missed", "No full run for 91.7 h although cycles were planned.", WALL_S, 7300.0))
    db.execute(row, ("sump-low", "Sump low at rest.", WALL_S, 100.0))
    db.close()

    Store(path, "boot-b").close()

    with Reader(path) as reader:
        told = {row.kind: (row.at_s - WALL_S, row.text[:11]) for row in reader.tellings(*ALWAYS)}
    assert told == {"cycle-missed": (7200.0, "No full run"), "sump-low": (0.0, "Sump low at")}


def test_what_a_person_poured_and_measured_is_read_back_with_its_units(path: Path) -> None:
    store = Store(path, "boot-a")
    amounts = (Amount("EC", 1.8, "mS/cm"), Amount("pH", 5.9, ""))
    store.write([Deed(at(0.0), Act.MEASURE, "EC 1.8 mS/cm, pH 5.9", "anna", amounts=amounts)])
    store.write([Deed(at(1.0), Act.NOTE, "aphids on pot 3", "anna")])

    with Reader(path) as reader:
        measured, noted = reader.deeds(*ALWAYS)
        last = reader.last_deed(Act.MEASURE, Act.REFILL)
    store.close()

    assert (measured.amounts, noted.amounts, last) == (amounts, (), measured)


def test_ten_minutes_and_days_follow_a_minute_that_comes_late_or_twice(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write_samples(
        [Sample("pot_5", "%", WALL_S, 60.0, 59.0, 61.0), Sample("air", "C", WALL_S, -2.0, -3.0, -1.0)]
    )
    store.write_samples([Sample("pot_5", "%", WALL_S + 60, 80.0, 79.0, 81.0)])
    store.write_samples([Sample("pot_5", "%", WALL_S, 70.0, 69.0, 71.0)])

    with Reader(path) as reader:
        told = [(r.name, r.at_s, r.minutes, r.mean, r.least, r.most) for r in reader.samples(*ALWAYS)]
    store.close()

    assert told == [("pot_5", WALL_S, 2, 75.0, 69.0, 81.0), ("air", WALL_S, 1, -2.0, -3.0, -1.0)]


def test_minutes_are_kept_30_days_ten_minutes_a_year_and_days_for_ever(path: Path) -> None:
    store = Store(path, "boot-a")
    for days_ago in (500, 100, 31, 29):
        store.write_samples(minutes(days_ago, 20))

    assert store.thin(Instant(0.0, WALL_S)) is False

    with Reader(path) as reader:
        assert len(reader.samples(*ALWAYS, Step.MINUTE)) == 20
        assert [r.minutes for r in reader.samples(*ALWAYS)] == [10] * 6
        assert [(r.minutes, r.mean, r.least, r.most) for r in reader.samples(*ALWAYS, Step.DAY)] == [
            (20, 74.5, 69.0, 81.0)
        ] * 4
    store.close()


def test_a_clock_that_is_not_sure_forgets_nothing(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write_samples(minutes(100, 20))

    assert store.thin(Instant(0.0, WALL_S, is_sure=False)) is False

    with Reader(path) as reader:
        assert len(reader.samples(*ALWAYS, Step.MINUTE)) == 20
    store.close()


def test_forgetting_goes_in_small_steps_and_gives_the_pages_back(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write_samples(minutes(100, 5 * ROWS_AT_ONCE))
    pages = store._db.execute("PRAGMA page_count").fetchone()[0]

    steps = 1
    while store.thin(Instant(0.0, WALL_S)):
        steps += 1

    assert steps == 6, "five full steps and the one that finds nothing"
    assert store._db.execute("PRAGMA freelist_count").fetchone()[0] == 0
    assert store._db.execute("PRAGMA page_count").fetchone()[0] <= pages / 2
    store.close()


def test_runs_and_deeds_are_never_forgotten(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write([*whole_run(1, 0.0), Deed(at(1.0), Act.NOTE, "planted", "anna")])

    store.thin(Instant(0.0, WALL_S + 20 * 365 * DAY_S))

    with Reader(path) as reader:
        assert (len(reader.runs(*ALWAYS)), len(reader.deeds(*ALWAYS))) == (1, 1)
    store.close()
