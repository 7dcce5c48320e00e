"""The smaller parts of the daemon: scheduler's trigger, file watch, service manager, recorder."""

import socket
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.settings.test_faults import SMALLEST

from waaler.core.facts import Act, Cause, Deed, Fact, RunIntent, RunStarted, TripBegan
from waaler.core.messages import Recorded
from waaler.devices.pipe import Began, Hello
from waaler.guard.journal import Found, Health, with_records
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.memory import Ran, Span
from waaler.guard.messages import Ended, HoldKind, Instant, Purse, Trip
from waaler.guard_process.manager import Manager
from waaler.keeper.recorder import Recorder
from waaler.keeper.restore import Files, Restored, restore
from waaler.keeper.scheduler import CycleTrigger
from waaler.records.store import Sample, Store
from waaler.settings import parse
from waaler.settings.watch_file import FileWatch

AT = Instant(1000.0, 1_782_000_000.0)


# --- the scheduler's trigger ------------------------------------------------------------------


def test_the_trigger_fires_at_the_cycles_of_the_pure_timetable() -> None:
    trigger = CycleTrigger(parse(SMALLEST, "t").plan)
    now = datetime(2026, 6, 21, 0, tzinfo=UTC)

    first = trigger.get_next_fire_time(None, now)

    assert first == datetime(2026, 6, 21, 4, 30, tzinfo=UTC)
    following = trigger.get_next_fire_time(first, now)
    assert following is not None
    assert following > first


def test_a_trigger_whose_plan_raises_ends_quietly_instead_of_killing_the_scheduler() -> None:
    assert CycleTrigger(None).get_next_fire_time(None, datetime.now(UTC)) is None  # type: ignore[arg-type]


# --- the file ---------------------------------------------------------------------------------


def test_a_change_counts_once_it_stood_still_for_2_s(tmp_path: Path) -> None:
    path = tmp_path / "bed.yaml"
    path.write_text("a")
    watch = FileWatch(path)
    assert not watch.has_changed(0.0)
    path.write_text("ab")
    assert not watch.has_changed(1.0)
    path.write_text("abc")
    assert not watch.has_changed(2.5)
    assert not watch.has_changed(4.4)

    assert watch.has_changed(4.5)
    assert not watch.has_changed(5.0)


def test_a_file_that_is_away_for_a_moment_is_no_change(tmp_path: Path) -> None:
    path = tmp_path / "bed.yaml"
    path.write_text("a")
    watch = FileWatch(path)
    path.unlink()

    assert not any(watch.has_changed(float(n)) for n in range(10))


# --- the service manager ----------------------------------------------------------------------


@pytest.mark.parametrize("abstract", [False, True])
def test_the_manager_hears_ready_alive_and_stopping(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, abstract: bool
) -> None:
    name = f"\0waaler-test-{tmp_path.name}" if abstract else str(tmp_path / "n")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(name)
        listener.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", name.replace("\0", "@"))
        manager = Manager()
        manager.ready()
        manager.alive()
        manager.status("waiting")
        manager.status("waiting")
        manager.stopping()

        heard = [listener.recv(100) for _ in range(4)]

    assert heard == [b"READY=1", b"WATCHDOG=1", b"STATUS=waiting", b"STOPPING=1"]


def test_a_manager_that_went_away_disturbs_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "gone"))

    Manager().alive()


# --- the recorder -----------------------------------------------------------------------------


def intent(run_id: int) -> RunIntent:
    return RunIntent(run_id, AT, Cause.PLAN, Purse.PLAN, 60.0, "as planned")


def no_death(name: str, problem: Exception) -> None:
    raise AssertionError(f"{name} died: {problem}")


def record(open_store: object, *facts: Fact) -> list[Recorded]:
    """What the recorder tells of these facts; it has ended when this returns."""
    told: list[Recorded] = []
    recorder = Recorder(open_store, told.append, lambda: AT, no_death)  # type: ignore[arg-type]
    for fact in facts:
        recorder.put(fact)
    recorder.stop()
    recorder.run()
    return told


def test_an_intent_is_confirmed_once_it_is_on_disk(tmp_path: Path) -> None:
    path = tmp_path / "t.db"

    told = record(lambda: Store(path, "boot"), intent(1), Deed(AT, Act.START, "x"), intent(2))

    assert told == [Recorded(1), Recorded(2)]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM run").fetchone() == (2,)


