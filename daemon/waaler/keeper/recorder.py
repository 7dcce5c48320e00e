"""The recorder's thread: the database's only writer. Nobody's watchdog waits for it."""

import sqlite3
from collections.abc import Callable
from math import inf
from queue import Empty, SimpleQueue

import structlog

from waaler.core.facts import Fact, RunIntent
from waaler.core.messages import Recorded
from waaler.guard.messages import Instant
from waaler.keeper.lasting import Died, LastingThread
from waaler.records.careful import BROKEN
from waaler.records.schema import is_of_the_disk
from waaler.records.store import Sample, Store, StoreError

__all__ = ["Recorder"]

SAMPLES_EVERY_S = 600.0
RETRY_S = 5.0
LOOK_EVERY_S = 30.0
MEND_AGAIN_S = 60.0
"""Then twice as long each time: a fault that comes back must not fill the card with what is kept aside."""

SURE_S = 60.0
"""So long nothing was refused, before the disk counts as one that takes again. Common practice, no source."""

MOST_WAITING = 10_000
"""Facts kept in memory while the disk takes none; then the oldest go. Common practice, no source."""

NOT_TAKEN = (sqlite3.IntegrityError, sqlite3.DataError, sqlite3.InterfaceError)
"""What the library says of values, where the file itself is sound."""

log = structlog.get_logger()


