"""Kills, stops and starves guard and keeper: python -m tests.campaign.kill --times 40

Both are real processes on the simulated bed. The truth is what the relay itself told to a pipe, not the database. After
every blow: no span is longer than it was granted, unless the guard itself stood still, and then it has locked; the pump
time of the last 24 h is never below the truth; the history holds every span; run ids never repeat; nobody is left behind.
"""

import argparse
import fcntl
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.keeper.process import FILE, Daemon, until

__all__ = ["BLOWS", "Report", "campaign"]

LONGEST_RUN_S = 4.0
GRANTED_WITHIN_S = 100.0
"""A guard that lost all it knew lets both floats settle first, and anew after each start meanwhile."""

LATE_S = 0.2
LOCKS_AFTER_S = 2.0 + 3 * LATE_S
"""A run found this long past its deadline locks. Source: S1, and what a signal takes."""

F_SETPIPE_SZ = 1031
STATE_BYTES = 4_000_000
ON_THE_WAY_S = 25.0


@dataclass
class Report:
    """kills_on: of the blows, how many fell while the relay was on. wrongs: what must not be."""

    blows: Counter[str] = field(default_factory=Counter)
    blows_on: int = 0
    runs: int = 0
    locks: int = 0
    wrongs: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        kinds = ", ".join(f"{name} {count}" for name, count in sorted(self.blows.items()))
        return "\n".join(
            [
                f"{self.blows.total()} blows, {self.blows_on} of them with the relay on: {kinds};",
                f"{self.runs} runs by the relay's trace, {self.locks} locks after a guard that stood still;",
                f"{len(self.wrongs)} wrong" + "".join(f"\n  {wrong}" for wrong in self.wrongs),
            ]
        )


@dataclass
class Span:
    """What the relay told. granted_s None: nobody knows what was granted. was_stopped: the guard stood still in it."""

    on_s: float
    off_s: float | None = None
    granted_s: float | None = None
    was_stopped: bool = False

    @property
    def seconds(self) -> float:
        return (now_s() if self.off_s is None else self.off_s) - self.on_s


def now_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Truth:
    """What the relay told, as spans of the boot clock; a span without an end was ended by a kill."""

    def __init__(self) -> None:
        self.pipe, self.told_by = os.pipe()
        os.set_blocking(self.pipe, False)
        self.spans: list[Span] = []
        self._text = ""

    def read(self) -> list[Span]:
        with suppress(BlockingIOError):
            self._text += os.read(self.pipe, 65_536).decode()
        *lines, self._text = self._text.split("\n")
        for line in lines:
            what, at_s = line.split()
            if what == "on":
                self.spans.append(Span(float(at_s)))
            else:
                self.spans[-1].off_s = float(at_s)
        return self.spans

    @property
    def is_on(self) -> bool:
        spans = self.read()
        return bool(spans) and spans[-1].off_s is None

    def killed(self, at_s: float) -> None:
        """The guard is gone. What the relay was on until then counts."""
        if self.is_on:
            self.spans[-1].off_s = at_s


