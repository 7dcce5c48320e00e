"""How soon the relay goes off once an input is bad: the guard's loop beside a bare one, under the same load.

    python -m tests.bench.reaction --trials 1000

Both poll every 20 ms and act once the input has been bad for `confirm`. The load is what the keeper may have to do at the
worst moment, again and again, in a process of its own as in the daemon: parse a megabyte of JSON, read a bed's file, vacuum
a database.
"""

import argparse
import json
import multiprocessing
import random
import select
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from statistics import quantiles

from tests.bench.machine import machine
from tests.bench.table import Row

from waaler.devices.clock import Clock, long_s
from waaler.devices.pump_lines import PumpLines
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import Ask, Contact, Input, Level, Purse
from waaler.guard.state import begin
from waaler.guard_process.pump import POLL_ON_S, Pump
from waaler.settings import parse

CONFIRM_S = 0.1
FAR_S = 1e15
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
    """A relay and a float on no hardware: the float reads bad from bad_s on. off_s: when the relay last went off."""

    def __init__(self) -> None:
        self.bad_s, self.off_s = FAR_S, 0.0
        self.is_on = False

    def level(self) -> Level:
        return Level.GOOD if long_s() < self.bad_s else Level.BAD

    def on(self) -> None:
        self.is_on = True

    def off(self) -> None:
        if self.is_on:
            self.off_s = long_s()
            self.is_on = False

    def alone(self, contact: Contact) -> None:
        raise AssertionError(f"there is one relay, not {contact}")

    def close(self) -> None:
        self.off()


class Guarded:
    """The guard's machine on a line, turned over as its process does."""

    def __init__(self, line: Line) -> None:
        clock = Clock(is_trusted=True)
        lines = PumpLines(line, {Input.SUMP_LOW: line.level}, line.close)
        self._pump = Pump(lines, begin(LIMITS, Memory(), clock.now().long_s), clock, lambda _at, _action: None)
        self._line = line

    def start(self) -> None:
        while not self._line.is_on:
            self.turn()
            pump = self._pump
            pump.state = replace(pump.state, spans=(), ran=())  # the day of a bench is not the subject
            pump.tell(Ask(pump.state.last_run_id + 1, 60.0, Purse.PLAN, long_s() + 5))

    def turn(self) -> None:
        select.select([], [], [], max(0.0, self._pump.due_s - long_s()))
        self._pump.look()


class Bare:
    """A loop that does nothing else."""

    def __init__(self, line: Line) -> None:
        self._line = line
        self._bad_since_s: float | None = None

    def start(self) -> None:
        self._line.on()

    def turn(self) -> None:
        select.select([], [], [], POLL_ON_S)
        if self._line.level() is Level.GOOD:
            self._bad_since_s = None
        elif self._bad_since_s is None:
            self._bad_since_s = long_s()
        elif long_s() >= self._bad_since_s + CONFIRM_S:
            self._line.off()


def late_s(make: Callable[[Line], Guarded | Bare], trials: int) -> list[float]:
    """For each trial, from the input's turning bad past `confirm` to the relay off, seconds."""
    line, found, chance = Line(), [], random.Random(1)
    subject = make(line)
    for _ in range(trials):
        line.bad_s = FAR_S
        subject.start()
        line.bad_s = long_s() + chance.uniform(0.0, 2 * POLL_ON_S)
        while line.is_on:
            subject.turn()
        found.append(line.off_s - line.bad_s - CONFIRM_S)
        line.bad_s = FAR_S
        subject.turn()
        subject.turn()
    return found


@contextmanager
def load() -> Iterator[None]:
    """The worst that the rest of the daemon does, without a pause, in another process."""
    context = multiprocessing.get_context("spawn")
    begun = context.Event()
    process = context.Process(target=_work, args=(begun,), daemon=True)
    process.start()
    begun.wait(30)
    try:
        yield
    finally:
        process.terminate()
        process.join()


def _work(begun: "multiprocessing.synchronize.Event") -> None:
    message = json.dumps([{"name": f"probe {n}", "value": n / 7} for n in range(30_000)])
    text = EXAMPLE.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        jobs = (
            lambda: json.loads(message),
            lambda: parse(text, "bed.yaml"),
            lambda: _vacuum(Path(folder) / "t.db"),
        )
        threads = [threading.Thread(target=_again, args=(job,), daemon=True) for job in jobs]
        for thread in threads:
            thread.start()
        begun.set()
        for thread in threads:
            thread.join()


def _again(job: Callable[[], object]) -> None:
    while True:
        job()
        time.sleep(0.05)


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
        "bad input to relay off, p99", f"{ours[1]:.0f} ms", f"{bare[1]:.0f} ms", f"{p99:.2f} x", "1.1 x", p99 <= 1.1
    )
    yield Row("  p99.9, under load", f"{ours[2]:.0f} ms", f"{bare[2]:.0f} ms", "", "60 ms", ours[2] <= 60)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=1000)
    trials = parser.parse_args().trials
    print(f"reaction past confirm, {trials} trials each, under load; {machine()}")
    with load():
        for name, make in (("bare loop at 20 ms", Bare), ("the guard's loop", Guarded)):
            p50, p99, p999 = percentiles_ms(late_s(make, trials))
            print(f"  {name:24} p50 {p50:6.1f} ms   p99 {p99:6.1f} ms   p99.9 {p999:6.1f} ms")


if __name__ == "__main__":
    main()
