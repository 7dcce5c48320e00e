"""Many beds on one Mosquitto: `python -m tests.bench.fleet --beds 10,100,500`.

Each bed is a whole notifier with records and a control socket of its own, a hundred of them threads of one process,
against one broker. A trip is written to the records of a bed and the socket tells that something changed, as the daemon
does; the delay is from the commit to a subscriber of all beds. Beside it, at the same time and pace: messages of the same size
published straight to the broker by a client that is connected already and does nothing else.
"""

import argparse
import json
import logging
import random
import resource
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from multiprocessing import Pipe, Process
from multiprocessing.connection import Connection
from pathlib import Path
from queue import SimpleQueue
from typing import Any
from zoneinfo import ZoneInfo

import structlog
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from tests.bench.table import Row, ratio
from tests.notify.mosquitto import Mosquitto

from waaler.core.facts import AlertRaised, Severity
from waaler.guard.messages import Instant
from waaler.keeper.changes import Changes
from waaler.keeper.control import ControlSocket
from waaler.keeper.door import Room
from waaler.notify import fleet
from waaler.notify.broker import Broker, Stop
from waaler.notify.follower import Follower
from waaler.notify.listener import Listener
from waaler.notify.places import Places
from waaler.records.store import Store

TRIPS = 200
PER_WORKER = 100
PAUSE_S = 0.03
WAIT_S = 60.0
GOAL = 3.0
"""Times the broker's own delay."""

LIKE_AN_ALERT = "-" * 180


@dataclass(frozen=True, slots=True)
class Found:
    """delay_s, bare_s: p50 and p99. spent: share of a core a bed; memory_mb: a bed."""

    count: int
    delay_s: tuple[float, float]
    bare_s: tuple[float, float]
    spent: float
    memory_mb: float
    silent: int

    def __str__(self) -> str:
        (p50, p99), (bare_p50, bare_p99) = self.delay_s, self.bare_s
        return (
            f"{self.count:>4} beds: trip to subscriber p50 {1000 * p50:.1f} ms, p99 {1000 * p99:.1f} ms"
            f" (broker alone {1000 * bare_p50:.1f} and {1000 * bare_p99:.1f} ms);"
            f" {100 * self.spent:.2f} % of a core and {self.memory_mb:.1f} MB a bed; silent {self.silent}"
        )


class Subscriber:
    """Keeps the instant at which each alert came, and the fleet as it looks."""

    def __init__(self, port: int) -> None:
        self.came: dict[str, float] = {}
        self.fleet = fleet.Fleet()
        self.online: set[str] = set()
        self.client = connected("bench", port, self._got)

    def _got(self, _: Client, __: Any, message: Any) -> None:
        now_s = time.monotonic()
        payload = bytes(message.payload)
        parts = message.topic.split("/")
        if parts[1] != "bare":
            self.fleet = fleet.take(self.fleet, message.topic, payload, time.time())
        if parts[2] == "online" and payload == b"true":
            self.online.add(parts[1])
        elif parts[2] == "alert" and payload:
            self.came.setdefault(json.loads(payload)["text"], now_s)


def connected(name: str, port: int, got: Any = None) -> Client:
    """A client of the broker; one that hears everything, where `got` takes it."""
    ready: SimpleQueue[None] = SimpleQueue()
    client = Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=MQTTProtocolVersion.MQTTv5)
    if got is None:
        client.on_connect = lambda *_: ready.put(None)
    else:
        client.on_connect = lambda client, *_: client.subscribe("waaler/#", qos=1)
        client.on_subscribe = lambda *_: ready.put(None)
        client.on_message = got
    client.connect("127.0.0.1", port)
    client.loop_start()
    ready.get(timeout=WAIT_S)
    return client


def wait_until(is_so: Any, what: str) -> None:
    end_s = time.monotonic() + WAIT_S
    while not is_so():
        assert time.monotonic() < end_s, f"not {what} within {WAIT_S:.0f} s"
        threading.Event().wait(0.02)


class Worker:
    """Up to a hundred beds in a process of its own: the client library waits by select(), which ends at 1024 files."""

    def __init__(self, beds: list[str], folder: Path, port: int) -> None:
        here, there = Pipe()
        self._pipe = here
        self.process = Process(target=_work, args=(beds, folder, port, there), daemon=True)
        self.process.start()

    def trip(self, trips: list[int]) -> None:
        self._pipe.send(trips)

    def written(self) -> tuple[dict[str, float], float, float]:
        """When each trip was committed; the share of a core that the beds took; their memory in MB."""
        found: tuple[dict[str, float], float, float] = self._pipe.recv()
        return found

    def end(self) -> None:
        self._pipe.send(None)
        self.process.join(timeout=WAIT_S)


def _work(beds: list[str], folder: Path, port: int, pipe: Connection) -> None:
    made: SimpleQueue[Follower] = SimpleQueue()
    kept = {}
    for bed in beds:
        places = Places(folder / f"{bed}.db", folder / f"{bed}.notify.db", folder / f"{bed}.sock")
        kept[bed] = Kept(places)
        threading.Thread(target=_follow, args=(bed, places, port, made), daemon=True).start()
    followers = [made.get(timeout=WAIT_S) for _ in beds]
    while (trips := pipe.recv()) is not None:
        pipe.send(_trip(kept, trips))
    for follower in followers:
        follower.news.put(Stop())
    threading.Event().wait(1.0)


