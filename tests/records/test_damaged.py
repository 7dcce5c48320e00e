"""Damaged records: who reads skips and counts what can't be read, and tells all the rest."""

import random
import sqlite3
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from tests.notify.fake_channel import FakeChannel
from tests.page.asking import ask, site_of, write_bed
from tests.records.damage import damages, faces, whole, with_wrong_value
from tests.records.facts import WALL_S, at, whole_run
from tests.report.beds import bed

from waaler.core.facts import AlertRaised, Severity
from waaler.notify.courier import Courier, Round
from waaler.notify.deliveries import Deliveries
from waaler.notify.outbox import Outbox
from waaler.records.reader import Reader
from waaler.records.rows import LOST, Outgoing
from waaler.records.store import Store
from waaler.report.history import as_object, as_text, read_history
from waaler.report.metrics import metrics

ALWAYS = (0.0, 4e9)
NOW_S = WALL_S + 11_400.0
CASES = 15


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Records of some days, with alerts that wait to be told."""
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    data = whole(tmp_path)
    (tmp_path / "whole.db").unlink()
    (tmp_path / "terrace.db").write_bytes(data)
    return tmp_path / "terrace.db"


def change(path: Path, *statements: str) -> None:
    """What a bad card may do, past every check of the tables."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("PRAGMA ignore_check_constraints = ON")
    for statement in statements:
        assert db.execute(statement).rowcount != 0
    db.close()


# --- any damage -----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", damages())
def test_no_face_dies_of_records_damaged_anywhere(kind: str, path: Path) -> None:
    chance, data = random.Random(f"{kind} 16"), path.read_bytes()
    for _ in range(CASES):
        for left in path.parent.glob("*.db*"):
            left.unlink()
        path.write_bytes(damages()[kind](chance, data))

        faces(path.parent, path)


def test_no_face_dies_of_a_value_of_another_type_or_size(path: Path) -> None:
    chance, data = random.Random(16), path.read_bytes()
    for _ in range(CASES):
        for left in path.parent.glob("*.db*"):
            left.unlink()
        path.write_bytes(data)
        wrong = with_wrong_value(chance, path)

        told = faces(path.parent, path)

        assert told["told"] > told["refused in one line"], wrong


# --- one row ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE run SET cause = 'plam' WHERE id = 11",
        "UPDATE run SET outcome = 'dome' WHERE id = 11",
        "UPDATE run SET day = '2026-99-99' WHERE id = 11",
        "UPDATE run SET window = NULL WHERE id = 11",
        "UPDATE run SET ended_wall_s = 1e300 WHERE id = 11",
        "UPDATE run SET actual_s = 9e999 WHERE id = 11",
        "UPDATE run SET started_wall_s = -1e12 WHERE id = 11",
    ],
)
def test_one_run_that_cannot_be_read_is_left_out_and_counted_everywhere(statement: str, path: Path) -> None:
    change(path, statement)

    with Reader(path) as reader:
        history = read_history(reader, *ALWAYS, bed().zone)
        assert [run.run_id for run in history.runs] == [1, 2, 5, 12, 21, 22]
        assert (history.unread, reader.unread) == (1, 1)
    words = "1 row of the records cannot be read any more and is left out: look at the card"
    assert as_text(history).endswith(f"\n{words}\n")
    assert as_object(history, [])["unread_rows"] == 1
    page = ask(site_of(write_bed(path.parent), now_s=WALL_S + 86_400.0 + 11_400.0), "/bed/terrace/")
    assert page.status == 200
    assert words in page.text


def test_the_unread_rows_stand_in_the_metrics(path: Path) -> None:
    assert 'waaler_records_unread_rows{bed="terrace"} 0' in metrics([(bed(), path)], NOW_S)

    change(path, "UPDATE alert SET times = 9e15 WHERE kind = 'sump-low'")

    assert 'waaler_records_unread_rows{bed="terrace"} 1' in metrics([(bed(), path)], NOW_S)


