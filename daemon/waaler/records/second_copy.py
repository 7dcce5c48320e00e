"""The second copy of what the guard must not forget: locks and the pump time of the last day.

A small file beside the database, with a checksum, replaced atomically: a power cut leaves the old or the new one.
"""

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from waaler.core.facts import Fact, Outcome, RunIntent, RunResult, RunStarted, TripBegan, TripOver
from waaler.guard.memory import DAY_S
from waaler.guard.messages import Instant, Purse, Trip

__all__ = ["CopiedRun", "SecondCopy"]

FORMAT = 1


@dataclass(frozen=True, slots=True)
class CopiedRun:
    """A run that moved water, or may have. boot: where long_s belongs. seconds: to its deadline until it ended."""

    run_id: int
    purse: Purse
    boot: str
    long_s: float
    wall_s: float
    is_sure: bool
    seconds: float
    has_ended: bool = False


class SecondCopy:
    """A missing or damaged file reads as empty: the database stands beside it."""

    def __init__(self, path: Path, boot: str) -> None:
        self._path, self._boot = path, boot
        self.locks: frozenset[Trip] = frozenset()
        self.runs: dict[int, CopiedRun] = {}
        self.next_run_id = 1
        self._load()

    def note(self, facts: Sequence[Fact]) -> bool:
        """Takes what concerns the guard. Whether it is worth saving: an intent alone is not, its start will be."""
        locks, waters = self.locks, False
        for fact in facts:
            waters = waters or isinstance(fact, RunStarted) or (isinstance(fact, RunResult) and fact.seconds > 0)
            self._note(fact)
        return waters or locks != self.locks

    def save(self, now: Instant) -> None:
        """Raises OSError when the disk does not take it."""
        self._forget_old(now)
        body = {
            "next_run_id": self.next_run_id,
            "locks": sorted(self.locks),
            "runs": [asdict(run) for run in self.runs.values()],
        }
        text = json.dumps({"format": FORMAT, "sum": _sum(body), "body": body})
        new = self._path.with_name(self._path.name + ".new")
        with new.open("w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)
        _sync_folder(self._path.parent)

    def _note(self, fact: Fact) -> None:
        match fact:
            case TripBegan(_, trip, _, True):
                self.locks |= {trip}
            case TripOver(_, trip):
                self.locks -= {trip}
            case RunIntent(run_id, at, purse=purse, seconds=seconds):
                self.next_run_id = max(self.next_run_id, run_id + 1)
                run = CopiedRun(run_id, purse, self._boot, at.long_s, at.wall_s, at.is_sure, seconds)
                self.runs.setdefault(run_id, run)
            case RunStarted(run_id, at, seconds) if run_id in self.runs and not self.runs[run_id].has_ended:
                self.runs[run_id] = replace(
                    self.runs[run_id],
                    boot=self._boot,
                    long_s=at.long_s,
                    wall_s=at.wall_s,
                    is_sure=at.is_sure,
                    seconds=seconds,
                )
            case RunResult(run_id, _, outcome, seconds) if run_id in self.runs:
                is_dry = seconds <= 0 or outcome in {Outcome.REFUSED, Outcome.SKIPPED, Outcome.MISSED}
                if is_dry:
                    del self.runs[run_id]
                else:
                    self.runs[run_id] = replace(self.runs[run_id], seconds=seconds, has_ended=True)

    def _forget_old(self, now: Instant) -> None:
        """Runs of this boot that ended more than a day ago; of another boot, as long as both clocks are sure."""
        self.runs = {run_id: run for run_id, run in self.runs.items() if not self._is_old(run, now)}

    def _is_old(self, run: CopiedRun, now: Instant) -> bool:
        if run.boot == self._boot:
            return now.long_s - run.long_s - run.seconds > DAY_S
        if run.is_sure and now.is_sure:
            return now.wall_s - run.wall_s - run.seconds > DAY_S
        return now.long_s > DAY_S

    def _load(self) -> None:
        try:
            whole = json.loads(self._path.read_text())
            body = whole["body"]
            if whole["format"] != FORMAT or whole["sum"] != _sum(body):
                return
            locks = frozenset(Trip(lock) for lock in body["locks"])
            runs = [CopiedRun(**{**run, "purse": Purse(run["purse"])}) for run in body["runs"]]
        except (OSError, ValueError, KeyError, TypeError):
            return
        self.locks = locks
        self.runs = {run.run_id: run for run in runs}
        self.next_run_id = int(body["next_run_id"])


def _sum(body: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()


def _sync_folder(folder: Path) -> None:
    """The new name itself must reach the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
