"""Records that are lost or damaged under a running daemon: noticed within a minute, made good and told."""

import os
import shutil
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from tests.keeper.process import until
from tests.keeper.test_parts import no_death
from tests.records.facts import at, whole_run

from waaler.bed.ledger import Entry
from waaler.core.alert import Words
from waaler.core.facts import AlertRaised, Fact, PresentNoted, Severity, SumpNoted
from waaler.core.messages import Notice, Recorded
from waaler.core.status import BedState, Present, Wait
from waaler.guard.messages import Instant
from waaler.guard.names import Hindrance
from waaler.keeper.record_mender import RecordMender
from waaler.keeper.recorder import Recorder
from waaler.records.reader import Reader
from waaler.records.rows import AlertRow, Outgoing
from waaler.records.store import Store

MINUTE_S = 60.0
ALWAYS = (0.0, 4e9)
RUNS = 300
KNOWN: list[Fact] = [
    AlertRaised(at(50.0), "sump-low", Severity.URGENT, "Sump low at rest."),
    SumpNoted(at(60.0), Entry(40.0, 1.8)),
    PresentNoted(at(70.0), Present(BedState.STOPPED, wait=Wait(Hindrance.TRIP, "sump low"))),
]


class Bench:
    """A recorder whose clock is moved by hand, and 300 runs and an alert in its records."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "records" / "t.db"
        self.path.parent.mkdir()
        self.now_s = 200_000.0
        self.told: list[Notice] = []
        self.failing: list[bool] = []
        self.kept: list[Recorded] = []
        mender = RecordMender(self.path, "boot", lambda: KNOWN, self.told.append)
        self.recorder = Recorder(
            lambda: Store(self.path, "boot"),
            self.kept.append,
            self.now,
            no_death,
            failing=self.failing.append,
            mend=mender.mend,
        )
        for number in range(1, RUNS + 1):
            self.put(*whole_run(number, 600.0 * number), write=number % 100 == 0)
        store = self.recorder._store
        assert store is not None
        store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        store._footing.note()
        self.put(*KNOWN[:2])  # in the log alone
        self.pass_time(MINUTE_S)

    def now(self) -> Instant:
        return at(self.now_s)

    def put(self, *facts: Fact, write: bool = True) -> None:
        for fact in facts:
            self.recorder.put(fact)
        if write:
            self.recorder._gather()
            self.recorder._write_facts()

    def pass_time(self, seconds: float) -> None:
        self.now_s += seconds
        self.recorder._look()

    def words(self) -> str:
        """What was told, on one line."""
        (notice,) = self.told
        assert notice.kind == "history-lost"
        assert isinstance(notice.about, Words)
        return f"{notice.about.what} {notice.about.did}"

    def runs(self) -> list[int]:
        with Reader(self.path) as reader:
            return [run.run_id for run in reader.runs(*ALWAYS)]

    @property
    def aside(self) -> list[str]:
        return [file.name for file in self.path.parent.glob("t.db.2*Z")]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def part(bench: Bench, tail: str) -> Path:
    return bench.path.with_name(bench.path.name + tail)


def deleted(*tails: str) -> Callable[[Bench], None]:
    def harm(bench: Bench) -> None:
        for tail in tails:
            part(bench, tail).unlink()

    return harm


def moved_away(bench: Bench) -> None:
    bench.path.rename(bench.path.with_name("elsewhere.db"))


def folder_gone(bench: Bench) -> None:
    shutil.rmtree(bench.path.parent)


def replaced(bench: Bench) -> None:
    """By another bed's records."""
    Store(bench.path.with_name("other.db"), "boot").close()
    bench.path.with_name("other.db").rename(bench.path)


def overwritten(tail: str, begin: int, length: int) -> Callable[[Bench], None]:
    """In place, through a handle of another program. begin below 0: from the end."""

    def harm(bench: Bench) -> None:
        with part(bench, tail).open("r+b") as file:
            file.seek(begin, os.SEEK_END if begin < 0 else os.SEEK_SET)
            file.write(b"\xa7" * length)

    return harm


