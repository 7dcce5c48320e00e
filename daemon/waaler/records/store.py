"""The records' one writer. Its connection belongs to the thread that made it."""

import os
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from waaler.core.facts import Fact, RunResult
from waaler.core.memory import Memory
from waaler.core.state import Active
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Instant
from waaler.records import memory
from waaler.records.boots import Boots, End
from waaler.records.careful import BROKEN, text_of
from waaler.records.damage import check
from waaler.records.ends import unended
from waaler.records.footing import Footing
from waaler.records.inserts import Inserts
from waaler.records.past import Past
from waaler.records.past_runs import run_in_progress
from waaler.records.salvage import salvage
from waaler.records.schema import (
    NewerRecords,
    NoRecords,
    StoreError,
    is_of_the_disk,
    keep_before,
    migrate,
    refuse_other_tables,
    transaction,
)
from waaler.records.thinning import thin

__all__ = ["End", "NewerRecords", "NoRecords", "Sample", "Store", "StoreError", "open_or_set_aside", "set_aside"]

BUSY_MS = 2000
"""How long a write waits for another process; nobody but a person with a shell should ever hold the file."""

PAGE_BYTES = 1024
"""A commit writes every page it touched, whole: the samples of ten minutes touch five pages and fill less than one.

Measured with five sensors, as the kernel counts what goes to the card: 5.8 MB a day in pages of 4096, 2.9 in these.
"""

MOST_OUTBOX_RUNS = 20_000
"""Undelivered run rows kept: about a year of a busy plan, 600 kB. Alerts are never dropped."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One sensor in one minute. minute_s: wall time at which the minute begins. unit: as people read it."""

    name: str
    unit: str
    minute_s: float
    mean: float
    least: float
    most: float


