"""Minutes of bad luck between a notifier and its readers: `python -m tests.campaign.broker --minutes 10 --seed 1`.

A real Mosquitto is killed and stopped, the port in front of it dropped, the notifier itself killed, all at random,
while runs end and alerts are raised, reminded of and resolved. A reader with a lasting session counts: every message
arrived at least once, first in order, and none was invented.
"""

import argparse
import json
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from paho.mqtt import publish
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from tests.notify.mosquitto import Mosquitto
from tests.records.facts import whole_run

from waaler.core.facts import AlertRaised, AlertReminded, AlertResolved, Fact, Severity
from waaler.guard.messages import Instant
from waaler.notify.deliveries import Deliveries
from waaler.records.reader import Reader
from waaler.records.store import Store

KINDS = ("sump-low", "tray-high", "leak", "no-flow", "cycle-missed")
SETTLE_S = 90.0
END = "end"
LASTING = ("persistence true", "autosave_on_changes true", "autosave_interval 1", "max_queued_messages 0")
"""A broker that is killed keeps what it has taken: it saves after each change."""

PROCESS = """
import sys
from pathlib import Path
from threading import Event
from zoneinfo import ZoneInfo
from waaler.notify.broker import Broker
from waaler.notify.follower import Follower
from waaler.notify.listener import Listener
from waaler.notify.places import Places

folder, port = Path(sys.argv[1]), int(sys.argv[2])
places = Places(folder / "terrace.db", folder / "terrace.notify.db", folder / "terrace.sock")
listener = Listener(places.control, Event())
listener.start()
Follower("terrace", ZoneInfo("Europe/Lisbon"), places, Broker("127.0.0.1", port, longest_wait_s=2.0), listener).run()
"""


class Port:
    """A port that leads to another one, and can be dropped with all that goes through it."""

    def __init__(self, target: int) -> None:
        self._target = target
        self._pairs: list[socket.socket] = []
        self._is_open = True
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.number = int(self._listener.getsockname()[1])
        threading.Thread(target=self._serve, daemon=True).start()

    def drop(self) -> None:
        self._is_open = False
        for one in self._pairs:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        self._pairs.clear()

    def open(self) -> None:
        self._is_open = True

    def _serve(self) -> None:
        while True:
            here, _ = self._listener.accept()
            try:
                there = socket.create_connection(("127.0.0.1", self._target), timeout=2) if self._is_open else None
            except OSError:
                there = None
            if there is None:
                here.close()
                continue
            self._pairs += [here, there]
            for a, b in ((here, there), (there, here)):
                threading.Thread(target=_carry, args=(a, b), daemon=True).start()


def _carry(source: socket.socket, sink: socket.socket) -> None:
    with suppress(OSError):
        source.settimeout(None)
        while piece := source.recv(65_536):
            sink.sendall(piece)
    for one in (source, sink):
        with suppress(OSError):
            one.close()


@dataclass
class Heard:
    """What the reader got: ids in the order of their first coming, and how often each came."""

    runs: list[int] = field(default_factory=list)
    alerts: list[tuple[str, str]] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    over: dict[str, int] = field(default_factory=dict)
    repeats: int = 0
    has_ended: threading.Event = field(default_factory=threading.Event)

    def take(self, topic: str, payload: bytes) -> None:
        what = topic.split("/")[2]
        if what == "run":
            self._note(self.runs, json.loads(payload)["run"])
        elif what == "alert" and payload:
            told = json.loads(payload)
            self.texts[told["id"]] = told["kind"]
            self._note(self.alerts, (told["id"], told["turn"]))
        elif what == "alert":
            kind = topic.rpartition("/")[2]
            self.over[kind] = self.over.get(kind, 0) + 1
        elif what == END:
            self.has_ended.set()

    def _note(self, seen: list[Any], one: Any) -> None:
        if one in seen:
            self.repeats += 1
        else:
            seen.append(one)


class LastingReader:
    """Subscribes with a session that outlives its connection."""

    def __init__(self, port: int) -> None:
        self.heard = Heard()
        client = Client(CallbackAPIVersion.VERSION2, client_id="reader", protocol=MQTTProtocolVersion.MQTTv5)
        client.on_connect = lambda client, *_: client.subscribe("waaler/#", qos=1)
        client.on_message = self._got
        client.reconnect_delay_set(1, 1)
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 86_400
        client.connect("127.0.0.1", port, clean_start=False, properties=properties)
        client.loop_start()
        self._client = client

    def _got(self, _: Client, __: Any, message: MQTTMessage) -> None:
        self.heard.take(message.topic, bytes(message.payload))

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


TROUBLES = ("killed", "stopped", "dropped", "notifier killed")
GENTLE = TROUBLES[1:]
"""Without the broker's own sudden death: between its acknowledgement and its save it may lose a message, and no
notifier can know. Rare with a save at every change, but a test must not hang on it."""


