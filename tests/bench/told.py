"""From the guard's trip to whoever listens at the broker, through a whole daemon: python -m tests.bench.told [--quick]

Guard, keeper and notifier are the processes that keep a bed, on a simulated one whose tray float is lifted by hand. A
trip's instant is the guard's own. Beside it, the broker's own delay: a second before each trip another client publishes
a message of the size of an alert to the same broker and reader. What the three processes cost while nothing happens is
measured before the first trip.
"""

import json
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from paho.mqtt.client import Client
from tests.bench.fleet import GOAL, connected, quantiles
from tests.bench.footprint import keeper_of
from tests.bench.machine import machine
from tests.bench.table import Row, lines, ratio
from tests.notify.mosquitto import Mosquitto

from waaler.devices.clock import long_s
from waaler.notify.asking import ask

__all__ = ["rows"]

WAIT_S = 30.0
PAUSE_S = 0.7
"""Before the next message: the connections are at rest, and no acknowledgement is held back for a write to come."""

LIKE_AN_ALERT = b"-" * 600
ALERT = "waaler/terrace/alert/tray-high"
BARE = "waaler/bare/alert/tray-high"
BED = """\
bed: terrace
place: {{timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}}
clock: trusted
not_commissioned: accepted
plan:
  - {{window: early, cycles: 4, between: ["05:30", "20:30"], water: 2 min}}
sensing:
  probes:
    - {{name: pot_1, channel: 0, calibration: {{dry: 820, wet: 380}}}}
    - {{name: pot_2, channel: 1, calibration: {{dry: 820, wet: 380}}}}
mqtt: {{host: 127.0.0.1, port: {port}}}
"""
KEEPER = """\
import json, socket, sys, threading
from dataclasses import replace
from pathlib import Path
from waaler.cli.keep import _without
with _without("rich"):
    import structlog
from waaler.guard.messages import Input, Tripped
from waaler.devices import simulated
from waaler.keeper import daemon, opening
from waaler.keeper.logs import log_to

file, address = Path(sys.argv[1]), sys.argv[2]
beds, outside = [], socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)

class Bed(simulated.SimulatedBed):
    def __init__(self, *given, **named):
        super().__init__(*given, **named)
        beds.append(self)

def in_force(*given):
    settings, problem = whole(*given)
    return replace(settings, limits=replace(settings.limits, settle_tray_s=0.2, run_back_s=0.2)), problem

def heard(self, at, message):
    if isinstance(message, Tripped):
        outside.sendto(json.dumps(at.long_s).encode(), address)
    hear(self, at, message)

def obey():
    inbox = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    inbox.bind(address + ".hands")
    while word := inbox.recv(10):
        beds[0].hands.held[Input.TRAY_HIGH] = word == b"lift"

opening.SimulatedBed = Bed
whole, daemon.in_force = daemon.in_force, in_force
hear, daemon._Daemon._heard_guard = daemon._Daemon._heard_guard, heard
threading.Thread(target=obey, daemon=True).start()
lines = log_to("json")
status = daemon.keep(file, is_simulated=True)
lines.end(1.0)
sys.exit(status)
"""
"""The keeper as it is, but for hands from outside, word of each trip's instant, and a tray that settles at once."""


class Reader:
    """Keeps the instant of each message, by its topic."""

    def __init__(self, port: int) -> None:
        self.came: SimpleQueue[tuple[str, float, bytes]] = SimpleQueue()
        self.client = connected("reader", port, self._got)
        self._publisher = connected("bare", port)

    def _got(self, _: Client, __: Any, message: Any) -> None:
        self.came.put((message.topic, long_s(), bytes(message.payload)))

    def next(self, topic: str, is_empty: bool = False) -> tuple[float, bytes]:
        """When it came, and what."""
        while True:
            found, at_s, payload = self.came.get(timeout=WAIT_S)
            if found == topic and bool(payload) is not is_empty:
                return at_s, payload

    def bare_s(self, payload: bytes) -> float:
        """The broker's own delay for such a message."""
        begin_s = long_s()
        self._publisher.publish(BARE, payload, qos=1, retain=True)
        return self.next(BARE)[0] - begin_s

    def close(self) -> None:
        self.client.loop_stop()
        self._publisher.loop_stop()


