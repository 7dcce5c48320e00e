"""The records as other processes see them: read-only, and never open for longer than one question."""

import sqlite3
from collections.abc import Callable, Iterator
from enum import Enum
from math import ceil
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from waaler.core.facts import Outcome
from waaler.records.columns import ALERT, DEED, RUN, TRIP, alert_row, deed_row, run_row, sample_row, trip_row
from waaler.records.rows import AlertRow, DeedRow, Outgoing, RunRow, SampleRow, Told, TripRow
from waaler.records.schema import NoRecords, StoreError, refuse_newer

__all__ = ["Reader", "Step", "Table", "connect"]

BUSY_S = 2.0
PAGE_ROWS = 5000
Row = TypeVar("Row")


class Table(Enum):
    """What a complete copy has. The outbox is left out: it is only what has yet to be sent."""

    BOOT = "boot"
    RUN = "run"
    ALERT = "alert"
    TRIP = "trip"
    DEED = "deed"
    AMOUNT = "amount"
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

    Every method reads all its rows and ends its transaction, since a reader that lingers makes the file grow.
    Raises NoRecords without a file, NewerRecords and StoreError for one that this program cannot read.
    """

    def __init__(self, path: Path) -> None:
        if not _is_there(path):
            raise NoRecords(f"{path}: no records yet; they begin when `waaler run` first starts for this bed")
        self._path = path
        try:
            self._db = connect(path)
        except sqlite3.Error as problem:
            raise StoreError(f"{path}: cannot be read as records: {problem}") from problem
        try:
            refuse_newer(self._db, path)
            self.name = str(self._all(lambda row: row[0], "SELECT records FROM name")[0])
        except StoreError:
            self._db.close()
            raise

    def __enter__(self) -> "Reader":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._db.close()

    def runs(self, since_s: float, until_s: float) -> list[RunRow]:
        """Runs, skips, refusals and missed cycles of a period, oldest first."""
        return self._all(
            run_row, f"SELECT {RUN} FROM run WHERE when_s >= ? AND when_s < ? ORDER BY when_s, id", since_s, until_s
        )

    def newest_runs(
        self, since_s: float, until_s: float, outcome: Outcome | None, most: int, leave_out: int
    ) -> list[RunRow]:
        """A page of a period's runs, newest first: `most` of them after those left out; outcome None takes all."""
        chosen, values = ("", ()) if outcome is None else ("AND outcome = ?", (outcome.value,))
        return self._all(
            run_row,
            f"SELECT {RUN} FROM run WHERE when_s >= ? AND when_s < ? {chosen}"
            " ORDER BY when_s DESC, id DESC LIMIT ? OFFSET ?",
            since_s,
            until_s,
            *values,
            most,
            leave_out,
        )

    def alerts(self, since_s: float, until_s: float) -> list[AlertRow]:
        """Alerts that were raised in a period, oldest first."""
        return self._all(
            alert_row,
            f"SELECT {ALERT} FROM alert WHERE raised_wall_s >= ? AND raised_wall_s < ? ORDER BY raised_wall_s, id",
            since_s,
            until_s,
        )

    def open_alerts(self) -> list[AlertRow]:
        """Alerts that stand now, oldest first."""
        return self._all(alert_row, f"SELECT {ALERT} FROM alert WHERE resolved_wall_s IS NULL ORDER BY id")

    def deeds(self, since_s: float, until_s: float) -> list[DeedRow]:
        """What was done in a period, oldest first."""
        return self._all(
            deed_row, f"{DEED} FROM deed WHERE wall_s >= ? AND wall_s < ? ORDER BY wall_s, id", since_s, until_s
        )

    def last_deed(self, *whats: str) -> DeedRow | None:
        """The latest of these kinds, None without any."""
        marks = ", ".join("?" * len(whats))
        rows = self._all(deed_row, f"{DEED} FROM deed WHERE what IN ({marks}) ORDER BY id DESC LIMIT 1", *whats)
        return rows[0] if rows else None

    def trips(self, since_s: float, until_s: float) -> list[TripRow]:
        """Trips that began in a period, oldest first."""
        return self._all(
            trip_row,
            f"{TRIP} WHERE began_wall_s >= ? AND began_wall_s < ? ORDER BY began_wall_s, id",
            since_s,
            until_s,
        )

    def open_trips(self) -> list[TripRow]:
        """Trips that stand now, oldest first."""
        return self._all(trip_row, f"{TRIP} WHERE over_wall_s IS NULL ORDER BY id")

    def run(self, number: int) -> RunRow | None:
        """One run by its number."""
        rows = self._all(run_row, f"SELECT {RUN} FROM run WHERE id = ?", number)
        return rows[0] if rows else None

    def run_in_progress(self) -> RunRow | None:
        """The run that was granted and has no end yet."""
        rows = self._all(
            run_row,
            f"SELECT {RUN} FROM run WHERE outcome IS NULL AND started_wall_s IS NOT NULL ORDER BY id DESC LIMIT 1",
        )
        return rows[0] if rows else None

    def last_full(self) -> RunRow | None:
        """The latest run that ran its time."""
        rows = self._all(run_row, f"SELECT {RUN} FROM run WHERE outcome = 'done' ORDER BY when_s DESC LIMIT 1")
        return rows[0] if rows else None

    def samples(
        self, since_s: float, until_s: float, step: Step = Step.TEN_MINUTES, bundle: int = 1
    ) -> list[SampleRow]:
        """What the sensors read, oldest first: minutes are kept for a month, ten minutes for a year.

        bundle: so many steps as one row; at_s is then a multiple of their length since 1970.
        """
        table, column, seconds = step.value
        minutes = "1" if step is Step.MINUTE else "minutes"
        return self._all(
            sample_row,
            f"SELECT name, unit, {column} / {bundle} * {bundle * seconds}, sum({minutes}),"
            f" 1.0 * sum(mean_milli * {minutes}) / sum({minutes}), min(least_milli), max(most_milli)"
            f" FROM {table} JOIN sensor ON sensor.id = sensor WHERE {column} >= ? AND {column} < ?"
            " GROUP BY 3, sensor ORDER BY 3, sensor",
            ceil(since_s / seconds),
            ceil(until_s / seconds),
        )

    def coverage(self, since_s: float, until_s: float, step: Step = Step.TEN_MINUTES) -> list[SampleRow]:
        """Each sensor over the whole period in one row; minutes: of the steps in which it gave any reading.

        at_s: the last of these steps.
        """
        table, column, seconds = step.value
        return self._all(
            sample_row,
            f"SELECT name, unit, max({column}) * {seconds}, count(*) * {seconds // 60},"
            f" 1.0 * sum(mean_milli * minutes) / sum(minutes), min(least_milli), max(most_milli)"
            f" FROM {table} JOIN sensor ON sensor.id = sensor WHERE {column} >= ? AND {column} < ?"
            " GROUP BY sensor ORDER BY sensor",
            ceil(since_s / seconds),
            ceil(until_s / seconds),
        )

    def deeds_of(self, since_s: float, until_s: float, *whats: str) -> list[DeedRow]:
        """Deeds of these kinds in a period, oldest first."""
        marks = ", ".join("?" * len(whats))
        return self._all(
            deed_row,
            f"{DEED} FROM deed WHERE wall_s >= ? AND wall_s < ? AND what IN ({marks}) ORDER BY wall_s, id",
            since_s,
            until_s,
            *whats,
        )

    def alerts_of(self, kind: str, since_s: float, until_s: float) -> list[AlertRow]:
        """Alerts of one kind that were raised in a period, oldest first."""
        return [alert for alert in self.alerts(since_s, until_s) if alert.kind == kind]

    def alive_s(self) -> float | None:
        """The wall time at which the daemon last noted that it lived; None where its clock was never sure."""
        rows = self._all(
            lambda row: row[0], "SELECT last_long_s + sure_offset_s FROM boot ORDER BY id DESC LIMIT 1"
        )
        return None if not rows else rows[0]

    def latest_s(self) -> float | None:
        """The wall time of the last run in the history, None without any."""
        latest: float | None = self._all(lambda row: row[0], "SELECT max(when_s) FROM run")[0]
        return latest

    def columns(self, table: Table) -> list[str]:
        """The table's columns in their order."""
        return self._all(lambda row: str(row[0]), "SELECT name FROM pragma_table_info(?)", table.value)

    def pages(self, table: Table) -> Iterator[list[tuple[Any, ...]]]:
        """All rows by their key, some thousand at a time; between two no transaction is open."""
        keys = self._all(
            lambda row: str(row[0]), "SELECT name FROM pragma_table_info(?) WHERE pk ORDER BY pk", table.value
        )
        key, columns = ", ".join(keys), self.columns(table)
        at = [columns.index(name) for name in keys]
        query = f"SELECT * FROM {table.value} {{}} ORDER BY {key} LIMIT {PAGE_ROWS}"
        rows = self._all(tuple, query.format(""))
        while rows:
            yield rows
            marks = ", ".join("?" * len(keys))
            rows = self._all(tuple, query.format(f"WHERE ({key}) > ({marks})"), *(rows[-1][n] for n in at))

    def after(self, number: int, most: int) -> list[Outgoing]:
        """At most so many messages that came after this one, in their order."""
        rows = self._all(
            lambda row: row, "SELECT id, what, ref FROM outbox WHERE id > ? ORDER BY id LIMIT ?", number, most
        )
        return [self._outgoing(*row) for row in rows]

    def message(self, number: int) -> Outgoing | None:
        """One message; None for one that is no longer kept."""
        rows = self._all(lambda row: row, "SELECT id, what, ref FROM outbox WHERE id = ?", number)
        return self._outgoing(*rows[0]) if rows else None

    def totals(self) -> list[tuple[str, int, float]]:
        """Of all runs that ended: how, how many, and the seconds that the pump was on."""
        query = "SELECT outcome, count(*), sum(actual_s) FROM run WHERE outcome IS NOT NULL GROUP BY 1 ORDER BY 1"
        return self._all(lambda row: (str(row[0]), int(row[1]), float(row[2])), query)

    def alerts_waiting(self, number: int) -> set[int]:
        """The alerts of which messages came after this one."""
        query = "SELECT DISTINCT ref FROM outbox WHERE id > ? AND what <> 'run'"
        return set(self._all(lambda row: int(row[0]), query, number))

    def waiting(self, number: int) -> int:
        """How many messages came after this one."""
        return int(self._all(lambda row: row[0], "SELECT count(*) FROM outbox WHERE id > ?", number)[0])

    def last_before(self, wall_s: float) -> int:
        """The number of the last message written before a wall time; 0 if there is none."""
        query = "SELECT coalesce(max(id), 0) FROM outbox WHERE wall_s < ?"
        return int(self._all(lambda row: row[0], query, wall_s)[0])

    def _outgoing(self, number: int, what: str, ref: int) -> Outgoing:
        if what == Told.RUN:
            run = self._all(run_row, f"SELECT {RUN} FROM run WHERE id = ?", ref)[0]
            return Outgoing(number, self.name, run, Told.RUN)
        alert = self._all(alert_row, f"SELECT {ALERT} FROM alert WHERE id = ?", ref)[0]
        return Outgoing(number, self.name, alert, Told(what))

    def _all(self, make: Callable[[tuple[Any, ...]], Row], query: str, *values: object) -> list[Row]:
        try:
            return [make(row) for row in self._db.execute(query, values).fetchall()]
        except sqlite3.Error as problem:
            raise StoreError(f"{self._path}: cannot be read: {problem}") from problem


def _is_there(path: Path) -> bool:
    """Raises StoreError for a folder that this user may not enter."""
    try:
        return path.is_file()
    except PermissionError:
        raise StoreError(f"{path}: you may not read these records: be root, or of the group waaler-read") from None


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
