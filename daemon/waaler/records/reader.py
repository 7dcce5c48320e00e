"""The records as other processes see them: read-only, and never open for longer than one question."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from enum import Enum
from math import ceil
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from waaler.core.facts import Act, Outcome
from waaler.records.careful import BROKEN, Careful, Select
from waaler.records.columns import (
    ALERT,
    DEED,
    PRESENT,
    RUN,
    SUMP,
    TELLING,
    TRIP,
    alert_row,
    deed_row,
    moment,
    present_row,
    run_row,
    sample_row,
    sump_row,
    telling_row,
    total_row,
    trip_row,
)  # fmt: skip
from waaler.records.rows import (
    AlertRow,
    DeedRow,
    Outgoing,
    PresentRow,
    RunRow,
    SampleRow,
    SumpRow,
    TellingRow,
    Told,
    TripRow,
    Unread,
)  # fmt: skip
from waaler.records.schema import SCHEMA_VERSION, NoRecords, StoreError, migrate, refuse_newer

__all__ = ["Reader", "Step", "Table", "connect"]

BUSY_S = 2.0
PAGE_ROWS = 5000
A_FEW = 20
Row = TypeVar("Row")


class Table(Enum):
    """What a complete copy has. The outbox is left out: it is only what has yet to be sent."""

    BOOT = "boot"
    RUN = "run"
    ALERT = "alert"
    TELLING = "telling"
    TRIP = "trip"
    DEED = "deed"
    AMOUNT = "amount"
    SUMP = "sump"
    SENSOR = "sensor"
    SAMPLE = "sample"
    SAMPLE_10_MIN = "sample_10_min"
    SAMPLE_DAY = "sample_day"


class Step(Enum):
    """How finely samples are told: table, column, seconds."""

    MINUTE = ("sample", "minute", 60)
    TEN_MINUTES = ("sample_10_min", "ten", 600)
    DAY = ("sample_day", "day", 86_400)


class Reader:
    """Opens the records of a daemon that runs, was stopped or was killed. Use it in a `with`.

    Those of an earlier version are read in memory as the present one would have them; the file stays as it is.

    Every method reads all its rows and ends its transaction, since a reader that lingers makes the file grow.
    Raises NoRecords without a file, NewerRecords and StoreError for one that this program cannot read.
    """

    def __init__(self, path: Path) -> None:
        if not _is_there(path):
            raise NoRecords(f"{path}: no records yet; they begin when `waaler run` first starts for this bed")
        self._path = path
        try:
            self._db = connect(path)
        except BROKEN as problem:
            raise StoreError(f"{path}: cannot be read as records: {problem}") from problem
        try:
            self._db = _of_this_version(self._db, path)
            self._ask = Careful(self._db, path)
            self.name = self._name()
        except BROKEN as problem:
            self._db.close()
            raise StoreError(f"{path}: cannot be read as records: {problem}") from problem
        except StoreError:
            self._db.close()
            raise

    @property
    def unread(self) -> int:
        """How many rows could not be read so far; what was told left them out."""
        return len(self._ask.unread)

    def _name(self) -> str:
        rows = self._ask.all("SELECT records FROM name")
        if not rows:
            raise StoreError(f"{self._path}: cannot be read as records: they have no name")
        return str(rows[0][0])

    def __enter__(self) -> "Reader":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._db.close()

    def runs(self, since_s: float, until_s: float) -> list[RunRow]:
        """Runs, skips, refusals and missed cycles of a period, oldest first."""
        period = Select(RUN, "run", "when_s >= ? AND when_s < ?", "when_s")
        return self._ask.rows(run_row, period, since_s, until_s)

    def newest_runs(
        self, since_s: float, until_s: float, outcome: Outcome | None, most: int, leave_out: int
    ) -> list[RunRow]:
        """A page of a period's runs, newest first: `most` of them after those left out; outcome None takes all."""
        chosen, values = ("", ()) if outcome is None else (" AND outcome = ?", (outcome.value,))
        where = f"when_s >= ? AND when_s < ?{chosen}"
        page = Select(RUN, "run", where, "when_s", is_newest_first=True, most=most, leave_out=leave_out)
        return self._ask.rows(run_row, page, since_s, until_s, *values)

    def alerts(self, since_s: float, until_s: float) -> list[AlertRow]:
        """Alerts that were raised in a period, oldest first."""
        period = Select(ALERT, "alert", "raised_wall_s >= ? AND raised_wall_s < ?", "raised_wall_s")
        return self._ask.rows(alert_row, period, since_s, until_s)

    def tellings(self, since_s: float, until_s: float) -> list[TellingRow]:
        """Every text of an alert that was told in a period, oldest first."""
        period = Select(TELLING, "telling", "wall_s >= ? AND wall_s < ?", "wall_s")
        return self._ask.rows(telling_row, period, since_s, until_s)

    def open_alerts(self) -> list[AlertRow]:
        """Alerts that stand now, oldest first."""
        return self._ask.rows(alert_row, Select(ALERT, "alert", "resolved_wall_s IS NULL"))

    def deeds(self, since_s: float, until_s: float) -> list[DeedRow]:
        """What was done in a period, oldest first."""
        return self._ask.rows(
            deed_row, Select(DEED, "deed", "wall_s >= ? AND wall_s < ?", "wall_s"), since_s, until_s
        )

    def last_deed(self, *whats: Act) -> DeedRow | None:
        """The latest of these kinds, None without any."""
        where = f"what IN ({', '.join('?' * len(whats))})"
        return self._first(deed_row, Select(DEED, "deed", where, is_newest_first=True), *whats)

    def trips(self, since_s: float, until_s: float) -> list[TripRow]:
        """Trips that began in a period, oldest first."""
        period = Select(TRIP, "trip", "began_wall_s >= ? AND began_wall_s < ?", "began_wall_s")
        return self._ask.rows(trip_row, period, since_s, until_s)

    def open_trips(self) -> list[TripRow]:
        """Trips that stand now, oldest first."""
        return self._ask.rows(trip_row, Select(TRIP, "trip", "over_wall_s IS NULL"))

    def run(self, number: int) -> RunRow | None:
        """One run by its number."""
        return self._first(run_row, Select(RUN, "run", "id = ?"), number)

    def run_in_progress(self) -> RunRow | None:
        """The run that was granted and has no end yet."""
        where = "outcome IS NULL AND started_wall_s IS NOT NULL"
        return self._first(run_row, Select(RUN, "run", where, is_newest_first=True))

    def last_full(self) -> RunRow | None:
        """The latest run that gave its dose."""
        return self._first(run_row, Select(RUN, "run", "is_full = 1", "when_s", is_newest_first=True))

    def present(self) -> PresentRow | None:
        """What the daemon last said of the bed and its next run; None where it never did."""
        return self._first(present_row, Select(PRESENT, "present", "id = 1"))

    def _first(self, make: Callable[[tuple[Any, ...]], Row], select: Select, *values: object) -> Row | None:
        """Of a few, so that a damaged one does not hide the one behind it."""
        rows = self._ask.rows(make, replace(select, most=A_FEW), *values)
        return rows[0] if rows else None

    def samples(
        self, since_s: float, until_s: float, step: Step = Step.TEN_MINUTES, bundle: int = 1
    ) -> list[SampleRow]:
        """What the sensors read, oldest first: minutes are kept for a month, ten minutes for a year.

        bundle: so many steps as one row; at_s is then a multiple of their length since 1970.
        """
        table, column, seconds = step.value
        minutes = "1" if step is Step.MINUTE else "minutes"
        found = self._ask.all(
            f"SELECT name, unit, {column} / {bundle} * {bundle * seconds}, sum({minutes}),"
            f" 1.0 * sum(mean_milli * {minutes}) / sum({minutes}), min(least_milli), max(most_milli)"
            f" FROM {table} JOIN sensor ON sensor.id = sensor WHERE {column} >= ? AND {column} < ?"
            " GROUP BY 3, sensor ORDER BY 3, sensor",
            ceil(since_s / seconds),
            ceil(until_s / seconds),
        )
        return self._ask.made(sample_row, found, table)

    def coverage(self, since_s: float, until_s: float, step: Step = Step.TEN_MINUTES) -> list[SampleRow]:
        """Each sensor over the whole period in one row; minutes: of the steps in which it gave any reading.

        at_s: the last of these steps.
        """
        table, column, seconds = step.value
        found = self._ask.all(
            f"SELECT name, unit, max({column}) * {seconds}, count(*) * {seconds // 60},"
            f" 1.0 * sum(mean_milli * minutes) / sum(minutes), min(least_milli), max(most_milli)"
            f" FROM {table} JOIN sensor ON sensor.id = sensor WHERE {column} >= ? AND {column} < ?"
            " GROUP BY sensor ORDER BY sensor",
            ceil(since_s / seconds),
            ceil(until_s / seconds),
        )
        return self._ask.made(sample_row, found, table)

    def deeds_of(self, since_s: float, until_s: float, *whats: Act) -> list[DeedRow]:
        """Deeds of these kinds in a period, oldest first."""
        where = f"wall_s >= ? AND wall_s < ? AND what IN ({', '.join('?' * len(whats))})"
        return self._ask.rows(deed_row, Select(DEED, "deed", where, "wall_s"), since_s, until_s, *whats)

    def sump_entries(self, since_s: float, until_s: float) -> list[SumpRow]:
        """The entries of the sump's ledger in a period, oldest first, and the last one before it."""
        earlier = Select(SUMP, "sump", "wall_s < ?", "wall_s", is_newest_first=True, most=1)
        within = Select(SUMP, "sump", "wall_s >= ? AND wall_s <= ?", "wall_s")
        return self._ask.rows(sump_row, earlier, since_s) + self._ask.rows(sump_row, within, since_s, until_s)

    def alive_s(self) -> float | None:
        """The wall time at which the daemon last noted that it lived; None where its clock was never sure."""
        return self._moment("SELECT last_long_s + sure_offset_s FROM boot ORDER BY id DESC LIMIT 1")

    def latest_s(self) -> float | None:
        """The wall time of the last run in the history, None without any."""
        return self._moment("SELECT max(when_s) FROM run")

    def _moment(self, query: str) -> float | None:
        """One wall time, None for nothing and for nonsense."""
        moments = self._ask.made(lambda row: moment(row[0]), self._ask.all(query), "moment")
        return moments[0] if moments else None

    def columns(self, table: Table) -> list[str]:
        """The table's columns in their order."""
        return [str(row[0]) for row in self._ask.all("SELECT name FROM pragma_table_info(?)", table.value)]

    def pages(self, table: Table) -> Iterator[list[tuple[Any, ...]]]:
        """All rows by their key, some thousand at a time; between two no transaction is open.

        Behind damage that ends the order of the keys nothing more is told; it is counted.
        """
        keys = [
            str(row[0])
            for row in self._ask.all("SELECT name FROM pragma_table_info(?) WHERE pk ORDER BY pk", table.value)
        ]
        key, columns = ", ".join(keys), self.columns(table)
        at = [columns.index(name) for name in keys]
        first = f"SELECT * FROM {table.value} ORDER BY {key} LIMIT {PAGE_ROWS}"
        more = first.replace(" ORDER", f" WHERE ({key}) > ({', '.join('?' * len(keys))}) ORDER")
        rows, before = self._page(first, table), None
        while rows:
            yield rows
            last = tuple(rows[-1][n] for n in at)
            if not _is_behind(before, last):
                self._ask.unread.add((table.value, str(last)))
                return
            rows, before = self._page(more, table, *last), last

    def _page(self, query: str, table: Table, *values: object) -> list[tuple[Any, ...]]:
        try:
            return self._ask.all(query, *values)
        except StoreError as problem:
            self._ask.unread.add((table.value, str(problem)))
            return []

    def after(self, number: int, most: int) -> list[Outgoing | Unread]:
        """At most so many messages that came after this one, in their order."""
        waiting = Select("id, what, ref", "outbox", "id > ?", most=most)
        rows = self._ask.rows(lambda row: row, waiting, number)
        return [self._outgoing(*row) for row in rows]

    def message(self, number: int) -> Outgoing | Unread | None:
        """One message; None for one that is no longer kept."""
        rows = self._ask.rows(lambda row: row, Select("id, what, ref", "outbox", "id = ?"), number)
        return self._outgoing(*rows[0]) if rows else None

    def totals(self) -> list[tuple[str, int, float]]:
        """Of all runs that ended: how, how many, and the seconds that the pump was on."""
        query = "SELECT outcome, count(*), sum(actual_s) FROM run WHERE outcome IS NOT NULL GROUP BY 1 ORDER BY 1"
        return self._ask.made(total_row, self._ask.all(query), "total")

    def alerts_waiting(self, number: int) -> set[int]:
        """The alerts of which messages came after this one."""
        query = "SELECT DISTINCT ref FROM outbox WHERE id > ? AND what <> 'run'"
        return {row[0] for row in self._ask.all(query, number) if isinstance(row[0], int)}

    def waiting(self, number: int) -> int:
        """How many messages came after this one."""
        return int(self._ask.all("SELECT count(*) FROM outbox WHERE id > ?", number)[0][0])

    def last_before(self, wall_s: float) -> int:
        """The number of the last message written before a wall time; 0 if there is none."""
        query = "SELECT coalesce(max(id), 0) FROM outbox WHERE wall_s < ?"
        return int(self._ask.all(query, wall_s)[0][0])

    def _outgoing(self, number: int, what: Any, ref: object) -> Outgoing | Unread:
        """What became of a run or an alert; Unread where that is lost: what follows is told all the same."""
        if what == Told.RUN:
            run = self._first(run_row, Select(RUN, "run", "id = ?"), ref)
            return Unread(number) if run is None else Outgoing(number, self.name, run, Told.RUN)
        alert = self._first(alert_row, Select(ALERT, "alert", "id = ?"), ref)
        if alert is None:
            return Unread(number)
        return Outgoing(number, self.name, alert, Told(what) if what in list(Told) else Told.ALERT)