class Kept:
    """What of a daemon its notifier meets: the records, and a socket that tells of changes and knows a status."""

    def __init__(self, places: Places) -> None:
        self._store = Store(places.database, "boot-a", is_lasting=False)
        self._changes = Changes(_died)
        status = {"ok": True, "state": "waiting", "clock": "sure", "alerts": [], "readings": []}
        socket = ControlSocket(
            places.control, lambda: status, lambda _: {}, _died, lambda: Room(100.0), changes=self._changes
        )
        self._changes.start()
        socket.start()

    def raise_alert(self, kind: str, text: str) -> float:
        """The instant of the commit."""
        self._store.write([AlertRaised(Instant(1.0, time.time()), kind, Severity.URGENT, text)])
        committed_s = time.monotonic()
        self._changes.tell()
        return committed_s


def _died(name: str, problem: Exception) -> None:
    raise AssertionError(f"{name} ended: {problem!r}")


def _follow(bed: str, places: Places, port: int, made: SimpleQueue[Follower]) -> None:
    listener = Listener(places.control, threading.Event())
    follower = Follower(bed, ZoneInfo("Europe/Lisbon"), places, Broker("127.0.0.1", port), listener)
    listener.start()
    made.put(follower)
    follower.run()


def _trip(kept: dict[str, Kept], trips: list[int]) -> tuple[dict[str, float], float, float]:
    chance, written = random.Random(trips[0]), {}
    cpu_s, began_s = time.process_time(), time.monotonic()
    for n in trips:
        text = f"trip {n}"
        written[text] = kept[chance.choice(list(kept))].raise_alert(f"trip-{n}", text)
        threading.Event().wait(PAUSE_S)
    spent = (time.process_time() - cpu_s) / (time.monotonic() - began_s)
    return written, spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def quantiles(delays_s: list[float]) -> tuple[float, float]:
    """p50 and p99."""
    cuts = statistics.quantiles(delays_s, n=100, method="inclusive")
    return cuts[49], cuts[98]


def measure(count: int) -> Found:
    with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name)
        broker = Mosquitto(folder)
        stack.callback(broker.kill)
        subscriber = Subscriber(broker.port)
        stack.callback(subscriber.client.loop_stop)
        publisher = connected("bare", broker.port)
        stack.callback(publisher.loop_stop)
        beds = [f"bed-{n}" for n in range(count)]
        workers = [Worker(beds[n : n + PER_WORKER], folder, broker.port) for n in range(0, count, PER_WORKER)]
        wait_until(lambda: len(subscriber.online) == count, f"{count} beds online")
        threading.Event().wait(3.0)
        for n, worker in enumerate(workers):
            worker.trip(list(range(n * TRIPS, (n + 1) * TRIPS)))
        bare = _bare(subscriber, publisher)
        found = [worker.written() for worker in workers]
        written = {text: at_s for texts, _, _ in found for text, at_s in texts.items()}
        wait_until(lambda: written.keys() <= subscriber.came.keys(), "all trips heard")
        delays = [subscriber.came[text] - at_s for text, at_s in written.items()]
        silent = sum(row["silent"] for row in fleet.rows(subscriber.fleet, time.time()))
        for worker in workers:
            worker.end()
        spent, memory_mb = sum(one[1] for one in found), sum(one[2] for one in found)
        return Found(count, quantiles(delays), quantiles(bare), spent / count, memory_mb / count, silent)


def _bare(subscriber: Subscriber, publisher: Client) -> list[float]:
    """As much from a client that waits for nothing."""
    written = {}
    for n in range(TRIPS):
        text = f"bare {n}"
        payload = json.dumps({"text": text, "severity": "note", "more": LIKE_AN_ALERT})
        written[text] = time.monotonic()
        publisher.publish(f"waaler/bare/alert/bare-{n}", payload, qos=1, retain=True)
        threading.Event().wait(PAUSE_S)
    wait_until(lambda: written.keys() <= subscriber.came.keys(), "all bare messages heard")
    return [subscriber.came[text] - at_s for text, at_s in written.items()]


def rows(is_quick: bool) -> Iterator[Row]:
    """For the table of all benchmarks."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    for count in (10,) if is_quick else (10, 100, 500):
        found = measure(count)
        for name, ours_s, bare_s in zip(("p50", "p99"), found.delay_s, found.bare_s, strict=True):
            what = f"trip to reader, {count} beds, {name}"
            yield Row(
                what, f"{1000 * ours_s:.1f} ms", f"{1000 * bare_s:.1f} ms", ratio(ours_s, bare_s), f"{GOAL:g} x",
                ours_s <= GOAL * bare_s,
            )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--beds", default="10,100,500")
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    for count in parser.parse_args().beds.split(","):
        print(measure(int(count)), flush=True)


if __name__ == "__main__":
    main()