class Kept:
    """The bed and its three processes."""

    def __init__(self, folder: Path, port: int, stack: ExitStack) -> None:
        file, self._address = folder / "terrace.yaml", str(folder / "trips")
        file.write_text(BED.format(port=port))
        run, state = folder / "run", folder / "state"
        for one in (run, state):
            one.mkdir()
        self._control = run / "terrace.sock"
        self._inbox = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._inbox.bind(self._address)
        self._inbox.settimeout(WAIT_S)
        stack.callback(self._inbox.close)
        guard = [sys.executable, "-P", "-m", "waaler.guard_process", "terrace", str(run), str(state), "--simulated"]
        keeper = [sys.executable, "-c", KEEPER, str(file), self._address]
        environment = {**os.environ, "RUNTIME_DIRECTORY": str(run), "STATE_DIRECTORY": str(state)}
        for name in ("INVOCATION_ID", "NOTIFY_SOCKET"):
            environment.pop(name, None)
        with (folder / "log").open("wb") as log:
            self.guard = subprocess.Popen([*guard, "--", *keeper], env=environment, stdout=log, stderr=log)
        stack.callback(self._end)

    @property
    def processes(self) -> tuple[int, int, int]:
        """Guard, keeper and notifier."""
        keeper = keeper_of(self.guard.pid)
        return self.guard.pid, keeper, keeper_of(keeper)

    def status(self) -> dict[str, Any]:
        return ask(self._control, {"do": "status"})

    def trip_s(self) -> float:
        """Lifts the tray's float; the instant at which the guard trips."""
        self._hand(b"lift")
        told: float = json.loads(self._inbox.recv(100))
        return told

    def let_go(self) -> None:
        self._hand(b"drop")

    def _hand(self, word: bytes) -> None:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as hand:
            hand.sendto(word, f"{self._address}.hands")

    def _end(self) -> None:
        self.guard.terminate()
        self.guard.wait(WAIT_S)


def measure(trips: int, idle_s: float) -> tuple[list[float], list[float], list[float]]:
    """The delays of trips, those of the broker alone, and what guard, keeper and notifier take of a core."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(dir="/var/tmp", prefix="waaler-told-")))
        broker = Mosquitto(folder)
        stack.callback(broker.kill)
        reader = Reader(broker.port)
        stack.callback(reader.close)
        kept = Kept(folder, broker.port, stack)
        reader.next("waaler/terrace/status")
        threading.Event().wait(5.0)
        spent = shares(idle_s, kept.processes)
        delays, bare = [], []
        for _ in range(trips):
            bare.append(reader.bare_s(LIKE_AN_ALERT))
            threading.Event().wait(PAUSE_S)
            begin_s = kept.trip_s()
            came_s, _ = reader.next(ALERT)
            delays.append(came_s - begin_s)
            kept.let_go()
            reader.next(ALERT, is_empty=True)
            threading.Event().wait(PAUSE_S)
        return delays, bare, spent


def shares(seconds: float, processes: tuple[int, ...]) -> list[float]:
    """Of a core, each process's over so many seconds."""
    began, begin_s = [cpu_s(process) for process in processes], time.monotonic()
    threading.Event().wait(seconds)
    passed_s = time.monotonic() - begin_s
    return [(cpu_s(process) - before) / passed_s for process, before in zip(processes, began, strict=True)]


def cpu_s(process: int) -> float:
    """Of all its threads, to the nanosecond: what an idle process takes is less than a tick of the clock."""
    tasks = Path(f"/proc/{process}/task").glob("*/schedstat")
    return sum(int(task.read_text().split()[0]) for task in tasks) / 1e9


def rows(is_quick: bool) -> Iterator[Row]:
    """For the table of all benchmarks."""
    try:
        delays, bare, spent = measure(15 if is_quick else 100, 30.0 if is_quick else 180.0)
    except Empty:
        yield Row("trip of a daemon to reader", "not heard")
        return
    for name, ours_s, bare_s in zip(("p50", "p99"), quantiles(delays), quantiles(bare), strict=True):
        yield Row(
            f"trip of a daemon to reader, {name}", f"{1000 * ours_s:.1f} ms", f"{1000 * bare_s:.1f} ms",
            ratio(ours_s, bare_s), f"{GOAL:g} x", ours_s <= GOAL * bare_s,
        )  # fmt: skip
    for name, part in zip(("guard", "keeper", "notifier"), spent, strict=True):
        yield Row(f"  idle CPU of the {name}", f"{100 * part:.2f} %")


if __name__ == "__main__":
    print(machine())
    print("\n".join(lines(rows("--quick" in sys.argv[1:]))))
