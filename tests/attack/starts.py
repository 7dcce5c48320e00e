"""Starts of a daemon on damaged records: none dies, and what is lost is told."""

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from tests.keeper.test_parts import PLAN, begun
from tests.records.damage import damages, whole, with_wrong_value
from tests.records.facts import at, whole_run

from waaler.core import decisions
from waaler.core.messages import Recorded
from waaler.core.state import Setup
from waaler.devices.pipe import Hello
from waaler.guard.journal import Health
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory as GuardMemory
from waaler.keeper.recorder import Recorder
from waaler.plan.sensing import Sensing
from waaler.records.schema import tables
from waaler.records.store import Store

__all__ = ["starts"]

DERIVED = {"sample"}
"""A page of another table in place of one of its leaves can be sound in every respect; its ten minutes still tell it."""

TOLD = {"history-lost", "history-not-kept"}
NOW = at(20_000.0)


def starts(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """What did not hold of each start in turn; None where all did."""
    data = whole(folder)
    counts = _rows(folder / "whole.db")
    (folder / "whole.db").unlink()
    (folder / "t.accepted.yaml").write_text("accepted before")
    while True:
        for kind, damage in damages().items():
            _put(folder, damage(chance, data))
            yield _start(chance, folder, counts, kind)
        _put(folder, data)
        yield _start(chance, folder, counts, with_wrong_value(chance, folder / "t.db"))


def _put(folder: Path, data: bytes) -> None:
    for left in folder.glob("t.db*"):
        left.unlink()
    (folder / "t.db").write_bytes(data)


def _start(chance: random.Random, folder: Path, counts: dict[str, int], what: str) -> str | None:
    """With the guard's journal whole, or lost as well."""
    hello = Hello(chance.choice((Health.WHOLE, Health.MISSING)), GuardMemory())
    try:
        found = begun(folder, hello, NOW)
        decisions.begin(Setup(PLAN, Sensing(), Limits()), found.memory, NOW, found.active)
        told = {str(notice.kind) for notice in found.notices}
        left = _rows(folder / "t.db")
        _go_on(folder / "t.db")
    except Exception as problem:
        return f"{what}: died of {type(problem).__name__}: {problem}"
    lost = [table for table, count in left.items() if table not in DERIVED and count < counts[table]]
    return f"{what}: rows of {', '.join(lost)} are gone and nobody is told" if lost and not told & TOLD else None


def _go_on(path: Path) -> None:
    """What comes after a start is kept."""
    kept: list[Recorded] = []

    def died(name: str, problem: Exception) -> None:
        raise problem

    recorder = Recorder(lambda: Store(path, "boot"), kept.append, lambda: NOW, died)
    for fact in whole_run(90_000, 20_000.0):
        recorder.put(fact)
    recorder.stop()
    recorder.work()
    if kept != [Recorded(90_000)]:
        raise AssertionError("a run after the start is not kept")


def _rows(path: Path) -> dict[str, int]:
    """How many rows each table has, by the table itself; none where that cannot be read."""
    with closing(sqlite3.connect(path)) as db:
        return {table: db.execute(f"SELECT count(*) FROM {table} NOT INDEXED").fetchone()[0] for table in tables()}