class Recorder(LastingThread):
    """Opens its store in this thread, to which its connection then belongs, and again whenever that fails.

    tell: takes Recorded for every intent, on disk or not. now: for the note that the daemon lives. settle: what is
    written first of all, once the store can be opened, of what a start could not write.
    failing: hears when the disk begins to refuse, and when it takes again. wrote: hears after each try to write
    facts. mend: makes records good that are lost or damaged; whether it did, and closed the store.
    """

    def __init__(
        self,
        open_store: Callable[[], Store],
        tell: Callable[[Recorded], object],
        now: Callable[[], Instant],
        died: Died,
        settle: Callable[[Store], object] | None = None,
        failing: Callable[[bool], object] = lambda _: None,
        wrote: Callable[[], object] = lambda: None,
        mend: Callable[[Store, Exception], bool] = lambda *_: False,
    ) -> None:
        super().__init__("recorder", died)
        self._settle, self._failing, self._wrote, self._mend = settle, failing, wrote, mend
        self._inbox: SimpleQueue[Fact | Sample | None] = SimpleQueue()
        self._open_store, self._tell, self._now = open_store, tell, now
        self._store: Store | None = None
        self._facts: list[Fact] = []
        self._samples: list[Sample] = []
        self._failed_s: float | None = None
        self._say_s = -inf
        self._problem: Exception = StoreError("nothing yet")
        self._looked_s = self._mend_s = -inf
        self._mend_wait_s = MEND_AGAIN_S
        self._alive_at_s = now().long_s

    def put(self, item: Fact | Sample) -> None:
        self._inbox.put(item)

    def stop(self) -> None:
        """What is waiting is still written."""
        self._inbox.put(None)

    def work(self) -> None:
        while self._gather():
            self._write_facts()
            if self._samples and self._samples[-1].minute_s - self._samples[0].minute_s >= SAMPLES_EVERY_S:
                self._write_samples()
            self._note_alive()
            self._look()
        self._write_facts()
        self._write_samples()
        if self._store is not None:
            self._store.close()

    def _gather(self) -> bool:
        """Waits for something to write and takes all that is there; False when told to stop."""
        try:
            item = self._inbox.get(timeout=RETRY_S if self._facts else LOOK_EVERY_S)
            while item is not None:
                if isinstance(item, Sample):
                    self._samples.append(item)
                else:
                    self._facts.append(item)
                item = self._inbox.get_nowait()
        except Empty:
            return True
        return False

    def _write_facts(self) -> None:
        facts = self._facts
        if not facts:
            return
        is_kept = self._try(lambda store: store.write(facts)) or self._written_singly(facts)
        self._wrote()
        self._facts = [] if is_kept else facts[-MOST_WAITING:]
        for fact in facts:
            if isinstance(fact, RunIntent):
                self._tell(Recorded(fact.run_id, is_kept=is_kept))

    def _written_singly(self, facts: list[Fact]) -> bool:
        """Whether sound records took all but those that no records can take: one must not keep all others away."""
        if self._store is None or not isinstance(self._problem, NOT_TAKEN):
            return False
        for fact in facts:
            if not self._tried(lambda store, fact=fact: store.write([fact])):  # type: ignore[misc]
                if not isinstance(self._problem, NOT_TAKEN):
                    return False
                log.error("fact_not_taken", fact=repr(fact)[:1000], problem=str(self._problem))
        return True

    def _write_samples(self) -> None:
        """Samples in one go with the note that the daemon lives: few writes spare the card."""
        samples = self._samples
        at = self._now()
        is_kept = self._try(lambda store: store.write_samples(samples, at))
        self._samples = [] if is_kept else samples[-MOST_WAITING:]
        if is_kept:
            self._alive_at_s = at.long_s
            self._thin()

    def _note_alive(self) -> None:
        """For a bed without sensors too."""
        at = self._now()
        if at.long_s - self._alive_at_s >= SAMPLES_EVERY_S and self._try(lambda store: store.alive(at)):
            self._alive_at_s = at.long_s

    def _thin(self) -> None:
        """Steps of forgetting old samples, for as long as nothing waits to be written."""
        has_more = True

        def step(store: Store) -> None:
            nonlocal has_more
            has_more = store.thin(self._now())

        while has_more and self._inbox.empty() and self._try(step):
            pass

    def _look(self) -> None:
        """Also where nothing happens, a file that is lost or damaged is noticed within a minute."""
        if self._store is not None and self._now().long_s >= self._looked_s + LOOK_EVERY_S:
            self._try(lambda _: None)

    def _try(self, write: Callable[[Store], object]) -> bool:
        """Once more where the records could be mended."""
        return self._tried(write) or (self._is_mended() and self._tried(write))

    def _tried(self, write: Callable[[Store], object]) -> bool:
        try:
            self._put(write)
        except (*BROKEN, OSError, StoreError) as problem:
            if self._failed_s is None:
                log.error("history_not_kept", problem=str(problem))
            self._problem = problem
            return False
        if self._store is not None and not self._store.takes_files():
            self._note_failure()
        else:
            self._note_success()
        return True

    def _put(self, write: Callable[[Store], object]) -> None:
        if self._store is None:
            self._store = self._open_store()
        self._looked_s = self._now().long_s
        self._store.verify(self._looked_s)
        if self._settle is not None:
            self._settle(self._store)
            self._settle = None
        write(self._store)

    def _is_mended(self) -> bool:
        """Whether the store was mended, which is tried ever less often."""
        problem, now_s = self._problem, self._now().long_s
        if self._store is not None and not is_of_the_disk(problem) and now_s >= self._mend_s:
            self._mend_s = now_s + MEND_AGAIN_S
            try:
                if self._mend(self._store, problem):
                    self._mend_s = now_s + self._mend_wait_s
                    self._mend_wait_s *= 2
                    self._store = None
                    return True
            except (*BROKEN, OSError, StoreError) as trouble:
                log.error("records_not_mended", problem=str(trouble))
        self._note_failure()
        return False

    def _note_failure(self) -> None:
        """Says it again now and then: a run's intent that finds room ends the alert while more is refused."""
        self._failed_s = now_s = self._now().long_s
        if now_s >= self._say_s:
            self._say_s = now_s + SURE_S
            self._failing(True)

    def _note_success(self) -> None:
        """A full disk still takes what is small."""
        if self._failed_s is not None and self._now().long_s >= self._failed_s + SURE_S:
            self._failed_s, self._say_s = None, -inf
            self._failing(False)
