"""The broker, the records and the daemon's socket that the notifier follows."""

import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.notify.mosquitto import Listener, Mosquitto

from waaler.notify.broker import Broker, Stop
from waaler.notify.follower import Follower
from waaler.notify.listener import Listener as DaemonListener
from waaler.notify.places import Places
from waaler.records.store import Store

STATUS = {
    "state": "waiting",
    "clock": "sure",
    "next": {"start": "2026-06-21T09:00:00+01:00", "seconds": 120, "window": "early"},
    "alerts": [],
    "readings": [
        {"name": "pot", "value": 61.0, "unit": "%", "at": "2026-06-21T08:00:00+01:00", "valid": True},
        {"name": "air", "value": 24.5, "unit": "C", "at": "2026-06-21T08:00:10+01:00", "valid": True},
    ],
}


class FakeDaemon:
    """Answers on the control socket: its `status`, and every order with a yes. It lets nobody wait."""

    def __init__(self, path: Path) -> None:
        self.status: dict[str, Any] = dict(STATUS)
        self.asked: list[dict[str, Any]] = []
        self.channels: list[dict[str, Any]] = []
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listener.bind(str(path))
        self._listener.listen()
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                talk, _ = self._listener.accept()
            except OSError:
                return
            with talk:
                asked = json.loads(talk.recv(4096))
                if asked["do"] == "status":
                    answer = self.status
                elif asked["do"] == "wait":
                    answer = {"ok": False, "text": "too many wait already"}
                else:
                    (self.channels if asked["do"] == "channel" else self.asked).append(asked)
                    answer = {"ok": True, "text": f"{asked['do']} done"}
                talk.sendall(json.dumps(answer).encode() + b"\n")

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


@pytest.fixture
def broker(tmp_path: Path, stack: ExitStack) -> Mosquitto:
    broker = Mosquitto(tmp_path)
    stack.callback(lambda: broker.kill())
    return broker


@pytest.fixture
def listen(broker: Mosquitto, stack: ExitStack) -> Callable[[], Listener]:
    """Makes a listener of its own name."""

    def make(name: str = "listener") -> Listener:
        listener = Listener(broker.port, name)
        stack.callback(listener.close)
        return listener

    return make


@pytest.fixture
def places(tmp_path: Path) -> Places:
    return Places(tmp_path / "terrace.db", tmp_path / "terrace.notify.db", tmp_path / "terrace.sock")


@pytest.fixture
def store(places: Places, stack: ExitStack) -> Store:
    store = Store(places.database, "boot-a")
    stack.callback(store.close)
    return store


@pytest.fixture
def daemon(places: Places, stack: ExitStack) -> FakeDaemon:
    daemon = FakeDaemon(places.control)
    stack.callback(daemon.close)
    return daemon


@pytest.fixture
def follow(places: Places, stack: ExitStack) -> Callable[[Broker], Callable[[], None]]:
    """Starts a notifier in a thread; what it gives back ends it."""

    def start(broker: Broker) -> Callable[[], None]:
        made: SimpleQueue[Follower] = SimpleQueue()
        ending = threading.Event()
        stack.callback(ending.set)

        def work() -> None:
            listener = DaemonListener(places.control, ending)
            follower = Follower("terrace", ZoneInfo("Europe/Lisbon"), places, broker, listener)
            listener.start()
            made.put(follower)
            follower.run()

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        follower = made.get(timeout=20)

        def end() -> None:
            follower.news.put(Stop())
            thread.join(timeout=20)
            assert not thread.is_alive()

        stack.callback(end)
        return end

    return start