class Ring:
    """One bed, and whoever strikes at it."""

    def __init__(self, folder: Path, chance: random.Random) -> None:
        self.daemon, self.chance, self.truth, self.report = Daemon(folder), chance, Truth(), Report()
        self.daemon.file.write_text(
            FILE.replace(
                "limits: {",
                "limits: {most_starts: 20, longest_run: 10 s, most_per_day: 24 h, settle_sump: 60 s, settle_tray: 60 s,"
                " run_back: 60 s, ",
            )
        )
        self.known: dict[int, str] = {}
        self.is_unread = False

    # --- the bed -----------------------------------------------------------------------------

    @property
    def guard(self) -> int:
        assert self.daemon.process is not None
        return self.daemon.process.pid

    @property
    def keeper(self) -> int:
        found = until(lambda: self.daemon.keeper, "a keeper", 60.0)
        assert isinstance(found, int)
        return found

    @property
    def state(self) -> Path:
        return self.daemon.folder / "state" / "waaler" / "terrace"

    def start(self) -> None:
        """Now and then with an error stream that nobody reads."""
        options = ("--relay-trace", str(self.truth.told_by))
        self.is_unread = self.chance.random() < 0.3
        if not self.is_unread:
            self.daemon.start(*options, pass_fds=(self.truth.told_by,))
            return
        reader, writer = os.pipe()
        fcntl.fcntl(writer, F_SETPIPE_SZ, 4096)
        command = self.daemon._command("run", "--simulated", "--log", "json", *options)
        self.daemon.process = subprocess.Popen(
            command, env=self.daemon.environment, stderr=writer, cwd=self.daemon.folder,
            pass_fds=(self.truth.told_by,),
        )  # fmt: skip
        os.close(writer)
        until(self.daemon.answers, "the first answer with nobody reading its log", 60.0)
        self._reader = reader

    def end(self, number: signal.Signals = signal.SIGKILL) -> None:
        """Nobody may be left behind."""
        guard, keeper = self.guard, self.daemon.keeper
        os.kill(guard, number)
        assert self.daemon.process is not None
        self.daemon.process.wait(timeout=20)
        self.truth.killed(now_s())
        for pid in (guard, keeper):
            try:
                until(lambda pid=pid: pid is None or not _lives(pid), f"the end of process {pid}", 15.0)  # type: ignore[misc]
            except AssertionError as problem:
                self.report.wrongs.append(str(problem))

    def water(self) -> None:
        """A run by hand, once the rest is over; a bed that is locked waits for a person, who is here."""
        seconds = round(self.chance.uniform(1.0, LONGEST_RUN_S), 2)
        end_s = time.monotonic() + GRANTED_WITHIN_S
        while time.monotonic() < end_s:
            before = len(self.truth.read())
            answer = self._order(do="water", seconds=seconds)
            if answer.get("ok"):
                until(lambda before=before: len(self.truth.read()) > before, "the relay", 5.0)  # type: ignore[misc]
                self.truth.spans[-1].granted_s = seconds
                return
            if "locked" in str(answer.get("text")):
                self._order(do="clear")
            time.sleep(0.2)
        self.report.wrongs.append(f"no run was granted in {GRANTED_WITHIN_S:.0f} s: {answer.get('text')}")

    def _order(self, **order: Any) -> dict[str, Any]:
        try:
            return self.daemon.order(**order)
        except (OSError, ValueError):
            return {}

    def history(self) -> list[dict[str, Any]]:
        return sorted(self.daemon.history(), key=lambda run: int(run["run"]))

    # --- judging -----------------------------------------------------------------------------

    def check(self, after: str) -> None:
        until(lambda: not self.truth.is_on, "the relay's end", 30.0)
        self._check_spans(after)
        status = until(lambda: self._order(do="status") or None, "a status", 60.0)
        true_s = sum(span.seconds for span in self.truth.spans)
        if status["pump_seconds_24h"] + 0.1 < true_s:
            self._wrong(f"after {after}: {status['pump_seconds_24h']} s counted, {true_s:.2f} s true")
        try:
            until(lambda: not self._missing(), "the history", ON_THE_WAY_S)
        except AssertionError:
            self._wrong(f"after {after}: not in the history: {self._missing()}")
        for run in self.history():
            if self.known.setdefault(run["run"], run["decided"]) != run["decided"]:
                self._wrong(f"after {after}: run {run['run']} is another run now")

    def _check_spans(self, after: str) -> None:
        """Each is told of once."""
        for span in self.truth.spans:
            over_s = span.seconds - (LONGEST_RUN_S if span.granted_s is None else span.granted_s)
            if over_s <= LATE_S:
                continue
            if not span.was_stopped:
                self._wrong(f"after {after}: on for {span.seconds:.2f} s of {span.granted_s} granted")
            elif over_s > LOCKS_AFTER_S:
                self.report.locks += 1
                if self._order(do="status").get("state") != "locked":
                    self._wrong(f"after {after}: on for {span.seconds:.2f} s of {span.granted_s}, and no lock")
            span.granted_s = span.seconds

    def _missing(self) -> list[str]:
        """Spans without a row of theirs, in the order of both. An interrupted run counts to its deadline."""
        rows, missing = iter(self.history()), []
        for span in self.truth.read():
            row = next((row for row in rows if self._is_of(row, span)), None)
            if row is None:
                missing.append(f"{span.seconds:.2f} s")
                rows = iter(())
        return missing

    def _is_of(self, row: dict[str, Any], span: Span) -> bool:
        most_s = span.seconds
        if row["outcome"] == "interrupted":
            most_s = max(most_s, LONGEST_RUN_S)
        return row["outcome"] is not None and span.seconds - LATE_S <= row["ran_seconds"] <= most_s + LATE_S

    def _wrong(self, what: str) -> None:
        self.report.wrongs.append(what)


# --- blows ----------------------------------------------------------------------------------------


def kill_the_guard(ring: Ring) -> None:
    ring.end()
    ring.start()


def kill_the_keeper(ring: Ring) -> None:
    keeper = ring.keeper
    os.kill(keeper, signal.SIGKILL)
    until(lambda: not ring.truth.is_on, "the relay's end without a keeper", 20.0)
    until(lambda: ring.daemon.keeper not in (None, keeper) and ring._order(do="status"), "another keeper", 90.0)


def kill_both(ring: Ring) -> None:
    keeper = ring.keeper
    with suppress(ProcessLookupError):
        os.kill(keeper, signal.SIGKILL)
    ring.end()
    ring.start()


def end_in_order(ring: Ring) -> None:
    ring.end(signal.SIGTERM)
    ring.start()


def stop_the_keeper(ring: Ring) -> None:
    keeper = ring.keeper
    os.kill(keeper, signal.SIGSTOP)
    time.sleep(ring.chance.uniform(0.5, 6.0))
    with suppress(ProcessLookupError):
        os.kill(keeper, signal.SIGCONT)


def stop_the_guard(ring: Ring) -> None:
    os.kill(ring.guard, signal.SIGSTOP)
    if ring.truth.is_on:
        ring.truth.spans[-1].was_stopped = True
    time.sleep(ring.chance.uniform(0.5, 9.0))
    os.kill(ring.guard, signal.SIGCONT)


