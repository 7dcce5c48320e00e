"""A channel's own place in the queue: nothing lost, nothing in a loop, nobody held up, quiet hours kept."""

import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from threading import Event
from zoneinfo import ZoneInfo

import pytest
from tests.notify.fake_channel import FakeChannel
from tests.notify.servers import WAIT_S, SilentServer, WebServer
from tests.records.facts import whole_run

from waaler.core.care import Quiet
from waaler.core.facts import (
    AlertAcknowledged,
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Fact,
    Severity,
)
from waaler.guard.messages import Instant
from waaler.notify.channels import Channel, NotNow, NotThis
from waaler.notify.courier import Courier, Round
from waaler.notify.deliveries import Deliveries
from waaler.notify.note import Note
from waaler.notify.webhook import WebhookChannel
from waaler.records.store import Store
from waaler.settings.messages import Webhook

LISBON = ZoneInfo("Europe/Lisbon")
NOON_S = datetime.fromisoformat("2026-06-21T12:00:00+01:00").timestamp()
NIGHT = Quiet(22 * 60, 6 * 60 + 30)


class Bench:
    """A store, a courier, and a wall clock of its own."""

    def __init__(self, folder: Path, channel: Channel, quiet: Quiet | None = None) -> None:
        self.folder, self.channel, self.now_s = folder, channel, NOON_S
        self.store = Store(folder / "t.db", "boot-a")
        self.round = Round("terrace", "Bed", LISBON, folder / "t.db", folder / "n.db", quiet)
        self.begin()

    def begin(self) -> None:
        """A notifier that starts anew."""
        self.courier = Courier(self.channel, self.round, Event())
        self.deliveries = Deliveries(self.folder / "n.db", self.channel.name)

    def write(self, *facts: Fact) -> None:
        self.store.write(facts)

    @property
    def at(self) -> Instant:
        return Instant(self.now_s - NOON_S + 1000.0, self.now_s)

    def raised(self, kind: str = "sump-low", severity: Severity = Severity.URGENT) -> AlertRaised:
        return AlertRaised(self.at, kind, severity, f"{kind}.\nDo.")

    def look(self) -> float:
        self.courier._seen = ()  # a file's time may be too coarse for two writes in a row
        return self.courier.look(self.deliveries, self.now_s)

    def close(self) -> None:
        self.deliveries.close()
        self.store.close()


@pytest.fixture
def channel() -> FakeChannel:
    return FakeChannel()


@pytest.fixture
def bench(tmp_path: Path, channel: FakeChannel) -> Iterator[Bench]:
    with closing(Bench(tmp_path, channel)) as bench:
        yield bench


@pytest.fixture
def quiet_bench(tmp_path: Path, channel: FakeChannel) -> Iterator[Bench]:
    with closing(Bench(tmp_path, channel, NIGHT)) as bench:
        yield bench


def test_every_turn_of_an_alert_comes_once_in_order_and_runs_and_rewordings_do_not(
    bench: Bench, channel: FakeChannel
) -> None:
    bench.write(bench.raised())
    bench.look()
    bench.now_s += 60
    bench.write(*whole_run(1, 0.0, run_at=bench.at), AlertReworded(bench.at, "sump-low", "sump-low.\nWait."))
    bench.look()
    bench.write(AlertReminded(bench.at, "sump-low", "sump-low.\nStill.", 1, 1))
    bench.look()
    bench.write(AlertAcknowledged(bench.at, "sump-low", "anna"))
    bench.look()
    bench.write(AlertResolved(bench.at, "sump-low"))
    bench.look()
    bench.look()

    assert channel.subjects == [
        "URGENT, sump-low.",
        "URGENT, still: sump-low.",
        "URGENT, acknowledged: sump-low.",
        "URGENT, over: sump-low.",
    ]
    assert [note.person for note in channel.got] == [0, 1, 1, 1]
    assert "Told 2 times; nobody has acknowledged it yet." in channel.got[1].body
    assert channel.got[2].body == "sump-low.\nanna takes it on."
    assert len({note.id for note in channel.got}) == 4


def test_nothing_less_severe_than_the_channel_s_least_goes_out(bench: Bench, channel: FakeChannel) -> None:
    bench.write(bench.raised("a", Severity.NOTE), bench.raised("b", Severity.SOON), bench.raised("c"))
    bench.look()
    assert channel.subjects == ["SOON, b.", "URGENT, c."]


def test_what_ends_because_it_became_worse_is_not_called_over(bench: Bench, channel: FakeChannel) -> None:
    bench.write(bench.raised("sump-soon-low", Severity.SOON))
    bench.look()
    bench.write(AlertResolved(bench.at, "sump-soon-low"), bench.raised("refill-due"))
    bench.look()
    bench.write(AlertResolved(bench.at, "refill-due"))
    bench.look()

    assert channel.subjects == ["SOON, sump-soon-low.", "URGENT, refill-due.", "URGENT, over: refill-due."]


def test_a_reminder_that_waited_until_all_was_over_is_not_sent(bench: Bench, channel: FakeChannel) -> None:
    channel.troubles = [NotNow("away")]
    bench.write(bench.raised())
    bench.look()
    bench.write(AlertReminded(bench.at, "sump-low", "sump-low.", 1), AlertResolved(bench.at, "sump-low"))
    bench.look()

    assert channel.subjects == ["URGENT, sump-low.", "URGENT, over: sump-low."]
    assert "Over since Sun 21 Jun 12:00." in channel.got[0].body