class Store:
    """Opens or makes the database.

    boot: the id of this boot; within it the ages of facts are exact. is_lasting False: a power cut may take it all,
    for a rehearsal.

    Raises NewerRecords, and what BROKEN names where the file cannot be opened or is none of these records.
    """

    def __init__(self, path: Path, boot: str, is_lasting: bool = True) -> None:
        self._is_lasting = is_lasting
        self._db = sqlite3.connect(path, isolation_level=None, timeout=BUSY_MS / 1000)
        self._db.text_factory = text_of
        try:
            self._prepare()
            if is_lasting:
                keep_before(self._db, path)
            migrate(self._db, path)
            refuse_other_tables(self._db)
        except BaseException:
            self._db.close()
            raise
        self._boots = Boots(self._db, boot)
        self._inserts = Inserts(self._db)
        self._past = Past(self._db)
        self._footing = Footing(path, self._db)

    @property
    def unread(self) -> frozenset[tuple[str, object]]:
        """Rows that made no sense so far, by table and number; what was remembered left them out."""
        return frozenset(self._past.unread)

    def write(self, facts: Sequence[Fact]) -> None:
        """All of them or none, on disk when it returns; results and alerts also stand in the outbox then.

        Raises sqlite3.Error.
        """
        if not facts:
            return
        with transaction(self._db):
            for fact in facts:
                self._inserts.fact(fact, self._boots.note(fact.at))
            self._inserts.bound_outbox(MOST_OUTBOX_RUNS)
        self._footing.note()

    def write_samples(self, samples: Sequence[Sample], alive: Instant | None = None) -> None:
        """In one transaction, with the note that the daemon lived up to now: fewer pages for the card.

        A minute written twice keeps the later values. Raises sqlite3.Error.
        """
        with transaction(self._db):
            self._inserts.samples(
                [(s.name, s.unit, int(s.minute_s // 60), s.mean, s.least, s.most) for s in samples]
            )
            if alive is not None:
                self._boots.note(alive)
        self._footing.note()

    def thin(self, at: Instant) -> bool:
        """A small step of forgetting old minutes, of which ten minutes and days are kept; whether more is left.

        Nothing is forgotten by a clock that is not sure. Raises sqlite3.Error.
        """
        if not at.is_sure:
            return False
        has_more = thin(self._db, at.wall_s)
        self._footing.note()
        return has_more

    def alive(self, at: Instant) -> None:
        """Notes that the daemon lived and looked at its plan up to now; every fact does so too."""
        with transaction(self._db):
            self._boots.note(at)
        self._footing.note()

    def last_end(self) -> End | None:
        """How the former process ended; None where none is known. Ask before this one notes its own start."""
        return self._boots.last_end()

    def unended(
        self, now: Instant, guard: GuardMemory, running: int | None = None, is_whole: bool = True
    ) -> list[RunResult]:
        """The results, still to be written, of runs that nobody wrote the end of.

        guard: what it remembers; is_whole: all of it. running: the run that it makes now.
        """
        return unended(self._past, now, guard, running, is_whole)

    def memory(self, now: Instant, running: int | None = None) -> Memory:
        """What the core must know after a restart, by the long hand of this boot. running: the run that the guard
        makes now.

        Its part for the guard is what a lost journal is made up for with.
        """
        return memory.restore(self._db, self._past, self._boots, now, running)

    def run_in_progress(self, run_id: int, until_s: float) -> Active | None:
        """A run that the guard still makes, for decisions that begin anew; None where its intent is not kept."""
        return run_in_progress(self._past, run_id, until_s)

    def check(self) -> None:
        """Reads the whole file. Raises sqlite3.DatabaseError if it is damaged."""
        check(self._db)

    def verify(self, now_s: float) -> None:
        """Whether the file still stands at its path, whole and changed by nobody else. now_s: by the long hand.

        Raises Displaced, OSError where nothing may be written, and what BROKEN names for damage.
        """
        self._footing.verify(now_s)

    def verify_whole(self) -> None:
        """Reads everything as another process would. Raises what BROKEN names for damage."""
        self._footing.verify_whole()

    def takes_files(self) -> bool:
        """Whether the folder does: what is open can be written without, and no start after this one."""
        return self._footing.takes_files()

    def is_own_file(self) -> bool:
        """Whether the database itself still stands at its path, whatever became of its log."""
        return self._footing.is_own_file()

    def copy_to(self, path: Path) -> None:
        """All that is in it, also what stands in no file any more. Raises sqlite3.Error."""
        self._db.execute("VACUUM INTO ?", (str(path),))

    def take_over(self, damaged: Path) -> int:
        """What can be read of damaged records, into these new ones; how many rows. Raises sqlite3.Error."""
        rows = salvage(damaged, self._db)
        self._footing.note()
        return rows

    def tell_present(self, facts: Sequence[Fact]) -> None:
        """Facts that may be there already: only what is missing is written. Raises sqlite3.Error."""
        self.write([fact for fact in facts if not self._inserts.has(fact)])

    def close(self) -> None:
        self._db.close()

    def _prepare(self) -> None:
        self._db.execute("PRAGMA foreign_keys = ON")
        if self._db.execute("PRAGMA page_count").fetchone()[0] == 0:
            self._db.execute(f"PRAGMA page_size = {PAGE_BYTES}")  # only a new file takes these two
            self._db.execute("PRAGMA auto_vacuum = INCREMENTAL")
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA journal_size_limit = 1000000")
        self._sync_fully()

    def _sync_fully(self) -> None:
        self._db.execute("PRAGMA synchronous = FULL" if self._is_lasting else "PRAGMA synchronous = OFF")


def open_or_set_aside(path: Path, boot: str, now: Instant) -> tuple[Store, Path | None]:
    """The store, and where a file went that could not be used: damaged, not a database, or newer.

    A file that is set aside keeps its name with a time behind it. Raises sqlite3.Error and OSError for a disk or
    folder that takes no file at all.
    """
    try:
        return _open_checked(path, boot, now), None
    except (*BROKEN, StoreError) as problem:
        if is_of_the_disk(problem):
            raise
        aside = set_aside(path)
        if isinstance(problem, NewerRecords):
            return Store(path, boot), aside  # what its rows mean is not known
        return _with_what_is_left(path, boot, aside), aside


def _with_what_is_left(path: Path, boot: str, aside: Path) -> Store:
    """New records, with all of the old that can be read."""
    store = Store(path, boot)
    try:
        store.take_over(aside)
    except BaseException:
        store.close()
        raise
    return store


def _open_checked(path: Path, boot: str, now: Instant) -> Store:
    """Reads the whole file, and what a start will ask of it."""
    if path.exists() and not path.is_file():
        raise StoreError(f"{path}: no regular file")
    store = Store(path, boot)
    try:
        store.check()
        store.memory(now)
    except BaseException:
        store.close()
        raise
    return store


def set_aside(path: Path) -> Path:
    """Where the file went, with its parts. Raises OSError."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    aside = path.with_name(f"{path.name}.{stamp}")
    number = 1
    while os.path.lexists(aside):
        number += 1
        aside = path.with_name(f"{path.name}.{stamp}-{number}")
    for tail in ("", "-wal", "-shm"):
        part = path.with_name(path.name + tail)
        if os.path.lexists(part):
            part.rename(aside.with_name(aside.name + tail))
    return aside
