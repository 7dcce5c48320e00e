"""People are told when the records fail: from the daemon's own word, out of memory where nothing can be written."""

import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from threading import Event
from zoneinfo import ZoneInfo

import pytest
from tests.notify.conftest import FakeDaemon
from tests.notify.fake_channel import FakeChannel
from tests.notify.mosquitto import Listener, Mosquitto
from tests.notify.servers import WAIT_S, MailServer, WebServer

from waaler.core.care import Quiet
from waaler.core.facts import Act, AlertRaised, AlertResolved, Deed, Severity
from waaler.core.status import AlertNow
from waaler.guard.messages import Instant
from waaler.notify.broker import Broker
from waaler.notify.channels import Channel, NotNow
from waaler.notify.courier import Courier, Round
from waaler.notify.deliveries import Deliveries
from waaler.notify.heartbeat import Beat
from waaler.notify.listener import Listener as DaemonListener
from waaler.notify.mail import MailChannel
from waaler.notify.places import Places
from waaler.notify.push import PushChannel
from waaler.notify.webhook import WebhookChannel
from waaler.records.store import Store
from waaler.settings.messages import Heartbeat, Mail, Person, Push, Webhook
from waaler.settings.path_keys import SecretFile

LISBON = ZoneInfo("Europe/Lisbon")
NOON_S = datetime.fromisoformat("2026-06-21T12:00:00+01:00").timestamp()


def alert(kind: str = "sump-low", since_s: float = NOON_S, severity: str = "urgent") -> AlertNow:
    return AlertNow(kind, severity, f"{kind}.\nDo.", datetime.fromtimestamp(since_s, UTC))


class Disk:
    """Where records and deliveries stand, and what is wrong with it. The records know nothing of any alert."""

    def __init__(self, folder: Path, wrong: str) -> None:
        self.records = folder / "t.db"
        self.deliveries = folder / "n.db"
        if wrong != "vanished":
            with closing(Store(self.records, "boot-a")) as store:
                store.write([Deed(Instant(0.0, NOON_S - 60), Act.START, "x")])
        if wrong in ("read-only", "vanished"):
            (folder / "file").write_text("")
            self.deliveries = folder / "file" / "n.db"
        self._is_full = wrong == "full"

    def open_deliveries(self, channel: str) -> Deliveries:
        found = Deliveries(self.deliveries, channel)
        if self._is_full:
            (pages,) = found._db.execute("PRAGMA page_count").fetchone()
            found._db.execute(f"PRAGMA max_page_count = {pages}")
            with pytest.raises(sqlite3.OperationalError, match="full"):
                found._db.execute("INSERT INTO said VALUES ('x', ?)", ("x" * 100_000,))
        return found


class Bench:
    """A courier, and a daemon that says which alerts stand."""

    def __init__(self, disk: Disk, channel: Channel, quiet: Quiet | None = None) -> None:
        self.disk, self.channel, self.now_s = disk, channel, NOON_S
        self.standing: list[AlertNow] | None = []
        self.round = Round(
            "terrace", "Bed", LISBON, disk.records, disk.deliveries, quiet, alerts=lambda: self.standing
        )
        self.begin()

    def begin(self) -> None:
        self.courier = Courier(self.channel, self.round, Event())
        self.deliveries = self.disk.open_deliveries(self.channel.name)

    def look(self, seconds: float = 60.0) -> None:
        self.now_s += seconds
        self.courier._seen = ()
        self.courier.look(self.deliveries, self.now_s)

    def write(self, *facts: AlertRaised | AlertResolved) -> None:
        with closing(Store(self.disk.records, "boot-a")) as store:
            store.write(facts)


WRONG = ("full", "read-only", "vanished")


@pytest.fixture(params=WRONG)
def disk(request: pytest.FixtureRequest, tmp_path: Path) -> Disk:
    return Disk(tmp_path, request.param)