def _is_behind(before: tuple[Any, ...] | None, last: tuple[Any, ...]) -> bool:
    """Whether the keys still rise: a damaged tree may lead round and round."""
    try:
        return before is None or bool(last > before)
    except TypeError:
        return False


def _is_there(path: Path) -> bool:
    """Raises StoreError for a folder that this user may not enter."""
    try:
        return path.is_file()
    except PermissionError:
        raise StoreError(f"{path}: you may not read these records: be root, or of the group waaler-read") from None


def _of_this_version(db: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    if refuse_newer(db, path) in (0, SCHEMA_VERSION):
        return db
    copy = sqlite3.connect(":memory:", isolation_level=None)
    with closing(db):
        db.backup(copy)
    migrate(copy, path)
    return copy


def connect(path: Path) -> sqlite3.Connection:
    """Read-only. After a clean close, and without leave to write in the folder, the file counts as unchanging.

    Beside a `-wal` it would be wrong to say so: old rows would be read.
    """
    address = path.absolute().as_uri()
    db = sqlite3.connect(f"{address}?mode=ro", uri=True, isolation_level=None, timeout=BUSY_S)
    try:
        db.execute("SELECT 1 FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError:
        db.close()
        if path.with_name(path.name + "-wal").exists():
            raise
        db = sqlite3.connect(f"{address}?mode=ro&immutable=1", uri=True, isolation_level=None)
    return db