def test_s10_a_store_that_cannot_be_opened_is_told_and_ends_nothing() -> None:
    def fail() -> Store:
        raise sqlite3.OperationalError("unable to open database file")

    assert record(fail, intent(1)) == [Recorded(1, is_kept=False)]


def test_s10_facts_that_the_disk_refused_are_written_when_it_takes_again(tmp_path: Path) -> None:
    path = tmp_path / "t.db"
    tries = iter([True, False])

    def open_store() -> Store:
        if next(tries, False):
            raise OSError("No space left on device")
        return Store(path, "boot")

    told: list[Recorded] = []
    failing: list[bool] = []
    now = [AT]
    recorder = Recorder(open_store, told.append, lambda: now[0], no_death, failing=failing.append)
    recorder.put(intent(1))
    recorder._gather()
    recorder._write_facts()
    assert told == [Recorded(1, is_kept=False)]
    recorder._write_facts()
    assert failing == [True], "it takes again for a moment"
    now[0] = Instant(AT.long_s + 60.0, AT.wall_s + 60.0)
    recorder.put(intent(2))
    recorder.stop()
    recorder.run()

    assert told[1:] == [Recorded(1), Recorded(2)]
    assert failing == [True, False]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM run").fetchone() == (2,)


def test_that_something_was_written_is_told_once_others_can_read_it(tmp_path: Path) -> None:
    path = tmp_path / "t.db"
    runs: list[int] = []

    def count_runs() -> None:
        with sqlite3.connect(path) as db:
            runs.extend(db.execute("SELECT count(*) FROM run").fetchone())

    recorder = Recorder(lambda: Store(path, "boot"), lambda _: None, lambda: AT, no_death, wrote=count_runs)
    recorder.put(intent(1))
    recorder.put(Sample("pot", "%", 0.0, 50.0, 50.0, 50.0))
    recorder.stop()
    recorder.run()

    assert runs == [1]


def test_that_nothing_could_be_written_is_told_too() -> None:
    told: list[str] = []

    def fail() -> Store:
        raise OSError("No space left on device")

    recorder = Recorder(fail, lambda _: None, lambda: AT, no_death, wrote=lambda: told.append("tried"))
    recorder.put(intent(1))
    recorder.stop()
    recorder.run()

    assert told == ["tried"]


# --- what a start finds -----------------------------------------------------------------------

PLAN = parse(SMALLEST, "t").plan


HELLO = Hello(Health.MISSING, GuardMemory())


def begun(tmp_path: Path, hello: Hello = HELLO, at: Instant = AT) -> Restored:
    """What a start finds; the guard joins what it remembers with what the records know, as its process does."""

    def set_up(known: GuardMemory) -> Began:
        return Began(with_records(Found(hello.health), hello.memory, known))

    return restore(Files.of(tmp_path, "t"), "boot", PLAN, at, hello, set_up)


def test_a_first_start_is_no_loss(tmp_path: Path) -> None:
    found = begun(tmp_path)

    assert found.notices == ()
    assert found.memory.guard.spans == ()


@pytest.mark.parametrize("how", ["vanished", "damaged", "empty"])
def test_with_records_and_journal_lost_the_plan_counts_as_run_and_every_proof_is_asked_for_again(
    tmp_path: Path, how: str
) -> None:
    files = Files.of(tmp_path, "t")
    files.accepted.write_text(SMALLEST)
    if how != "vanished":
        files.database.write_bytes(b"not a database" * 100 if how == "damaged" else b"")

    found = begun(tmp_path)

    assert [notice.kind for notice in found.notices] == ["journal-lost", "history-lost"]
    assert sum(span.ended_s - span.started_s for span in found.memory.guard.spans) == 4 * 120
    assert {trip.value for _, trip in found.memory.guard.tripped} == {"low sump", "high tray"}
    assert not found.memory.guard.has_watered
    assert len(list(tmp_path.glob("t.db.*Z"))) == (how == "damaged")


