"""What a start finds of the time before: the guard's journal first, then the records, or neither.

No trouble with either keeps the bed from being watered. What safety needs comes from the guard; the records make
up for a journal that is lost, and tell what the plan, the alerts and the sump were.
"""

import sqlite3
from collections.abc import Callable, Set
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import structlog

from waaler.core.alert import AlertKind, Severity
from waaler.core.facts import Act, Deed
from waaler.core.memory import Memory, after_loss, with_doubt
from waaler.core.messages import Notice
from waaler.core.state import Active
from waaler.core.status import AlertNow
from waaler.core.texts import CRASHED, HISTORY_NOT_KEPT, POWER_CAME_BACK, loose
from waaler.devices.pipe import Began, Hello
from waaler.guard.journal import Health
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Instant
from waaler.keeper.status import Alerts, local
from waaler.plan.types import Plan
from waaler.records.careful import BROKEN
from waaler.records.reader import Reader
from waaler.records.schema import is_of_the_disk
from waaler.records.store import End, Store, StoreError, open_or_set_aside, set_aside
from waaler.settings.followed import accepted_file

__all__ = ["Files", "Restored", "restore"]

log = structlog.get_logger()

JOURNAL_WORDS = {
    Health.TORN: "its last line was damaged",
    Health.MISSING: "it is gone",
    Health.FOREIGN: "it is another bed's, and was moved aside",
    Health.NEWER: "it is of a later version, and was moved aside",
    Health.UNREADABLE: "the card does not give it",
}


@dataclass(frozen=True, slots=True)
class Files:
    """Where a bed's records stand. accepted: the last accepted file, which tells a first start from a loss."""

    database: Path
    accepted: Path

    @classmethod
    def of(cls, folder: Path, bed: str) -> "Files":
        return cls(folder / f"{bed}.db", accepted_file(folder, bed))


@dataclass(frozen=True, slots=True)
class Restored:
    """alerts: the words of those that stood. notices: what a person must be told of the records.

    active: the run that the guard makes meanwhile, where a keeper begins anew. settle: writes into records that
    could not be opened what they should have been told, once they can.
    """

    memory: Memory
    alerts: Alerts
    notices: tuple[Notice, ...] = ()
    active: Active | None = None
    settle: Callable[[Store], object] | None = None


SetUp = Callable[[GuardMemory], Began]


def restore(files: Files, boot: str, plan: Plan, at: Instant, hello: Hello, set_up: SetUp) -> Restored:
    """The memory of the time before. set_up: gives the guard what the records know, and hears what it begins with.

    A whole journal waits for no disk: the guard begins before the records are opened.
    """
    is_first = not (files.database.exists() or files.accepted.exists())
    start = _Start(files, boot, plan, at, hello, _once(set_up), is_first)
    if hello.health is Health.WHOLE:
        start.set_up(GuardMemory())
    try:
        return start.with_records()
    except (*BROKEN, OSError, StoreError) as problem:
        log.error("records_cannot_be_opened", problem=str(problem))
        return start.without_records()


def _once(set_up: SetUp) -> SetUp:
    """The guard begins once, however often the records are tried."""
    said: list[Began] = []

    def begin(known: GuardMemory) -> Began:
        if not said:
            said.append(set_up(known))
        return said[0]

    return begin


@dataclass(frozen=True, slots=True)
class _Start:
    """What a start goes by. is_first: nothing was ever kept for this bed."""

    files: Files
    boot: str
    plan: Plan
    at: Instant
    hello: Hello
    set_up: SetUp
    is_first: bool

    def with_records(self) -> Restored:
        """Raises sqlite3.Error and OSError where the disk gives or takes nothing."""
        database = self.files.database
        is_lost = not self.is_first and not _has_bytes(database)
        store, aside = open_or_set_aside(database, self.boot, self.at)
        with closing(store):
            try:
                return self._read(store, _Loss(is_lost, aside))
            except BROKEN as problem:
                if is_of_the_disk(problem):
                    raise
                log.error("records_cannot_be_read", problem=str(problem))
        aside = set_aside(database)
        with closing(Store(database, self.boot)) as store:
            return self._read(store, _Loss(True, aside))

    def _read(self, store: Store, loss: "_Loss") -> Restored:
        """What the records tell, once they have been told of the time since."""
        at, hello = self.at, self.hello
        end = None if self.is_first else store.last_end()
        known = store.memory(at)
        if loss.is_whole:
            known = after_loss(self.plan, at)
        elif store.unread and hello.health is not Health.WHOLE:
            known = with_doubt(known, self.plan, at)
        began = self.set_up(known.guard)
        memory, active = _written(store, at, hello, began)
        ended = _keeper_ended(hello.last_keeper) if hello.last_keeper else _ended_badly(end)
        notices = _of_the_journal(hello, self.is_first)
        alerts = _standing(self.files.database, self.plan.place.timezone)
        if loss.is_whole:
            memory = replace(memory, looked_at_s=at.wall_s, next_run_id=began.memory.reserved_run_id + 1)
            return Restored(memory, alerts, (*notices, _lost(loss.aside)), active)
        return Restored(memory, alerts, notices + _left_out(store.unread) + ended, active)

    def without_records(self) -> Restored:
        """The database is held, full or broken: the journal alone, and the plan taken to have run as written."""
        at, hello = self.at, self.hello
        assumed = after_loss(self.plan, at)
        began = self.set_up(assumed.guard)
        memory = replace(assumed, guard=began.memory, next_run_id=began.memory.reserved_run_id + 1)
        notice = Notice(AlertKind.HISTORY_NOT_KEPT, Severity.SOON, HISTORY_NOT_KEPT)

        def settle(store: Store) -> None:
            _written(store, at, hello, began)

        return Restored(memory, {}, (*_of_the_journal(hello, is_first=False), notice), settle=settle)


