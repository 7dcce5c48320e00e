"""How soon the relay goes off once an input is bad: the guard's thread beside a bare loop, under the same load.

    python -m tests.bench.reaction --trials 1000

Both poll every 20 ms and act once the input has been bad for `confirm`. The load is what a daemon may have to do at
the worst moment, again and again in other threads: parse a megabyte of JSON, read a bed's file, vacuum a database.
"""

import argparse
import json
import random
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import quantiles

from tests.bench.machine import machine
from tests.bench.table import Row

from waaler.devices.bench import Bench
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import Ask, Contact, Input, Level, Purse
from waaler.keeper.clock import Clock
from waaler.keeper.guard_thread import POLL_ON_S, GuardThread
from waaler.settings import parse

CONFIRM_S = 0.1
EXAMPLE = Path(__file__).parents[2] / "config" / "bed.yaml"
LIMITS = Limits(
    has_tray_float=False,
    rest_s=0.0,
    settle_sump_s=0.0,
    settle_tray_s=0.0,
    run_back_s=0.0,
    start_delay_s=0.0,
    confirm_s=CONFIRM_S,
    most_starts_per_h=10**6,
    most_per_day_s=86_400.0,
)


class Line:
    """A relay and a float on no hardware. off_s: when the relay last went off."""

    def __init__(self) -> None:
        self.level = Level.GOOD
        self.is_on = False
        self.off_s = 0.0
        self.went_off = threading.Event()

    def on(self) -> None:
        self.is_on = True

    def off(self) -> None:
        if self.is_on:
            self.off_s = time.monotonic()
            self.is_on = False
            self.went_off.set()

    def alone(self, contact: Contact) -> None:
        raise NotImplementedError(contact)

    def close(self) -> None:
        self.off()


class Guarded:
    """The guard's thread on a line."""

    def __init__(self, line: Line) -> None:
        self._line, self._clock = line, Clock(is_trusted=True)
        bench = Bench(line, {Input.SUMP_LOW: lambda: line.level}, {}, line.close)
        limits = LIMITS
        self._thread = GuardThread(
            bench, limits, Memory(), self._clock, lambda _at, _action: None, lambda: None, lambda problem: None
        )
        self._thread.start()

    def start(self) -> None:
        while not self._line.is_on:
            self._thread.inbox.put(Ask(1, 60.0, Purse.PLAN, self._clock.now().long_s + 5))
            time.sleep(0.03)

    def end(self) -> None:
        self._thread.stop()
        self._thread.join()


class Bare:
    """A loop that does nothing else."""

    def __init__(self, line: Line) -> None:
        self._line, self._must_end = line, False
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def start(self) -> None:
        self._line.on()

    def end(self) -> None:
        self._must_end = True
        self._thread.join()

    def _run(self) -> None:
        bad_since_s = None
        while not self._must_end:
            if self._line.level is Level.GOOD:
                bad_since_s = None
            elif bad_since_s is None:
                bad_since_s = time.monotonic()
            elif time.monotonic() >= bad_since_s + CONFIRM_S:
                self._line.off()
            time.sleep(POLL_ON_S)


def late_s(make: Callable[[Line], Guarded | Bare], trials: int) -> list[float]:
    """For each trial, from the input's turning bad past `confirm` to the relay off, seconds."""
    line, found, chance = Line(), [], random.Random(1)
    subject = make(line)
    for _ in range(trials):
        subject.start()
        line.went_off.clear()
        time.sleep(chance.uniform(0.0, 2 * POLL_ON_S))
        line.level = Level.BAD
        bad_s = time.monotonic()
        line.went_off.wait(timeout=10)
        found.append(line.off_s - bad_s - CONFIRM_S)
        line.level = Level.GOOD
        time.sleep(2 * POLL_ON_S)
    subject.end()
    return found


@contextmanager
def load() -> Iterator[None]:
    """The worst that the rest of the daemon does, without a pause."""
    end = threading.Event()
    message = json.dumps([{"name": f"probe {n}", "value": n / 7} for n in range(30_000)])
    text = EXAMPLE.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        jobs = (
            lambda: json.loads(message),
            lambda: parse(text, "bed.yaml"),
            lambda: _vacuum(Path(folder) / "t.db"),
        )
        threads = [threading.Thread(target=_again, args=(job, end)) for job in jobs]
        for thread in threads:
            thread.start()
        try:
            yield
        finally:
            end.set()
            for thread in threads:
                thread.join()


def _again(job: Callable[[], object], end: threading.Event) -> None:
    while not end.wait(0.05):
        job()


def _vacuum(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE IF NOT EXISTS t (a TEXT)")
        db.executemany("INSERT INTO t VALUES (?)", [("x" * 100,)] * 5000)
    db.execute("VACUUM")
    db.execute("DELETE FROM t")
    db.close()


def percentiles_ms(late: list[float]) -> tuple[float, float, float]:
    """p50, p99 and p99.9."""
    cuts = quantiles(late, n=1000, method="inclusive")
    return 1000 * cuts[499], 1000 * cuts[989], 1000 * cuts[998]


def rows(is_quick: bool) -> Iterator[Row]:
    """On mock lines; tests/vm has the same on real ones."""
    trials = 100 if is_quick else 1000
    with load():
        bare, ours = (percentiles_ms(late_s(make, trials)) for make in (Bare, Guarded))
    p99 = ours[1] / bare[1]
    yield Row(
        "bad input to relay off, p99", f"{ours[1]:.0f} ms", f"{bare[1]:.0f} ms", f"{p99:.2f} x", "1.5 x", p99 <= 1.5
    )
    yield Row("  p99.9, under load", f"{ours[2]:.0f} ms", f"{bare[2]:.0f} ms", "", "100 ms", ours[2] <= 100)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=1000)
    trials = parser.parse_args().trials
    print(f"reaction past confirm, {trials} trials each, under load; {machine()}")
    with load():
        for name, make in (("bare loop at 20 ms", Bare), ("guard's thread", Guarded)):
            p50, p99, p999 = percentiles_ms(late_s(make, trials))
            print(f"  {name:24} p50 {p50:6.1f} ms   p99 {p99:6.1f} ms   p99.9 {p999:6.1f} ms")


if __name__ == "__main__":
    main()