@contextmanager
def held(ring: Ring) -> Iterator[None]:
    with closing(sqlite3.connect(ring.state / "terrace.db", isolation_level=None, timeout=10.0)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield


def hold_the_database(ring: Ring) -> None:
    with held(ring):
        until(lambda: not ring.truth.is_on, "the relay's end with the database held", 20.0)
        ring.water()
        time.sleep(ring.chance.uniform(0.5, 3.0))


def start_beside_a_held_database(ring: Ring) -> None:
    ring.end()
    with held(ring):
        ring.start()
        ring.water()
        until(lambda: not ring.truth.is_on, "the relay's end with the database held", 20.0)
    ring.end(signal.SIGTERM)
    ring.start()


def take_file_handles_away(ring: Ring) -> None:
    """From both: all that they have not open yet."""
    before = {}
    for pid in (ring.guard, ring.keeper):
        used = {int(name) for name in os.listdir(f"/proc/{pid}/fd")}
        before[pid] = resource.prlimit(pid, resource.RLIMIT_NOFILE)
        least = next(n for n in range(4096) if n not in used)
        resource.prlimit(pid, resource.RLIMIT_NOFILE, (least, before[pid][1]))
    time.sleep(ring.chance.uniform(0.5, 4.0))
    ring._order(do="status")
    for pid, limit in before.items():
        with suppress(ProcessLookupError):
            resource.prlimit(pid, resource.RLIMIT_NOFILE, limit)


def damage_the_journal(ring: Ring) -> None:
    """Its last line is cut somewhere, or the whole of it is gone, or a folder stands in its place."""
    ring.end()
    path = ring.state / "terrace.guard"
    what = ring.chance.choice(("torn", "lost", "a folder"))
    if what == "torn":
        data = path.read_bytes()
        last = len(data.splitlines(keepends=True)[-1])
        path.write_bytes(data[: len(data) - ring.chance.randrange(1, last)])
    else:
        path.unlink()
    if what != "a folder":
        ring.start()
        return
    path.mkdir()
    ring.start()
    ring.water()
    until(lambda: not ring.truth.is_on, "the relay's end without a journal", 20.0)
    until(lambda: not ring._missing(), "the history", ON_THE_WAY_S)
    ring.end()
    path.rmdir()
    ring.start()


def fill_the_disk(ring: Ring) -> None:
    """Only where the state has a small disk of its own."""
    if os.statvfs(ring.state).f_blocks * os.statvfs(ring.state).f_frsize > 2 * STATE_BYTES:
        return
    filler = ring.state / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    ring.water() if not ring.truth.is_on else None
    time.sleep(ring.chance.uniform(1.0, 6.0))
    filler.unlink()


BLOWS: tuple[Callable[[Ring], None], ...] = (
    kill_the_guard, kill_the_keeper, kill_both, end_in_order, stop_the_keeper, stop_the_guard, hold_the_database,
    start_beside_a_held_database, take_file_handles_away, damage_the_journal, fill_the_disk,
)  # fmt: skip


def _lives(pid: int) -> bool:
    """A process that has ended and waits to be asked for does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@contextmanager
def small_disk(folder: Path) -> Iterator[None]:
    """The state on a disk of some megabytes, if this user may mount one."""
    state = folder / "state"
    state.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={STATE_BYTES}", "tmpfs", str(state)]
    is_mounted = os.geteuid() == 0 and subprocess.run(words, capture_output=True, check=False).returncode == 0
    try:
        yield
    finally:
        if is_mounted:
            subprocess.run(["umount", "-l", str(state)], check=False)


def campaign(
    times: int, seed: int, folder: Path, blows: tuple[Callable[[Ring], None], ...] = BLOWS,
    progress: Callable[[Ring], object] | None = None,
) -> Report:  # fmt: skip
    """Each blow once, then as chance will have it."""
    chance = random.Random(seed)
    with small_disk(folder):
        ring = Ring(folder, chance)
        ring.start()
        try:
            for number in range(times):
                _strike(ring, blows[number] if number < len(blows) else chance.choice(blows))
                if progress is not None:
                    progress(ring)
        finally:
            ring.end(signal.SIGTERM)
    ring.report.runs = len(ring.truth.spans)
    return ring.report


def _strike(ring: Ring, blow: Callable[[Ring], None]) -> None:
    """Waters, strikes in the midst of it, and looks at what came of it."""
    name = blow.__name__.replace("_", " ")
    ring.water()
    time.sleep(ring.chance.uniform(0.0, 2.5))
    ring.report.blows[name] += 1
    ring.report.blows_on += ring.truth.is_on
    try:
        blow(ring)
        ring.check(name)
    except AssertionError as problem:
        ring.report.wrongs.append(f"{name}: {problem}")
        if not ring.daemon.answers():
            ring.end()
            ring.start()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report = campaign(arguments.times, arguments.seed, Path(folder))
    print(report)
    return 1 if report.wrongs else 0


if __name__ == "__main__":
    sys.exit(main())