@dataclass(frozen=True, slots=True)
class _Loss:
    """Whether the records of before are gone as a whole, and where the file was kept that could not be used."""

    is_gone: bool
    aside: Path | None

    @property
    def is_whole(self) -> bool:
        return self.is_gone or self.aside is not None


def _has_bytes(path: Path) -> bool:
    """An empty file is what a card leaves of a lost one."""
    try:
        return path.stat().st_size > 0
    except OSError:
        return False


def _written(store: Store, at: Instant, hello: Hello, began: Began) -> tuple[Memory, Active | None]:
    """Ends what nobody saw end, notes the start, and reads the records with what the guard begins with."""
    guard = began.memory
    if began.running is not None:
        guard = replace(guard, open_run=None)
    is_whole = hello.health is Health.WHOLE
    ended = store.unended(at, guard, began.running, is_whole)
    store.write([*ended, Deed(at, Act.START, "the daemon started")])
    memory = store.memory(at, began.running)
    next_run_id = max(memory.next_run_id, guard.last_run_id + 1)
    active = None if began.running is None else store.run_in_progress(began.running, began.until_s)
    return replace(memory, guard=guard, next_run_id=next_run_id), active


def _lost(aside: Path | None) -> Notice:
    what = "is gone" if aside is None else f"could not be read and was kept aside as {aside.name}"
    words = loose(
        f"The history {what}.",
        "A new one was begun, with what could be read of it."
        " Locks, holds and pump time are known from the guard's journal.",
        "Look at the card; enter the sump's level with `waaler measure --sump`.",
        "It is told once.",
    )
    return Notice(AlertKind.HISTORY_LOST, Severity.SOON, words)


def _left_out(unread: Set[tuple[str, object]]) -> tuple[Notice, ...]:
    """Rows that a start needs and cannot read."""
    if not unread:
        return ()
    tables = ", ".join(sorted({table for table, _ in unread}))
    rows = "1 row" if len(unread) == 1 else f"{len(unread)} rows"
    words = loose(
        f"{rows} of the history cannot be read any more: {tables}.",
        "What they said is left out; all else of the history is believed as before.",
        "Look at the card: is it worn?",
        "It is told at each start until such rows are old.",
    )
    return (Notice(AlertKind.HISTORY_LOST, Severity.SOON, words),)


def _of_the_journal(hello: Hello, is_first: bool) -> tuple[Notice, ...]:
    """What became of the guard's journal, if a person should know."""
    if hello.health is Health.WHOLE or (is_first and hello.health is Health.MISSING):
        return ()
    words = loose(
        f"The guard's journal could not be used: {JOURNAL_WORDS[hello.health]}.",
        "Locks, holds and pump time are taken from the history; what neither knows counts as if the plan had run.",
        "Look at the card and at the bed.",
        "It is told once.",
    )
    return (Notice(AlertKind.JOURNAL_LOST, Severity.SOON, words),)


def _keeper_ended(how: str) -> tuple[Notice, ...]:
    """The guard went on; only what decides and records was away."""
    words = loose(
        f"The part that decides and records ended unexpectedly: {how}.",
        "The guard went on and began it again: a run in progress was not cut, and none began meanwhile.",
        "Look at the log if this comes again.",
        "The plan goes on by itself.",
    )
    return (Notice(AlertKind.RESTARTED, Severity.SOON, words),)


def _ended_badly(end: End | None) -> tuple[Notice, ...]:
    """What the last daemon left: nothing after a stop, else a crash, or the power that failed."""
    if end is None or end is End.STOPPED:
        return ()
    words = CRASHED if end is End.CRASHED else POWER_CAME_BACK
    return (Notice(AlertKind.RESTARTED, Severity.SOON, words),)


def _standing(database: Path, zone: str) -> Alerts:
    try:
        with Reader(database) as reader:
            return {
                row.kind: AlertNow(
                    row.kind, row.severity.value, row.text, local(row.raised_at_s, zone), row.acknowledged_by
                )
                for row in reader.open_alerts()
            }
    except (sqlite3.Error, StoreError) as problem:
        log.error("alerts_cannot_be_read", problem=str(problem))
        return {}
