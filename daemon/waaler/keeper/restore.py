"""What a start finds of the time before: the records, their second copy, or neither.

No trouble with them keeps the bed from being watered. Where nothing can be known, the guard takes it that the plan
ran as written, and that every protective input has yet to be good for its whole settle time.
"""

import sqlite3
from dataclasses import dataclass, replace
from pathlib import Path

import structlog

from waaler.core.facts import Deed, Severity
from waaler.core.memory import Memory, after_loss
from waaler.core.messages import Notice
from waaler.core.texts import CRASHED, HISTORY_NOT_KEPT, POWER_CAME_BACK, loose
from waaler.guard.messages import Instant
from waaler.keeper.status import Alerts, rfc3339
from waaler.plan.types import Plan
from waaler.records.reader import Reader
from waaler.records.store import End, Store, StoreError, open_or_set_aside

__all__ = ["Files", "Restored", "restore"]

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Files:
    """Where a bed's records stand. accepted: the last accepted file, which tells a first start from a loss."""

    database: Path
    accepted: Path

    @classmethod
    def of(cls, folder: Path, bed: str) -> "Files":
        return cls(folder / f"{bed}.db", folder / f"{bed}.accepted.yaml")


@dataclass(frozen=True, slots=True)
class Restored:
    """alerts: the words of those that stood. notices: what a person must be told of the records."""

    memory: Memory
    alerts: Alerts
    notices: tuple[Notice, ...] = ()


def restore(files: Files, boot: str, plan: Plan, at: Instant) -> Restored:
    """The memory of the time before; runs that the last daemon left open are recorded as interrupted."""
    is_first = not (files.database.exists() or files.accepted.exists())
    is_lost = not files.database.exists() and not is_first
    try:
        store, aside = open_or_set_aside(files.database, boot)
    except (sqlite3.Error, OSError) as problem:
        log.error("records_cannot_be_opened", problem=str(problem))
        return Restored(after_loss(plan, at), {}, (Notice("history-not-kept", Severity.SOON, HISTORY_NOT_KEPT),))
    try:
        end = None if is_first else store.last_end()
        memory = _memory(store, at)
    except (sqlite3.Error, OSError) as problem:
        log.error("records_cannot_be_read", problem=str(problem))
        return Restored(after_loss(plan, at), {})
    finally:
        store.close()
    if aside is None and not is_lost:
        return Restored(memory, _standing(files.database, plan.place.timezone), _ended_badly(end))
    assumed = after_loss(plan, at)
    guard = memory.guard if memory.guard.spans or memory.guard.locks else assumed.guard
    what = "is gone" if aside is None else f"could not be read and was kept aside as {aside.name}"
    words = loose(
        f"The history {what}.",
        "A new one was begun, and watering goes on within limits.",
        "Look at the card; enter the sump's level with `waaler measure --sump`.",
        "It is told once.",
    )
    notice = Notice("history-lost", Severity.SOON, replace(words, is_moment=True))
    guard = replace(guard, tripped=assumed.guard.tripped, has_watered=True)
    return Restored(replace(memory, guard=guard), {}, (notice,))


def _ended_badly(end: End | None) -> tuple[Notice, ...]:
    """What the last daemon left: nothing after a stop, else a crash, or the power that failed."""
    if end is None or end is End.STOPPED:
        return ()
    words = CRASHED if end is End.CRASHED else POWER_CAME_BACK
    return (Notice("restarted", Severity.SOON, words),)


def _memory(store: Store, at: Instant) -> Memory:
    guard = store.memory(at).guard
    store.write([*store.unended(at, guard, is_whole=False), Deed(at, "start", "the daemon started")])
    return replace(store.memory(at), guard=guard)


def _standing(database: Path, zone: str) -> Alerts:
    try:
        with Reader(database) as reader:
            return {
                row.kind: {
                    "severity": row.severity.value,
                    "text": row.text,
                    "since": rfc3339(row.raised_at_s, zone),
                    "acknowledged": row.acknowledged_by,
                }
                for row in reader.open_alerts()
            }
    except (sqlite3.Error, StoreError) as problem:
        log.error("alerts_cannot_be_read", problem=str(problem))
        return {}