class Campaign:
    def __init__(self, folder: Path, seed: int, stack: ExitStack, troubles: tuple[str, ...] = TROUBLES) -> None:
        self.chance = random.Random(seed)
        self.folder, self.troubles, self.counts = folder, troubles, dict.fromkeys(troubles, 0)
        self.broker = Mosquitto(folder, *LASTING, f"persistence_location {folder}/")
        stack.callback(self.broker.kill)
        self.port = Port(self.broker.port)
        self.reader = LastingReader(self.broker.port)
        stack.callback(self.reader.close)
        self.store = Store(folder / "terrace.db", "boot-a")
        stack.callback(self.store.close)
        self.standing: dict[str, int] = {}
        self.runs = 0
        self.raised = 0
        self.resolved = 0
        self.process = self._start()
        stack.callback(lambda: self.process.kill())

    def go_on(self, seconds: float) -> None:
        """Life and bad luck for so long."""
        end_s = time.monotonic() + seconds
        trouble_s = time.monotonic() + 1.0
        pause = threading.Event()
        while time.monotonic() < end_s:
            self.live()
            if time.monotonic() >= trouble_s:
                self.trouble()
                trouble_s = time.monotonic() + self.chance.uniform(1.0, 6.0)
            pause.wait(self.chance.uniform(0.02, 0.3))
        self.port.open()

    def live(self) -> None:
        """A run ends, or something becomes of an alert."""
        now = Instant(time.monotonic(), time.time())
        what, kind = self.chance.random(), self.chance.choice(KINDS)
        if what < 0.4:
            self.runs += 1
            facts: list[Fact] = list(whole_run(self.runs, 0.0, run_at=now))
        elif kind not in self.standing:
            self.raised += 1
            self.standing[kind] = 0
            facts = [AlertRaised(now, kind, Severity.URGENT, f"{kind}\nalert {self.raised}")]
        elif what < 0.7:
            self.standing[kind] += 1
            facts = [AlertReminded(now, kind, f"{kind}\nstill", self.standing[kind])]
        else:
            self.resolved += 1
            del self.standing[kind]
            facts = [AlertResolved(now, kind)]
        self.store.write(facts)

    def trouble(self) -> None:
        match self.chance.choice(self.troubles):
            case "killed":
                self.broker.kill()
                threading.Event().wait(self.chance.uniform(0.0, 3.0))
                assert self.broker.start()
                self.counts["killed"] += 1
            case "stopped":
                self.broker.stop()
                threading.Event().wait(self.chance.uniform(0.0, 3.0))
                assert self.broker.start()
                self.counts["stopped"] += 1
            case "dropped":
                self.port.drop()
                threading.Timer(self.chance.uniform(0.2, 4.0), self.port.open).start()
                self.counts["dropped"] += 1
            case _:
                self.process.kill()
                self.process.wait(timeout=10)
                self.process = self._start()
                self.counts["notifier killed"] += 1

    def settle(self) -> None:
        """Until everything was told, and the reader has what the broker kept for it.

        However long the reader takes to come back, a last message comes to it after all others.
        """
        with Reader(self.folder / "terrace.db") as reader:
            name = reader.name
            last = max(message.number for message in reader.after(0, 1_000_000))
        deliveries = Deliveries(self.folder / "terrace.notify.db", "mqtt")
        end_s = time.monotonic() + SETTLE_S
        while (deliveries.place(name) or 0) < last:
            assert time.monotonic() < end_s, f"told up to {deliveries.place(name)} of {last}"
            threading.Event().wait(0.1)
        publish.single(
            f"waaler/terrace/{END}",
            qos=1,
            hostname="127.0.0.1",
            port=self.broker.port,
            protocol=MQTTProtocolVersion.MQTTv5,
        )
        assert self.reader.heard.has_ended.wait(SETTLE_S)
        self.parked = deliveries.parked()
        deliveries.close()

    def verdict(self) -> list[str]:
        """What went wrong."""
        heard = self.reader.heard
        numbers = [int(alert.rpartition("-")[2]) for alert, _ in heard.alerts]
        firsts = list(dict.fromkeys(numbers))
        wrong = []
        if set(heard.runs) != set(range(1, self.runs + 1)):
            wrong.append(f"runs missing: {sorted(set(range(1, self.runs + 1)) - set(heard.runs))}")
        if heard.runs != sorted(heard.runs):
            wrong.append("runs out of order")
        if set(firsts) != set(range(1, self.raised + 1)):
            wrong.append(f"alerts missing or invented: {set(firsts) ^ set(range(1, self.raised + 1))}")
        if firsts != sorted(firsts):
            wrong.append(f"alerts out of order: {firsts}")
        if sum(heard.over.values()) < self.resolved:
            wrong.append(f"{self.resolved} resolved, {sum(heard.over.values())} heard")
        if self.parked:
            wrong.append(f"parked: {self.parked}")
        return wrong

    def _start(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-c", PROCESS, str(self.folder), str(self.port.number)]
        return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def play(
    folder: Path, seconds: float, seed: int, troubles: tuple[str, ...] = TROUBLES
) -> tuple[Campaign, list[str]]:
    """One campaign and what went wrong in it."""
    with ExitStack() as stack:
        campaign = Campaign(folder, seed, stack, troubles)
        campaign.go_on(seconds)
        campaign.settle()
        return campaign, campaign.verdict()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        campaign, wrong = play(Path(folder), 60 * asked.minutes, asked.seed)
    heard = campaign.reader.heard
    print(
        f"{asked.minutes:g} min, seed {asked.seed}: "
        + ", ".join(f"{n} x {what}" for what, n in campaign.counts.items())
    )
    print(f"runs      {campaign.runs} written, {len(heard.runs)} heard")
    alerts = len({alert for alert, _ in heard.alerts})
    print(f"alerts    {campaign.raised} raised, {alerts} heard; {campaign.resolved} resolved")
    print(f"repeats   {heard.repeats}")
    print("\n".join(wrong) if wrong else "every one arrived, first in order, none invented")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