# --- every channel, every way in which a disk fails ---------------------------------------------------


def told_by_webhook(_: Path, disk: Disk) -> str:
    with closing(WebServer()) as server:
        bench = Bench(disk, WebhookChannel(Webhook("board", server.url, None, Severity.SOON)))
        bench.standing = [alert()]
        bench.look()
        return server.got.get(timeout=WAIT_S)[2].decode()


def told_by_mail(_: Path, disk: Disk) -> str:
    server = MailServer()
    try:
        mail = Mail("127.0.0.1", server.port, "none", "bed@example.org", Severity.SOON)
        bench = Bench(disk, MailChannel(mail, [Person("Ann", "", "ann@example.org")]))
        bench.standing = [alert()]
        bench.look()
        return str(server.got.get(timeout=WAIT_S)[1])
    finally:
        server.close()


def told_by_push(folder: Path, disk: Disk) -> str:
    with closing(WebServer()) as server:
        (folder / "urls").write_text(f"{server.url.replace('http', 'json')}/\n")
        bench = Bench(disk, PushChannel(Push(SecretFile(folder / "urls"), Severity.SOON)))
        bench.standing = [alert()]
        bench.look()
        return server.got.get(timeout=WAIT_S)[2].decode()


@pytest.mark.parametrize("told_by", [told_by_webhook, told_by_mail, told_by_push])
def test_an_alert_that_no_disk_keeps_reaches_people(
    tmp_path: Path, disk: Disk, told_by: Callable[[Path, Disk], str]
) -> None:
    assert "sump-low" in told_by(tmp_path, disk)


@pytest.mark.parametrize("wrong", WRONG)
def test_subscribers_of_the_broker_hear_of_it_too(
    tmp_path: Path,
    broker: Mosquitto,
    listen: Callable[[], Listener],
    follow: Callable[[Broker], Callable[[], None]],
    places: Places,
    daemon: FakeDaemon,
    wrong: str,
) -> None:
    Disk(tmp_path, wrong).records.rename(places.database) if wrong != "vanished" else None
    since = datetime.fromtimestamp(time.time() - 60, UTC).isoformat(timespec="seconds")
    daemon.status["alerts"] = [{"kind": "sump-low", "severity": "urgent", "text": "Low.", "since": since}]
    listener = listen()

    follow(Broker("127.0.0.1", broker.port))

    assert json.loads(listener.topic("waaler/terrace/alert/sump-low").text)["text"] == "Low."


# --- once, and in turn with the records ---------------------------------------------------------------


@pytest.fixture
def channel() -> FakeChannel:
    return FakeChannel(least=Severity.NOTE)


@pytest.fixture
def bench(tmp_path: Path, channel: FakeChannel) -> Iterator[Bench]:
    bench = Bench(Disk(tmp_path, "nothing"), channel)
    yield bench
    bench.deliveries.close()


def test_nothing_is_told_twice_while_the_records_tell_it(bench: Bench, channel: FakeChannel) -> None:
    bench.write(AlertRaised(Instant(0.0, NOON_S), "sump-low", Severity.URGENT, "sump-low.\nDo."))
    bench.standing = [alert()]
    bench.look()
    bench.look()

    assert channel.subjects == ["URGENT, sump-low."]


def test_the_records_have_half_a_minute_to_tell_it_first(bench: Bench, channel: FakeChannel) -> None:
    bench.standing = [alert()]
    bench.look(29.0)
    assert channel.subjects == []

    bench.look(1.0)
    assert channel.subjects == ["URGENT, sump-low."]


def test_it_is_told_once_and_its_end_too(disk: Disk, channel: FakeChannel) -> None:
    bench = Bench(disk, channel)
    bench.standing = [alert()]
    bench.look()
    bench.look()
    bench.standing = None
    bench.look()
    assert channel.subjects == ["URGENT, sump-low."], "a daemon that does not answer ends nothing"
    bench.standing = []
    bench.look()
    bench.look()

    assert channel.subjects == ["URGENT, sump-low.", "URGENT, over: sump-low."]


