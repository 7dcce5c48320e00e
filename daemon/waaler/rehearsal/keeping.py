"""Keeps a rehearsal's records: in a file of its own, made anew, never the daemon's."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import inf
from pathlib import Path

from waaler.core.facts import Fact
from waaler.core.memory import Memory
from waaler.guard.journal import Found, Health, as_known_now, with_records
from waaler.guard.messages import Instant
from waaler.records.reader import Reader
from waaler.records.rows import RunRow
from waaler.records.store import Sample, Store
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene
from waaler.settings.places import rehearsal_file

__all__ = ["FileKeeping", "play_and_keep"]

FACTS_AT_ONCE = 2000
TEN_S = 600.0


class FileKeeping:
    """The real records, in a file that a power cut of the machine itself may take."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._waiting: list[Fact] = []
        self._samples: list[Sample] = []
        self._tens: dict[str, float] = {}
        self._store = self._new_store()

    def keep(self, facts: Sequence[Fact]) -> None:
        self._waiting.extend(facts)
        if len(self._waiting) >= FACTS_AT_ONCE:
            self._flush()

    def sample(self, name: str, unit: str, wall_s: float, value: float) -> None:
        """One reading; of each sensor one in ten minutes is kept."""
        ten = wall_s // TEN_S
        if self._tens.get(name) != ten:
            self._tens[name] = ten
            self._samples.append(Sample(name, unit, wall_s - wall_s % 60, value, value, value))
        if len(self._samples) >= FACTS_AT_ONCE:
            self._flush()

    def reopen(self, boot: str) -> None:
        """As a process of this boot does, without looking at what is there."""
        self._flush()
        self._store.close()
        self._store = Store(self._path, boot=boot, is_lasting=False)

    def memory(self, boot: str, at: Instant, found: Found) -> Memory:
        """As the daemon does at a start: runs that were left open get their ends first."""
        self.reopen(boot)
        guard = with_records(found, as_known_now(found, boot, at), self._store.memory(at).guard)
        self._store.write(self._store.unended(at, guard, is_whole=found.health is Health.WHOLE))
        return replace(self._store.memory(at), guard=guard)

    def lose(self) -> None:
        """Everything kept so far is gone, and a new file begun."""
        self._store.close()
        self._waiting.clear()
        self._samples.clear()
        self._store = self._new_store()

    def alive(self, at: Instant) -> None:
        """Notes that the bed's daemon lived up to now: ages over a power cut are known by that."""
        self._flush()
        self._store.alive(at)

    def rows(self) -> list[RunRow]:
        """The whole history of runs, by run id."""
        self._flush()
        with Reader(self._path) as reader:
            return sorted(reader.runs(-inf, inf), key=lambda row: row.run_id)

    def close(self) -> None:
        self._flush()
        self._store.close()

    def _new_store(self) -> Store:
        for tail in ("", "-wal", "-shm"):
            self._path.with_name(self._path.name + tail).unlink(missing_ok=True)
        return Store(self._path, boot="boot-1", is_lasting=False)

    def _flush(self) -> None:
        self._store.write(self._waiting)
        self._waiting.clear()
        self._store.write_samples(self._samples)
        self._samples.clear()


def play_and_keep(bed: str, scene: Scene, progress: Callable[[float], object] | None = None) -> Findings:
    """Plays the scene and writes its records, in place of those of the rehearsal before."""
    keeping = FileKeeping(rehearsal_file(bed))
    try:
        return Play(scene, keeping).run(progress)
    finally:
        keeping.close()
