"""Heartbeat and the line of a good day: their absence is what somebody notices."""

from contextlib import closing
from datetime import datetime
from pathlib import Path
from threading import Event

import pytest
from structlog.testing import capture_logs
from tests.notify.conftest import FakeDaemon
from tests.notify.servers import WebServer, free_port
from tests.records.facts import whole_run
from tests.settings.test_reading import settings

from waaler.bed.ledger import full
from waaler.core.facts import Act, AlertRaised, Deed, Outcome, PresentNoted, Severity, SumpNoted
from waaler.core.status import BedState, Present, Wait
from waaler.guard.messages import Instant
from waaler.guard.names import Hindrance
from waaler.notify.good_day import good_day
from waaler.notify.heartbeat import Beat
from waaler.notify.places import Places
from waaler.records.reader import Reader
from waaler.records.store import Store
from waaler.report.bed import Bed
from waaler.settings.messages import Heartbeat


def moment(text: str) -> float:
    return datetime.fromisoformat(f"2026-06-21T{text}+01:00").timestamp()


@pytest.mark.parametrize("state", ["keeper hangs", None])
def test_no_heart_beats_while_the_daemon_is_away_or_its_keeper_hangs(places: Places, state: str | None) -> None:
    daemon = None
    if state is not None:
        daemon = FakeDaemon(places.control)
        daemon.status["state"] = state
    beats: list[None] = []
    with closing(WebServer()) as web, capture_logs() as logs:
        beat = Beat(Heartbeat(web.url, None, 60.0), places.control, Event(), lambda: beats.append(None))
        beat.beat()
        beat.beat()
        assert web.got.empty()
    assert beats == []
    assert [entry["event"] for entry in logs] == ["heartbeat_withheld"]
    if daemon is not None:
        daemon.close()


def test_it_beats_for_a_monitor_and_for_subscribers_while_the_daemon_lives(
    places: Places, daemon: FakeDaemon
) -> None:
    beats: list[None] = []
    with closing(WebServer()) as web:
        Beat(Heartbeat(f"{web.url}/alive", None, 60.0), places.control, Event(), lambda: beats.append(None)).beat()
        method, path, body, _ = web.got.get(timeout=10)

    assert (method, path, body) == ("GET", "/alive", b"")
    assert beats == [None]


def test_a_monitor_that_is_away_is_told_once_and_without_its_address(places: Places, daemon: FakeDaemon) -> None:
    beat = Beat(Heartbeat(f"http://127.0.0.1:{free_port()}/s3cret", None, 60.0), places.control, Event())
    with capture_logs() as logs:
        beat.beat()
        beat.beat()

    assert len(logs) == 1
    assert "s3cret" not in str(logs)


def lives(store: Store, present: Present) -> None:
    """What the daemon last wrote, at half past eight in the evening."""
    evening = Instant(moment("20:30") - moment("05:00"), moment("20:30"))
    store.write([PresentNoted(evening, present)])
    store.alive(evening)
    store.close()


def test_a_daemon_that_is_silent_makes_no_good_day(tmp_path: Path) -> None:
    store = Store(tmp_path / "t.db", "boot-a")
    store.write([Deed(Instant(0.0, moment("05:00")), Act.START, "the daemon started")])
    store.close()

    with Reader(tmp_path / "t.db") as reader:
        note = good_day(reader, Bed.of(settings("")), 0, moment("20:30"))
    assert note is not None
    assert note.body == (
        "Sunday 21 June: 0 of 0 runs, 0 L, no sign of the daemon (since today, 05:00: look at the Pi and its log)."
    )


def test_what_the_next_run_waits_for_is_part_of_the_day(tmp_path: Path) -> None:
    store = Store(tmp_path / "t.db", "boot-a")
    store.write([Deed(Instant(0.0, moment("05:00")), Act.START, "the daemon started")])
    lives(
        store, Present(BedState.LOCKED, wait=Wait(Hindrance.LOCK, "locked: ran too long", None, "find the cause"))
    )

    with Reader(tmp_path / "t.db") as reader:
        note = good_day(reader, Bed.of(settings("")), 0, moment("20:30"))
    assert note is not None
    assert note.body == (
        "Sunday 21 June: 0 of 0 runs, 0 L, next run: none yet (locked: ran too long; find the cause)."
    )


def test_a_good_day_is_one_line_at_its_hour(tmp_path: Path) -> None:
    bed = Bed.of(settings("title: South tunnel"))
    store = Store(tmp_path / "t.db", "boot-a")
    begin = Instant(0.0, moment("05:00"))
    store.write([Deed(begin, Act.START, "the daemon started"), SumpNoted(begin, full(bed.book))])
    for n in range(1, 6):
        outcome = Outcome.DONE if n < 5 else Outcome.REFUSED
        seconds = 60.0 if n < 5 else 0.0
        at_s = moment(f"{6 + n:02}:00")
        store.write(whole_run(n, 0.0, seconds, outcome, run_at=Instant(at_s - moment("05:00"), at_s)))
    lives(store, Present(BedState.WAITING))

    with Reader(tmp_path / "t.db") as reader:
        assert good_day(reader, bed, 20 * 60 + 30, moment("20:29")) is None
        assert good_day(reader, bed, None, moment("23:00")) is None
        note = good_day(reader, bed, 20 * 60 + 30, moment("20:30"))
    assert note is not None
    assert note.id == "terrace-day-2026-06-21"
    assert note.subject == "[South tunnel] 4 of 5 runs, 50 L, needs water about 29 June"
    assert note.body == "Sunday 21 June: 4 of 5 runs, 50 L, needs water about 29 June."


def test_alerts_that_stand_spoil_a_good_day(tmp_path: Path) -> None:
    store = Store(tmp_path / "t.db", "boot-a")
    begin = Instant(0.0, moment("05:00"))
    alert = AlertRaised(begin, "leak", Severity.SOON, "A loss.")
    store.write([Deed(begin, Act.START, "the daemon started"), alert])
    lives(store, Present(BedState.WAITING))

    with Reader(tmp_path / "t.db") as reader:
        note = good_day(reader, Bed.of(settings("")), 0, moment("20:30"))
    assert note is not None
    assert note.body == "Sunday 21 June: 0 of 0 runs, 0 L, 1 alert stands."