def test_a_page_of_the_file_that_is_lost_hides_its_own_rows_alone(tmp_path: Path) -> None:
    path = tmp_path / "t.db"
    store = Store(path, "boot-a")
    for number in range(1, 301):
        store.write(whole_run(number, 600.0 * number))
    store.close()
    data = path.read_bytes()
    leaf = data.index(b"ran its time", len(data) // 2) // 1024
    path.write_bytes(data[: leaf * 1024] + b"\xff" * 1024 + data[(leaf + 1) * 1024 :])

    with Reader(path) as reader:
        found = [run.run_id for run in reader.runs(*ALWAYS)]
        page = [run.run_id for run in reader.newest_runs(*ALWAYS, None, 10, 5)]
        lost = set(range(1, 301)) - set(found)

        assert 0 < len(lost) < 30
        assert found == sorted(found)
        assert reader.unread == len(lost)
        assert page == [number for number in range(300, 0, -1) if number not in lost][5:15]


def test_text_that_is_no_utf_8_is_shown_with_marks(path: Path) -> None:
    change(path, "UPDATE alert SET text = cast(x'53756d70ff6c6f77' AS text) WHERE resolved_wall_s IS NULL")

    with Reader(path) as reader:
        assert {alert.text for alert in reader.open_alerts()} == {"Sump\ufffdlow"}


def test_a_trip_that_cannot_be_read_takes_no_page_of_another_bed_away(path: Path) -> None:
    other = path.with_name("other.db")
    other.write_bytes(path.read_bytes())
    change(path, "UPDATE trip SET trip = 'low-sumq' WHERE over_wall_s IS NULL")
    site = site_of(write_bed(path.parent), write_bed(path.parent, "other", "Other bed"), now_s=NOW_S)

    for where in ("/", "/bed/terrace/", "/bed/other/", "/metrics"):
        assert ask(site, where).status == 200
    assert "1 row of the records cannot be read any more" in ask(site, "/").text


def test_what_an_address_asks_wrongly_is_400_and_what_fails_here_is_500(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_of(write_bed(path.parent), now_s=NOW_S)
    assert ask(site, "/bed/terrace/history", "since=june").status == 400

    def fail(*_: Any) -> str:
        raise ValueError("deep inside")

    monkeypatch.setattr("waaler.page.views.history_page", fail)
    got = ask(site, "/bed/terrace/history")
    assert (got.status, got.text) == (500, "this page cannot be made; the others can\n")


# --- messengers -----------------------------------------------------------------------------------


@pytest.fixture
def waiting(tmp_path: Path) -> Path:
    """Records in which two alerts, and the run between them, wait to be told."""
    store = Store(tmp_path / "t.db", "boot-a")
    store.write([AlertRaised(at(10.0), "first", Severity.SOON, "First.")])
    store.write(whole_run(1, 20.0))
    store.write([AlertRaised(at(30.0), "second", Severity.SOON, "Second.")])
    store.close()
    return tmp_path / "t.db"


def told_by(path: Path) -> tuple[list[str], list[tuple[int, str]]]:
    """What a channel got, and what was parked."""
    channel, deliveries = FakeChannel(), Deliveries(path.with_name("n.db"), "fake")
    courier = Courier(channel, Round("terrace", "Bed", bed().zone, path, path.with_name("n.db")), Event())
    courier.look(deliveries, WALL_S + 60.0)
    parked = deliveries.parked()
    deliveries.close()
    return [note.about["kind"] for note in channel.got], parked


@pytest.mark.parametrize(
    ("statement", "kinds", "parked"),
    [
        ("UPDATE run SET cause = 'plam'", ["first", "second"], [(2, LOST)]),
        ("DELETE FROM run", ["first", "second"], [(2, LOST)]),
        ("UPDATE alert SET raised_wall_s = 9e99 WHERE kind = 'first'", ["second"], [(1, LOST)]),
        ("DELETE FROM alert WHERE kind = 'first'", ["second"], [(1, LOST)]),
        ("UPDATE alert SET severity = 'sooo' WHERE kind = 'first'", ["first", "second"], []),
        ("UPDATE alert SET text = cast(x'ff' AS text) WHERE kind = 'first'", ["first", "second"], []),
        ("UPDATE outbox SET what = 'alerx' WHERE id = 1", ["first", "second"], []),
    ],
)
def test_one_damaged_row_silences_no_channel(
    statement: str, kinds: list[str], parked: list[tuple[int, str]], waiting: Path
) -> None:
    change(waiting, statement)

    assert told_by(waiting) == (kinds, parked)


def test_an_alert_whose_severity_is_lost_is_urgent(waiting: Path) -> None:
    change(waiting, "UPDATE alert SET severity = 'sooo' WHERE kind = 'first'")

    with Reader(waiting) as reader:
        assert [alert.severity for alert in reader.open_alerts()] == [Severity.URGENT, Severity.SOON]


def test_the_broker_hears_of_the_rest_and_what_is_lost_is_parked(waiting: Path) -> None:
    change(waiting, "DELETE FROM run")
    deliveries = Deliveries(waiting.with_name("n.db"), "mqtt")
    sent: list[int] = []

    def send(message: Outgoing) -> int:
        sent.append(message.number)
        return message.number

    Outbox(waiting, deliveries, send).look(WALL_S + 60.0, must_read=True)

    assert sent == [1, 3]
    assert deliveries.parked() == [(2, LOST)]
    deliveries.close()


def test_the_notifier_s_own_file_damaged_while_it_runs_only_repeats_messages(tmp_path: Path) -> None:
    path = tmp_path / "n.db"
    deliveries = Deliveries(path, "fake")
    for number in range(200):
        deliveries.park("records", number, "x" * 100)
    deliveries.told("records", 200)
    deliveries.close()
    path.write_bytes(path.read_bytes()[:4096] + random.Random(16).randbytes(path.stat().st_size - 4096))

    deliveries = Deliveries(path, "fake")
    deliveries.parked()
    deliveries.told("records", 201)

    assert deliveries.place("records") == 201
    deliveries.close()
    assert Deliveries(path, "fake").place("records") in (201, None)
