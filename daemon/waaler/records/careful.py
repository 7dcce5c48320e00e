"""Questions to records that may be damaged: what can be read is read, and what cannot is counted."""

import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from waaler.records.schema import PRIMARY_CODE, StoreError

__all__ = ["BROKEN", "SENSELESS", "Careful", "Select", "text_of"]

MOST_S = 2.0
MOST_PIECES = 20_000
"""So many rows, the newest, are asked for one by one where a page between them is damaged."""

BROKEN = (sqlite3.Error, UnicodeError)
"""The library decodes names and its own messages strictly: damage in those comes as a UnicodeError."""

SENSELESS = (ValueError, TypeError, KeyError, IndexError, ArithmeticError)
NO_UTF_8 = "Could not decode to UTF-8"
DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
Row = TypeVar("Row")
Raw = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Select:
    """Rows of a table, their number first. order: a column. most, leave_out: a page of what is found."""

    columns: str
    table: str
    where: str = "1"
    order: str = "id"
    is_newest_first: bool = False
    most: int | None = None
    leave_out: int = 0

    @property
    def query(self) -> str:
        way = " DESC" if self.is_newest_first else ""
        order = "" if self.order == "id" else f"{self.order}{way}, "
        page = "" if self.most is None else f" LIMIT {self.most} OFFSET {self.leave_out}"
        return f"SELECT {self.columns} FROM {self.table} WHERE {self.where} ORDER BY {order}id{way}{page}"

    @property
    def by_number(self) -> str:
        return f"SELECT {self.columns} FROM {self.table} WHERE id = ? AND ({self.where})"

    def page_of(self, rows: list[Raw]) -> list[Raw]:
        """The same page of rows that were found one by one, in the order of their numbers."""
        ordered = rows[::-1] if self.is_newest_first else rows
        end = None if self.most is None else self.leave_out + self.most
        return ordered[self.leave_out : end]


class Careful:
    """unread: what could not be made sense of so far, each row once."""

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        self.unread: set[tuple[str, Any]] = set()
        self._db, self._path = db, path

    def all(self, query: str, *values: object) -> list[Raw]:
        """Raises StoreError."""
        try:
            return self._fetched(query, values)
        except BROKEN as problem:
            raise self._refusal(problem) from problem

    def _fetched(self, query: str, values: tuple[object, ...]) -> list[Raw]:
        """Text by the library's own decoder, four times as fast as ours, as long as it is UTF-8."""
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.OperationalError as problem:
            if NO_UTF_8 not in str(problem):
                raise
        self._db.text_factory = text_of
        return self._db.execute(query, values).fetchall()

    def made(self, make: Callable[[Raw], Row], rows: list[Raw], table: str) -> list[Row]:
        """What `make` makes of the rows; one that it raises for is counted and left out."""
        try:
            return [make(row) for row in rows]  # as good as always
        except SENSELESS:
            found = []
        for row in rows:
            try:
                found.append(make(row))
            except SENSELESS:
                self.unread.add((table, row[0] if isinstance(row[0], int) else repr(row)[:200]))
        return found

    def rows(self, make: Callable[[Raw], Row], select: Select, *values: object) -> list[Row]:
        """Raises StoreError where nothing of the table can be read."""
        try:
            found = self._fetched(select.query, values)
        except BROKEN as problem:
            if not _is_damage(problem):
                raise self._refusal(problem) from problem
            found = select.page_of(list(self._one_by_one(select, values)))
        return self.made(make, found, select.table)

    def _one_by_one(self, select: Select, values: tuple[object, ...]) -> Iterator[Raw]:
        """By number: a damaged page then hides its own rows alone."""
        last = self.all(f"SELECT max(id) FROM {select.table}")[0][0]
        if not isinstance(last, int):
            return
        ends_s = time.monotonic() + MOST_S
        for number in range(max(1, last - MOST_PIECES + 1), last + 1):
            if time.monotonic() > ends_s:
                self.unread.add((select.table, f"behind {number}"))
                return
            try:
                yield from self._db.execute(select.by_number, (number, *values))
            except BROKEN as problem:
                if not _is_damage(problem):
                    raise self._refusal(problem) from problem
                self.unread.add((select.table, number))

    def _refusal(self, problem: Exception) -> StoreError:
        return StoreError(f"{self._path}: cannot be read: {problem}")


def text_of(coded: bytes) -> str:
    """Text whose bytes are no UTF-8 any more is shown with marks in their place, not lost."""
    return coded.decode("utf-8", "replace")


def _is_damage(problem: Exception) -> bool:
    return isinstance(problem, UnicodeError) or getattr(problem, "sqlite_errorcode", 0) & PRIMARY_CODE in DAMAGE
