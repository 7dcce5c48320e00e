"""The notifier hears the daemon: at once where it may wait for the next change, by asking where it may not."""

import json
import socket
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.notify.conftest import STATUS, FakeDaemon
from tests.notify.fake_channel import FakeChannel
from tests.notify.mosquitto import Listener as Reader
from tests.notify.mosquitto import Mosquitto

from waaler.core.facts import AlertRaised, Severity
from waaler.core.status import BedState, Status
from waaler.guard.messages import Instant
from waaler.keeper.changes import Changes
from waaler.keeper.control import ControlSocket
from waaler.keeper.door import Room
from waaler.notify import courier as courier_module
from waaler.notify import follower as follower_module
from waaler.notify import listener as module
from waaler.notify.asking import ask_status
from waaler.notify.broker import Broker, Stop
from waaler.notify.courier import Courier, Round
from waaler.notify.follower import Follower
from waaler.notify.listener import Listener
from waaler.notify.places import Places
from waaler.records.store import Store

WAIT_S = 20.0
NOT_IN_THIS_TEST_S = 1000.0


class Daemon:
    """The daemon's socket with a status that a test can change, and word of it."""

    def __init__(self, path: Path) -> None:
        self.status: dict[str, Any] = {"ok": True, **STATUS}
        self.asked = 0
        self._changes = Changes(lambda *_: None)
        self._socket = ControlSocket(
            path, self._status, lambda _: {}, lambda *_: None, lambda: Room(100.0), changes=self._changes
        )
        self._changes.start()
        self._socket.start()

    def _status(self) -> dict[str, Any]:
        self.asked += 1
        return self.status

    def becomes(self, state: str) -> None:
        self.status = {**self.status, "state": state}
        self._changes.tell()

    def tell(self) -> None:
        self._changes.tell()

    def end(self) -> None:
        for part in (self._socket, self._changes):
            part.stop()
            part.join(timeout=5)


@pytest.fixture
def daemons(places: Places, stack: ExitStack) -> Callable[[], Daemon]:
    """Starts a daemon, ended with the test at the latest."""

    def start() -> Daemon:
        daemon = Daemon(places.control)
        stack.callback(daemon.end)
        return daemon

    return start


class Ear:
    """What a listener told."""

    def __init__(self, control: Path, stack: ExitStack) -> None:
        ending = threading.Event()
        self.heard: SimpleQueue[BedState | str] = SimpleQueue()
        self.wakes = 0
        self.listener = Listener(control, ending)
        self.listener.wakes.append(self._wake)
        self.listener.hears.append(lambda status: self.heard.put(status.state))
        stack.callback(ending.set)

    def _wake(self) -> None:
        self.wakes += 1

    def hears(self, state: str) -> None:
        seen = []
        end_s = time.monotonic() + WAIT_S
        while time.monotonic() < end_s:
            with suppress(Empty):
                seen.append(self.heard.get(timeout=0.2))
                if seen[-1] == state:
                    return
        raise AssertionError(f"no '{state}' but {seen}")


@pytest.fixture
def ear(places: Places, stack: ExitStack) -> Ear:
    return Ear(places.control, stack)


