"""The smaller parts of the daemon: scheduler's trigger, file watch, reload, service manager, recorder."""

import socket
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.settings.test_faults import SMALLEST

from waaler.core.facts import Cause, Deed, Fact, RunIntent, Severity
from waaler.core.messages import NewPlan, Notice, Recorded
from waaler.core.standing import Words
from waaler.guard.messages import Instant, Purse
from waaler.keeper.liveness import Manager, Stillness
from waaler.keeper.recorder import Recorder
from waaler.keeper.reload import changes, reload
from waaler.keeper.restore import Files, restore
from waaler.keeper.scheduler import CycleTrigger
from waaler.keeper.watch_file import FileWatch
from waaler.records.store import Store
from waaler.settings import parse

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


def test_a_valid_edit_gives_a_new_plan_and_names_each_value_that_changed(tmp_path: Path) -> None:
    path = tmp_path / "t.yaml"
    before = parse(SMALLEST, "t")
    path.write_text(SMALLEST.replace("cycles: 4", "cycles: 5") + "limits: {rest: 4 min}\n")

    after, messages = reload(path, before)

    assert messages[0] == Notice("plan-rejected")
    assert isinstance(messages[1], NewPlan)
    assert messages[1].changes == (
        "plan.windows.early.pattern.count: 4 -> 5",
        "limits.rest_s: 300.0 -> 240.0",
    )
    assert changes(after, after) == ()


def test_a_bad_edit_changes_nothing_but_an_alert(tmp_path: Path) -> None:
    path = tmp_path / "t.yaml"
    before = parse(SMALLEST, "t")
    path.write_text("bed: [\n")

    after, messages = reload(path, before)

    assert after is before
    assert [type(message) for message in messages] == [Notice]
    assert "The plan before it stays in force" in str(messages[0])


def test_changes_of_pins_wait_for_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "t.yaml"
    path.write_text(SMALLEST + "pump: {supply: mains}\n")

    _, messages = reload(path, parse(SMALLEST, "t"))

    notice = messages[-1]
    assert isinstance(notice, Notice)
    assert isinstance(notice.text, Words)
    assert (notice.kind, notice.severity) == ("restart-needed", Severity.NOTE)
    assert notice.text.what == "Changes of wiring wait for a restart of the daemon."


# --- the service manager ----------------------------------------------------------------------


def test_without_a_manager_nothing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    manager = Manager()
    manager.alive()

    assert not manager.is_there


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
        manager.hangs()
        manager.stopping()

        heard = [listener.recv(100) for _ in range(5)]

    assert heard == [b"READY=1", b"WATCHDOG=1", b"STATUS=waiting", b"WATCHDOG=trigger", b"STOPPING=1"]


def test_s8_a_beat_that_stands_still_is_counted_in_looks_and_a_long_sleep_is_one_look() -> None:
    stillness = Stillness()

    assert [stillness.look(beat_s) for beat_s in (1.0, 1.0, 1.0, 2.0, 9000.0, 9000.0)] == [0, 1, 2, 0, 0, 1]


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

    told = record(lambda: Store(path, "boot"), intent(1), Deed(AT, "start", "x"), intent(2))

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
    recorder = Recorder(open_store, told.append, lambda: AT, no_death)
    recorder.put(intent(1))
    recorder._gather()
    recorder._write_facts()
    assert told == [Recorded(1, is_kept=False)]
    recorder.put(intent(2))
    recorder.stop()
    recorder.run()

    assert told[1:] == [Recorded(1), Recorded(2)]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM run").fetchone() == (2,)


# --- what a start finds -----------------------------------------------------------------------

PLAN = parse(SMALLEST, "t").plan


def test_a_first_start_is_no_loss(tmp_path: Path) -> None:
    found = restore(Files.of(tmp_path, "t"), "boot", PLAN, AT)

    assert found.notices == ()
    assert found.memory.guard.spans == ()


@pytest.mark.parametrize("how", ["vanished", "damaged"])
def test_lost_records_count_as_a_plan_that_ran_and_inputs_that_must_prove_themselves(
    tmp_path: Path, how: str
) -> None:
    files = Files.of(tmp_path, "t")
    files.accepted.write_text(SMALLEST)
    if how == "damaged":
        files.database.write_bytes(b"not a database" * 100)

    found = restore(files, "boot", PLAN, AT)

    assert [notice.kind for notice in found.notices] == ["history-lost"]
    assert sum(span.ended_s - span.started_s for span in found.memory.guard.spans) == 4 * 120
    assert {trip.value for _, trip in found.memory.guard.tripped} == {"low sump", "high tray"}
    assert len(list(tmp_path.glob("t.db.*Z"))) == (how == "damaged")


def test_s10_a_folder_that_takes_no_file_keeps_nobody_from_starting(tmp_path: Path) -> None:
    files = Files.of(tmp_path / "missing", "t")

    found = restore(files, "boot", PLAN, AT)

    assert [notice.kind for notice in found.notices] == ["history-not-kept"]
