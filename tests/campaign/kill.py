"""Kills the daemon again and again and holds its records to the truth: python -m tests.campaign.kill --times 200

The truth is what the relay itself told to a pipe, not the database. After every kill and start: each time the relay
went on is accounted for by a run in the records, and the pump time of the last 24 h is never lower than the truth.
"""

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.keeper.process import FILE, Daemon

__all__ = ["Report", "campaign"]

LONGEST_RUN_S = 4.0


@dataclass
class Report:
    """kills_on: of the kills, how many hit while the relay was on. wrongs: what must not be."""

    kills: int = 0
    kills_on: int = 0
    runs: int = 0
    wrongs: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        lines = [
            f"{self.kills} kills, {self.kills_on} of them with the relay on; {self.runs} runs by the relay's trace;"
        ]
        lines.append(f"{len(self.wrongs)} wrong" + "".join(f"\n  {wrong}" for wrong in self.wrongs))
        return "\n".join(lines)


class Truth:
    """What the relay told, as spans of the boot clock; a span without an end was ended by a kill."""

    def __init__(self) -> None:
        self.pipe, self.told_by = os.pipe()
        os.set_blocking(self.pipe, False)
        self.spans: list[list[float]] = []
        self._text = ""

    def read(self) -> None:
        try:
            self._text += os.read(self.pipe, 65_536).decode()
        except BlockingIOError:
            return
        *lines, self._text = self._text.split("\n")
        for line in lines:
            what, at_s = line.split()
            if what == "on":
                self.spans.append([float(at_s), float("nan")])
            else:
                self.spans[-1][1] = float(at_s)

    def killed(self, at_s: float) -> bool:
        """The process is gone; whether its relay was on. What it was on until then counts."""
        self.read()
        is_on = bool(self.spans) and self.spans[-1][1] != self.spans[-1][1]
        if is_on:
            self.spans[-1][1] = at_s
        return is_on

    def seconds(self) -> float:
        return sum(end_s - start_s for start_s, end_s in self.spans)


def campaign(times: int, seed: int, folder: Path) -> Report:
    chance, report, truth = random.Random(seed), Report(), Truth()
    daemon = Daemon(folder)
    daemon.file.write_text(
        FILE.replace("limits: {", "limits: {most_starts: 20, longest_run: 10 s, most_per_day: 24 h, ")
    )
    for number in range(times):
        daemon.start("--relay-trace", str(truth.told_by), pass_fds=(truth.told_by,))
        _check(daemon, truth, report, number)
        _water_and_kill(daemon, truth, report, chance)
    daemon.start("--relay-trace", str(truth.told_by), pass_fds=(truth.told_by,))
    _check(daemon, truth, report, times)
    daemon.end()
    report.runs = len(truth.spans)
    return report


def _water_and_kill(daemon: Daemon, truth: Truth, report: Report, chance: random.Random) -> None:
    """Asks for runs until a random moment, then kills."""
    first_s = 6.0 if truth.spans else 12.0  # a bed that never ran rests from its first start
    end_s = time.monotonic() + (
        chance.uniform(0.0, 6.0) if chance.random() < 0.2 else first_s + chance.uniform(0.0, 4.0)
    )
    while time.monotonic() < end_s:
        daemon.order(do="water", seconds=chance.uniform(0.5, LONGEST_RUN_S))
        truth.read()
        left_s = end_s - time.monotonic()
        time.sleep(max(0.0, min(left_s, chance.uniform(0.01, 0.4))))
    daemon.end(signal.SIGKILL)
    report.kills += 1
    report.kills_on += truth.killed(time.clock_gettime(time.CLOCK_BOOTTIME))


def _check(daemon: Daemon, truth: Truth, report: Report, number: int) -> None:
    status: dict[str, Any] = daemon.status()
    if status["pump_seconds_24h"] + 0.06 < truth.seconds():
        report.wrongs.append(
            f"after kill {number}: {status['pump_seconds_24h']} s counted, {truth.seconds():.2f} s true"
        )
    watered = [run for run in daemon.history() if run["ran_seconds"] > 0]
    if len(watered) < len(truth.spans):
        report.wrongs.append(f"after kill {number}: {len(watered)} runs recorded, {len(truth.spans)} true")
    unended = [run["run"] for run in watered if run["outcome"] is None]
    if unended:
        report.wrongs.append(f"after kill {number}: runs {unended} have no end")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report = campaign(arguments.times, arguments.seed, Path(folder))
    print(report)
    return 1 if report.wrongs else 0


if __name__ == "__main__":
    sys.exit(main())
