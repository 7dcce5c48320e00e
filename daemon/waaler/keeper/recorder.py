"""The recorder's thread: the database's only writer. Nobody's watchdog waits for it."""

import sqlite3
from collections.abc import Callable
from queue import Empty, SimpleQueue
from threading import Thread

import structlog

from waaler.core.facts import Fact, RunIntent
from waaler.core.messages import Recorded
from waaler.records.store import Sample, Store

__all__ = ["Recorder"]

SAMPLES_EVERY_S = 600.0
MOST_WAITING = 10_000
"""Facts kept in memory while the disk takes none; then the oldest go. Common practice, no source."""

log = structlog.get_logger()


class Recorder(Thread):
    """open_store: makes the store in this thread, to which its connection then belongs.

    tell: takes Recorded for every intent, on disk or not.
    """

    def __init__(self, open_store: Callable[[], Store], tell: Callable[[Recorded], object]) -> None:
        super().__init__(name="recorder", daemon=True)
        self.inbox: SimpleQueue[Fact | Sample | None] = SimpleQueue()
        self._open_store, self._tell = open_store, tell
        self._facts: list[Fact] = []
        self._samples: list[Sample] = []
        self._is_failing = False

    def put(self, item: Fact | Sample) -> None:
        self.inbox.put(item)

    def stop(self) -> None:
        """What is waiting is still written."""
        self.inbox.put(None)

    def run(self) -> None:
        store = self._open_store()
        while self._gather():
            self._write_facts(store)
        self._write_facts(store)
        self._write_samples(store)
        store.close()

    def _gather(self) -> bool:
        """Waits for something to write and takes all that is there; False when told to stop."""
        wait_s = 5.0 if self._facts else SAMPLES_EVERY_S
        try:
            item = self.inbox.get(timeout=wait_s)
        except Empty:
            return True
        while True:
            if item is None:
                return False
            (self._samples if isinstance(item, Sample) else self._facts).append(item)  # type: ignore[arg-type]
            try:
                item = self.inbox.get_nowait()
            except Empty:
                return True

    def _write_facts(self, store: Store) -> None:
        if self._facts and self._try(lambda: store.write(self._facts)):
            done, self._facts = self._facts, []
            self._confirm(done, is_kept=True)
        elif self._facts:
            self._confirm(self._facts, is_kept=False)
            self._facts = self._facts[-MOST_WAITING:]
        if self._samples and self._samples[-1].minute_s - self._samples[0].minute_s >= SAMPLES_EVERY_S:
            self._write_samples(store)

    def _write_samples(self, store: Store) -> None:
        if self._samples and self._try(lambda: store.write_samples(self._samples)):
            self._samples = []
        self._samples = self._samples[-MOST_WAITING:]

    def _confirm(self, facts: list[Fact], is_kept: bool) -> None:
        for fact in facts:
            if isinstance(fact, RunIntent):
                self._tell(Recorded(fact.run_id, is_kept))

    def _try(self, write: Callable[[], object]) -> bool:
        try:
            write()
        except (sqlite3.Error, OSError) as problem:
            if not self._is_failing:
                log.error("history_not_kept", problem=str(problem))
            self._is_failing = True
            return False
        self._is_failing = False
        return True