def test_a_whole_journal_is_believed_whatever_became_of_the_database(tmp_path: Path) -> None:
    Files.of(tmp_path, "t").accepted.write_text(SMALLEST)
    known = GuardMemory(
        locks=frozenset({Trip.OVERRUN}), spans=(Span(900.0, 960.0),), has_watered=True, reserved_run_id=7
    )

    found = begun(tmp_path, Hello(Health.WHOLE, known))

    assert found.memory.guard == known
    assert found.memory.next_run_id == 8
    assert [notice.kind for notice in found.notices] == ["history-lost"]


@pytest.mark.parametrize("health", [Health.TORN, Health.MISSING, Health.FOREIGN, Health.NEWER, Health.UNREADABLE])
def test_a_journal_that_is_not_whole_is_made_up_for_by_the_records_and_told(tmp_path: Path, health: Health) -> None:
    files = Files.of(tmp_path, "t")
    files.accepted.write_text(SMALLEST)
    store = Store(files.database, "boot")
    store.write(
        [
            Deed(AT, Act.START, "x"),
            intent(1),
            RunStarted(1, AT, 60.0),
            TripBegan(AT, Trip.OVERRUN, "x", True),
            Deed(AT, Act.SERVICE, "x", "ann", until_s=AT.wall_s + 7200),
        ]
    )
    store.close()

    found = begun(tmp_path, Hello(health, GuardMemory()), Instant(AT.long_s + 600, AT.wall_s + 600))

    assert found.memory.guard.locks == {Trip.OVERRUN}
    assert [span.ended_s - span.started_s for span in found.memory.guard.spans] == [60.0]
    assert [hold.kind for hold in found.memory.guard.holds] == [HoldKind.SERVICE]
    assert found.notices[0].kind == "journal-lost"


def test_the_end_of_a_run_that_only_the_guard_saw_is_written_down(tmp_path: Path) -> None:
    files = Files.of(tmp_path, "t")
    store = Store(files.database, "boot")
    store.write([Deed(AT, Act.START, "x"), intent(1), RunStarted(1, AT, 60.0)])
    store.close()
    ran = Ran(AT.long_s + 12.0, Ended(1, 12.0, "sump low", Trip.LOW_SUMP), granted_s=60.0)
    missed = Ran(AT.long_s + 700.0, Ended(2, 30.0, "ran its time"), granted_s=30.0)

    begun(tmp_path, Hello(Health.WHOLE, GuardMemory(ran=(ran, missed), last_run_id=2)))

    with sqlite3.connect(files.database) as db:
        assert db.execute("SELECT id, outcome, actual_s FROM run ORDER BY id").fetchall() == [
            (1, "cut short", 12.0),
            (2, "done", 30.0),
        ]


def test_what_a_start_could_not_write_is_written_when_the_records_take_it(tmp_path: Path) -> None:
    files = Files.of(tmp_path, "t")
    store = Store(files.database, "boot")
    store.write([Deed(AT, Act.START, "x"), intent(1), RunStarted(1, AT, 60.0)])
    store.close()
    ran = Ran(AT.long_s + 60.0, Ended(1, 60.0, "ran its time"), granted_s=60.0)
    with closing(sqlite3.connect(files.database, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        found = begun(tmp_path, Hello(Health.WHOLE, GuardMemory(ran=(ran,), last_run_id=1, reserved_run_id=1)))
        other.execute("ROLLBACK")
    assert found.settle is not None

    recorder = Recorder(lambda: Store(files.database, "boot"), lambda _: None, lambda: AT, no_death, found.settle)
    recorder.put(intent(2))
    recorder.stop()
    recorder.run()

    with sqlite3.connect(files.database) as db:
        assert db.execute("SELECT id, outcome FROM run ORDER BY id").fetchall() == [(1, "done"), (2, None)]


def test_an_intent_that_the_guard_never_granted_counts_nothing(tmp_path: Path) -> None:
    files = Files.of(tmp_path, "t")
    store = Store(files.database, "boot")
    store.write([Deed(AT, Act.START, "x"), intent(1)])
    store.close()

    begun(tmp_path, Hello(Health.WHOLE, GuardMemory()))

    with sqlite3.connect(files.database) as db:
        assert db.execute("SELECT outcome, actual_s FROM run").fetchall() == [("interrupted", 0.0)]


def test_s10_a_folder_that_takes_no_file_keeps_nobody_from_starting(tmp_path: Path) -> None:
    found = begun(tmp_path / "missing")

    assert "history-not-kept" in [notice.kind for notice in found.notices]