def cut(length: int) -> Callable[[Bench], None]:
    return lambda bench: os.truncate(bench.path, length)


def rows_overwritten(bench: Bench) -> None:
    """A page of runs in the middle of them."""
    data = bench.path.read_bytes()
    leaf = data.index(b"ran its time", len(data) // 2) // 1024
    overwritten("", leaf * 1024, 1024)(bench)


def column_renamed(bench: Bench) -> None:
    """One byte of the text that the tables are made of."""
    begin = bench.path.read_bytes().index(b"planned_s REAL")
    overwritten("", begin, 1)(bench)


DISPLACED = {
    "all files deleted": deleted("", "-wal", "-shm"),
    "the database deleted": deleted(""),
    "the log deleted": deleted("-wal"),
    "the index deleted": deleted("-shm"),
    "moved away": moved_away,
    "its folder deleted": folder_gone,
    "replaced": replaced,
}
DAMAGED = {
    "its middle overwritten": overwritten("", 20 * 1024, 8 * 1024),
    "a page of runs overwritten": rows_overwritten,
    "a column renamed": column_renamed,
    "its header overwritten": overwritten("", 0, 100),
    "cut to nothing": cut(0),
    "cut in the middle": cut(50_000),
    "its log cut": lambda bench: os.truncate(part(bench, "-wal"), 3000),
    "its log overwritten": overwritten("-wal", -3000, 3000),
    "its log's header overwritten": overwritten("-wal", 0, 32),
}


@pytest.mark.parametrize("how", DISPLACED)
def test_records_that_are_gone_or_others_are_put_back_whole_within_a_minute(how: str, bench: Bench) -> None:
    DISPLACED[how](bench)

    bench.pass_time(MINUTE_S)

    assert bench.words().startswith(
        "The file of the history was moved, deleted or replaced while the daemon ran."
        " It was written anew with all that was in it: nothing is lost."
    )
    bench.put(*whole_run(RUNS + 1, 190_000.0))
    assert bench.kept[-1] == Recorded(RUNS + 1)
    assert bench.runs() == list(range(1, RUNS + 2))
    assert len(bench.aside) == (how == "replaced")
    assert bench.failing == []


@pytest.mark.parametrize("how", DAMAGED)
def test_damage_is_noticed_within_a_minute_and_what_can_be_read_and_is_known_stands_in_new_records(
    how: str, bench: Bench
) -> None:
    DAMAGED[how](bench)

    bench.pass_time(MINUTE_S)

    assert bench.words().startswith("The file of the history was damaged while the daemon ran.")
    assert len(bench.aside) == 1
    bench.put(*whole_run(RUNS + 1, 190_000.0))
    assert bench.kept[-1] == Recorded(RUNS + 1)
    assert bench.runs()[-1] == RUNS + 1
    assert how != "a page of runs overwritten" or len(bench.runs()) > RUNS - 20, "from both ends"
    with Reader(bench.path) as reader:
        assert [alert.kind for alert in reader.open_alerts()] == ["sump-low"]
        waiting = [one.about for one in reader.after(0, 9) if isinstance(one, Outgoing)]
        assert {about.kind for about in waiting if isinstance(about, AlertRow)} == {"sump-low"}
        assert reader.unread == 0
    with closing(sqlite3.connect(bench.path)) as db:
        assert db.execute("SELECT litres FROM sump").fetchall() == [(40.0,)]
        assert db.execute("SELECT count(*) FROM present").fetchone() == (1,)


def test_the_recorder_looks_by_itself_where_nothing_is_to_be_written(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("waaler.keeper.recorder.LOOK_EVERY_S", 0.05)
    store = bench.recorder._store
    assert store is not None
    store.close()
    bench.recorder._store = None
    bench.recorder._now = lambda: at(200_000.0 + time.monotonic())
    bench.recorder.start()
    bench.recorder.put(KNOWN[1])
    until(lambda: bench.recorder._store is not None and part(bench, "-shm").exists(), "the open records")
    deleted("")(bench)

    until(lambda: bench.told, "the alert")
    bench.recorder.stop()
    bench.recorder.join(10)
    assert "nothing is lost" in bench.words()


def test_nothing_is_told_of_sound_records_that_people_read(bench: Bench) -> None:
    for number in range(RUNS + 1, RUNS + 40):
        bench.put(*whole_run(number, 600.0 * number))
        bench.pass_time(MINUTE_S)
        assert len(bench.runs()) == number
        shutil.copy(bench.path, bench.path.with_name("copy.db"))

    assert (bench.told, bench.aside) == ([], [])


def test_damage_is_found_by_the_next_write_too_and_that_is_kept(bench: Bench) -> None:
    DISPLACED["replaced"](bench)

    bench.put(*whole_run(RUNS + 1, 190_000.0))

    assert bench.kept[-1] == Recorded(RUNS + 1)
    assert bench.runs() == list(range(1, RUNS + 2))


def test_bits_that_the_card_loses_by_itself_are_found_within_a_day(bench: Bench) -> None:
    stat = bench.path.stat()
    DAMAGED["its middle overwritten"](bench)
    os.utime(bench.path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    bench.pass_time(MINUTE_S)
    assert bench.told == []

    bench.pass_time(86_400.0)

    assert "damaged" in bench.words()


def test_a_folder_that_takes_no_file_is_told_and_the_records_are_put_back_when_it_does(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    parked = bench.path.parent.with_name("parked")
    bench.path.parent.rename(parked)
    bench.path.parent.write_text("a file in its place")

    bench.pass_time(MINUTE_S)
    bench.put(*whole_run(RUNS + 1, 190_000.0))
    assert (bench.failing, bench.told, bench.kept[-1]) == ([True], [], Recorded(RUNS + 1, is_kept=False))
    bench.path.parent.unlink()
    bench.path.parent.mkdir()
    bench.pass_time(MINUTE_S)
    bench.put()
    bench.pass_time(MINUTE_S)
    bench.pass_time(MINUTE_S)

    assert bench.runs() == list(range(1, RUNS + 2))
    assert bench.failing[-1] is False
    assert "nothing is lost" in bench.words()


@pytest.mark.parametrize("place", ["t.db", "records"])
def test_a_disk_that_became_read_only_is_told_within_a_minute_though_nothing_happens(
    place: str, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    true = os.access
    is_read_only = [True]
    monkeypatch.setattr(os, "access", lambda path, mode: true(path, mode) and not (
        is_read_only[0] and Path(path).name == place
    ))  # fmt: skip
    bench.pass_time(MINUTE_S)
    assert (bench.failing, bench.told) == ([True], [])

    is_read_only[0] = False
    for _ in range(3):
        bench.pass_time(MINUTE_S)

    assert bench.failing[-1] is False


def test_damage_that_comes_again_and_again_does_not_fill_the_card(bench: Bench) -> None:
    for _ in range(60):
        DAMAGED["its header overwritten"](bench)
        bench.pass_time(MINUTE_S)

    assert 1 < len(list(bench.path.parent.glob("t.db.2*"))) < 20


def test_a_fact_that_no_records_take_keeps_no_other_away(bench: Bench) -> None:
    wrong = AlertRaised(at(1.0), None, Severity.SOON, "x")  # type: ignore[arg-type]

    bench.put(*whole_run(RUNS + 1, 190_000.0), wrong, *whole_run(RUNS + 2, 191_000.0))

    assert bench.runs()[-2:] == [RUNS + 1, RUNS + 2]
    assert (bench.told, bench.aside) == ([], [])