def test_a_server_that_is_away_is_asked_ever_less_often_and_loses_nothing(
    bench: Bench, channel: FakeChannel
) -> None:
    channel.troubles = [NotNow("away")] * 9
    bench.write(bench.raised("a"), bench.raised("b"))

    waits = [bench.look() for _ in range(9)]
    bench.look()

    for n, wait_s in enumerate(waits):
        assert 0.75 * min(5 * 2**n, 600) <= wait_s <= 1.25 * min(5 * 2**n, 600)
    assert channel.subjects == ["URGENT, a.", "URGENT, b."]


def test_a_message_that_is_refused_is_parked_with_its_reason_and_the_next_goes_on(
    bench: Bench, channel: FakeChannel
) -> None:
    channel.troubles = [NotThis("the server says 550")]
    bench.write(bench.raised("a"), bench.raised("b"))
    bench.look()
    bench.look()

    assert channel.subjects == ["URGENT, b."]
    assert bench.deliveries.parked() == [(1, "the server says 550")]


def test_after_a_kill_what_was_not_noted_comes_again_under_the_same_id(bench: Bench, channel: FakeChannel) -> None:
    bench.write(bench.raised("a"), bench.raised("b"), bench.raised("c"))
    channel.troubles = []
    bench.look()
    ids = [note.id for note in channel.got]
    with closing(Deliveries(bench.folder / "n.db", "fake")) as deliveries:
        deliveries.told(ids[0].rpartition("-")[0], 1)
    bench.deliveries.close()
    bench.begin()
    bench.look()

    assert [note.id for note in channel.got] == [*ids, *ids[1:]]


def test_a_channel_that_is_new_tells_of_the_last_hour_alone(bench: Bench, channel: FakeChannel) -> None:
    bench.write(bench.raised("old"))
    bench.now_s += 3601
    bench.write(bench.raised("new"))
    bench.look()

    assert channel.subjects == ["URGENT, new."]


def test_in_quiet_hours_only_what_is_urgent_goes_out_and_the_rest_comes_at_their_end(
    quiet_bench: Bench, channel: FakeChannel
) -> None:
    bench = quiet_bench
    bench.now_s = datetime.fromisoformat("2026-06-21T23:00:00+01:00").timestamp()
    bench.write(bench.raised("soon", Severity.SOON), bench.raised("now"))
    bench.look()
    assert channel.subjects == ["URGENT, now."]

    bench.deliveries.close()
    bench.begin()
    bench.now_s += 7.5 * 3600
    bench.look()
    assert channel.subjects == ["URGENT, now.", "SOON, soon."]
    bench.look()
    assert len(channel.got) == 2


def test_a_channel_whose_server_is_silent_holds_up_no_other(tmp_path: Path) -> None:
    store = Store(tmp_path / "t.db", "boot-a")
    ending = Event()
    round_ = Round("terrace", "Bed", LISBON, tmp_path / "t.db", tmp_path / "n.db")
    now = Instant(1000.0, time.time())
    store.write([AlertRaised(now, "sump-low", Severity.URGENT, "Sump low.")])
    with closing(SilentServer()) as silent, closing(WebServer()) as web:
        urls = {"silent": f"http://127.0.0.1:{silent.port}/", "good": web.url}
        couriers = [
            Courier(WebhookChannel(Webhook(name, url, None, Severity.SOON)), round_, ending)
            for name, url in urls.items()
        ]
        began_s = time.monotonic()
        for courier in couriers:
            courier.start()
        assert b"Sump low." in web.got.get(timeout=WAIT_S)[2]
        assert time.monotonic() - began_s < 5.0
        ending.set()
    couriers[1].join(timeout=WAIT_S)
    assert not couriers[1].is_alive()
    store.close()


def test_whatever_is_raised_in_a_channel_ends_no_thread(bench: Bench, channel: FakeChannel) -> None:
    ending = Event()
    waits: list[float] = []

    class Counted(Courier):
        def rest(self, seconds: float) -> None:
            waits.append(seconds)
            if len(waits) >= 2:
                ending.set()

    channel.troubles = [RuntimeError("a bug")]
    bench.now_s = time.time()
    bench.write(bench.raised())
    courier = Counted(channel, bench.round, ending)

    courier.run()

    assert waits == [60.0, 2.0]
    assert channel.subjects == ["URGENT, sump-low."]


GoodDay = Callable[[object, float], Note | None]


def test_the_line_of_a_good_day_goes_out_once_whatever_the_least_severity(
    tmp_path: Path, channel: FakeChannel
) -> None:
    channel.least = Severity.URGENT
    note = Note("terrace-day-2026-06-21", "[Bed] 5 of 5 runs", "Sunday: 5 of 5 runs.", Severity.NOTE, 0, {})
    with closing(Bench(tmp_path, channel)) as bench:
        bench.round = Round(
            "terrace", "Bed", LISBON, tmp_path / "t.db", tmp_path / "n.db", good_day=lambda _, __: note
        )
        bench.begin()
        channel.troubles = [NotNow("away")]
        for _ in range(4):
            bench.look()

    assert channel.subjects == ["5 of 5 runs"]