def test_what_the_records_tell_late_is_not_told_again(bench: Bench, channel: FakeChannel) -> None:
    bench.standing = [alert(), alert("leak")]
    bench.look()
    bench.standing = [alert("leak")]
    bench.look()
    at = Instant(0.0, NOON_S + 0.7)
    for kind in ("sump-low", "leak"):
        bench.write(AlertRaised(at, kind, Severity.URGENT, f"{kind}.\nDo."))
    bench.write(AlertResolved(Instant(60.0, NOON_S + 60), "sump-low"))
    bench.look()
    told = ["URGENT, sump-low.", "URGENT, leak.", "URGENT, over: sump-low."]
    assert channel.subjects == told

    bench.write(AlertResolved(Instant(200.0, NOON_S + 200), "leak"))
    bench.standing = []
    bench.look()
    bench.look()
    assert channel.subjects == [*told, "URGENT, over: leak."]


def test_a_notifier_that_begins_anew_remembers_what_it_told(bench: Bench, channel: FakeChannel) -> None:
    bench.standing = [alert()]
    bench.look()
    bench.deliveries.close()
    bench.begin()
    bench.look()
    bench.standing = []
    bench.look()

    assert channel.subjects == ["URGENT, sump-low.", "URGENT, over: sump-low."]


def test_a_server_that_is_away_is_tried_again(disk: Disk, channel: FakeChannel) -> None:
    bench = Bench(disk, channel)
    bench.standing = [alert()]
    channel.troubles = [NotNow("away")]
    bench.look()
    assert bench.courier.trouble == "away"

    bench.look()
    assert channel.subjects == ["URGENT, sump-low."]
    assert bench.courier.trouble is None


def test_quiet_hours_hold_back_what_is_not_urgent(disk: Disk, channel: FakeChannel) -> None:
    bench = Bench(disk, channel, Quiet(12 * 60, 13 * 60))
    bench.standing = [alert(), alert("leak", severity="soon")]
    bench.look()
    assert channel.subjects == ["URGENT, sump-low."]

    bench.look(3600.0)
    assert channel.subjects == ["URGENT, sump-low.", "SOON, leak."]


def test_the_daemon_is_heard_of_what_stands(places: Places, daemon: FakeDaemon) -> None:
    since = "2026-06-21T12:00:00+01:00"
    daemon.status["alerts"] = [{"kind": "sump-low", "severity": "urgent", "text": "Low.", "since": since}]
    listener = DaemonListener(places.control, Event())
    listener.turn()
    heard = listener.alerts
    places.control.unlink()
    listener.turn()

    assert heard is not None
    assert [one.kind for one in heard] == ["sump-low"]
    assert listener.alerts is None


# --- the heartbeat ------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["history-not-kept", "not-told-mail"])
def test_no_heart_beats_while_telling_or_recording_does_not_work(
    places: Places, daemon: FakeDaemon, kind: str
) -> None:
    beats: list[None] = []
    beat = Beat(Heartbeat(None, None, 60.0), places.control, Event(), lambda: beats.append(None))
    daemon.status["alerts"] = [
        {"kind": kind, "severity": "soon", "text": "x", "since": "2026-06-21T12:00:00+01:00"}
    ]
    beat.beat()
    assert beats == []

    daemon.status["alerts"] = []
    beat.beat()
    assert beats == [None]


def test_no_heart_beats_while_the_notifier_itself_cannot_tell(places: Places, daemon: FakeDaemon) -> None:
    beats: list[None] = []
    troubles = ["courier mail: away", None]
    beat = Beat(
        Heartbeat(None, None, 60.0), places.control, Event(), lambda: beats.append(None), lambda: troubles.pop(0)
    )

    beat.beat()
    assert beats == []
    beat.beat()
    assert beats == [None]