@pytest.fixture
def no_polling(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is looked at, and nobody asked, because time has passed."""
    monkeypatch.setattr(module, "ASK_EVERY_S", NOT_IN_THIS_TEST_S)
    monkeypatch.setattr(follower_module, "LOOK_EVERY_S", NOT_IN_THIS_TEST_S)
    monkeypatch.setattr(follower_module, "READ_EVERY_S", NOT_IN_THIS_TEST_S)
    monkeypatch.setattr(courier_module, "LOOK_EVERY_S", NOT_IN_THIS_TEST_S)


# --- a daemon that is away, hangs or is another -----------------------------------------------------


def test_a_daemon_that_ends_is_heard_of_at_once_and_its_return_by_asking(
    ear: Ear, daemons: Callable[[], Daemon], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "ASK_EVERY_S", 0.05)
    first = daemons()
    ear.listener.start()
    ear.hears("waiting")

    first.end()
    ear.hears("no answer")
    assert ear.listener.alerts is None

    second = daemons()
    ear.hears("waiting")
    second.becomes("paused")
    ear.hears("paused")


def test_a_daemon_that_takes_the_connection_and_hangs_is_no_answer(
    places: Places, ear: Ear, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "ANSWER_WITHIN_S", 0.1)
    with socket.socket(socket.AF_UNIX) as hung:
        hung.bind(str(places.control))
        hung.listen(8)

        wait_s = ear.listener.turn()

    assert ear.listener.status == Status(BedState.NO_ANSWER)
    assert wait_s == 2.0
    assert ear.wakes == 0


def test_where_it_may_not_wait_it_asks_every_two_seconds(ear: Ear, daemon: FakeDaemon) -> None:
    assert ear.listener.turn() == 2.0
    assert ear.heard.get_nowait() == "waiting"
    assert ear.wakes == 0


@pytest.mark.parametrize("changes", [None, "7", [1]])
def test_a_count_that_is_no_number_is_none(places: Places, ear: Ear, changes: object, stack: ExitStack) -> None:
    listener = stack.enter_context(socket.socket(socket.AF_UNIX))
    listener.bind(str(places.control))
    listener.listen(8)

    def serve() -> None:
        for _ in range(2):
            talk, _ = listener.accept()
            with talk:
                talk.recv(4096)
                talk.sendall(json.dumps({"ok": True, "changes": changes, **STATUS}).encode() + b"\n")

    threading.Thread(target=serve, daemon=True).start()

    assert ear.listener.turn() == 2.0
    assert ear.wakes == 0


def test_a_daemon_in_which_much_happens_is_heard_ten_times_a_second_in_the_end(
    ear: Ear, daemons: Callable[[], Daemon]
) -> None:
    daemon = daemons()
    pauses = []
    for _ in range(40):
        pauses.append(ear.listener.turn())
        daemon.tell()

    assert pauses[:15] == [0.0] * 15
    assert pauses[-1] == 0.1


# --- a change -------------------------------------------------------------------------------------


@pytest.mark.usefixtures("no_polling")
def test_a_change_is_heard_without_asking(ear: Ear, daemons: Callable[[], Daemon]) -> None:
    daemon = daemons()
    ear.listener.start()
    ear.hears("waiting")
    asked = daemon.asked

    daemon.becomes("watering")

    ear.hears("watering")
    assert daemon.asked == asked + 1


def test_without_a_change_the_status_is_asked_for_every_ten_seconds_and_nobody_woken(
    ear: Ear, daemons: Callable[[], Daemon], monkeypatch: pytest.MonkeyPatch
) -> None:
    daemon = daemons()
    ear.listener.turn()
    monkeypatch.setattr("waaler.keeper.changes.LONGEST_WAIT_S", 0.05)

    assert ear.listener.turn() == 0.0
    assert (ear.wakes, daemon.asked) == (1, 2)


def trip() -> AlertRaised:
    return AlertRaised(Instant(1.0, time.time()), "tray-high", Severity.URGENT, "Tray too full.")


@pytest.mark.usefixtures("no_polling")
def test_a_trip_goes_to_the_broker_as_soon_as_the_daemon_tells_of_a_change_and_waits_for_no_status(
    places: Places,
    store: Store,
    broker: Mosquitto,
    daemons: Callable[[], Daemon],
    stack: ExitStack,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    daemon, reader, does_answer = daemons(), Reader(broker.port), threading.Event()
    stack.callback(reader.close)
    does_answer.set()

    def answer(control: Path) -> Status:
        does_answer.wait(WAIT_S)
        return ask_status(control)

    monkeypatch.setattr(module, "ask_status", answer)
    ear = Ear(places.control, stack)
    made: SimpleQueue[Follower] = SimpleQueue()

    def follow() -> None:
        zone, address = ZoneInfo("Europe/Lisbon"), Broker("127.0.0.1", broker.port, longest_wait_s=1)
        follower = Follower("terrace", zone, places, address, ear.listener)
        made.put(follower)
        follower.run()

    thread = threading.Thread(target=follow, daemon=True)
    thread.start()
    follower = made.get(timeout=WAIT_S)
    stack.callback(thread.join, WAIT_S)
    stack.callback(lambda: follower.news.put(Stop()))
    ear.listener.start()
    reader.topic("waaler/terrace/status")

    store.write([trip()])
    does_answer.clear()
    daemon.becomes("stopped for safety")

    reader.topic("waaler/terrace/alert/tray-high")
    does_answer.set()
    reader.wait_for(lambda m: m.topic.endswith("/status") and "stopped for safety" in m.text, "the status")


@pytest.mark.usefixtures("no_polling")
def test_a_trip_goes_to_people_as_soon_as_the_daemon_tells_of_a_change(
    places: Places, store: Store, daemons: Callable[[], Daemon], stack: ExitStack
) -> None:
    daemon, channel, ending = daemons(), Sent(), threading.Event()
    ear = Ear(places.control, stack)
    round_ = Round("terrace", "Terrace", ZoneInfo("Europe/Lisbon"), places.database, places.deliveries)
    courier = Courier(channel, round_, ending)
    ear.listener.wakes.append(courier.wake)
    courier.start()
    stack.callback(courier.join, WAIT_S)
    stack.callback(courier.wake)
    stack.callback(ending.set)
    ear.listener.start()
    ear.hears("waiting")

    store.write([trip()])
    daemon.tell()

    assert "Tray too full" in channel.came.get(timeout=WAIT_S)


def test_files_that_looked_changed_before_anything_could_be_read_are_read_again(
    places: Places, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log of the records grows before what stands in it is committed."""
    channel = FakeChannel()
    round_ = Round("terrace", "Terrace", ZoneInfo("Europe/Lisbon"), places.database, places.deliveries)
    courier = Courier(channel, round_, threading.Event())
    monkeypatch.setattr(courier_module, "signature", lambda _: ((1, 1),))
    courier.turn()
    store.write([trip()])
    courier.turn()
    assert channel.got == []

    courier.wake()
    courier.rest(1.0)
    courier.turn()

    assert ["Tray too full" in note.subject for note in channel.got] == [True]


def test_a_server_that_takes_nothing_is_not_tried_sooner_because_something_happens(places: Places) -> None:
    waits: list[float | None] = []

    class Ending(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            waits.append(timeout)
            return False

    round_ = Round("terrace", "Terrace", ZoneInfo("Europe/Lisbon"), places.database, places.deliveries)
    courier = Courier(FakeChannel(), round_, Ending())

    for wait_s in (60.0, 2.0):
        courier.wake()
        courier.rest(wait_s)

    assert waits == [60.0]


class Sent(FakeChannel):
    """Tells of each message as it goes."""

    def __init__(self) -> None:
        super().__init__()
        self.came: SimpleQueue[str] = SimpleQueue()

    def send(self, note: Any) -> None:
        super().send(note)
        self.came.put(note.subject)
