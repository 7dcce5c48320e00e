"""Facts as rows. Every function runs inside the caller's transaction; the same fact twice does no harm."""

import json
import sqlite3
from collections.abc import Iterable
from math import isfinite

from waaler.core.facts import (
    AlertAcknowledged,
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Deed,
    Fact,
    PresentNoted,
    RunIntent,
    RunResult,
    RunStarted,
    SumpNoted,
    TripBegan,
    TripOver,
    WearNoted,
)
from waaler.core.status import as_json
from waaler.guard.messages import Instant
from waaler.records.about import as_text
from waaler.records.rows import Told

__all__ = ["Inserts"]

LOST = "its intent was not kept"

TENS_A_DAY = 144
TEN_MINUTES = (
    "INSERT OR REPLACE INTO sample_10_min"
    " SELECT ?, sensor, count(*), round(avg(mean_milli)), min(least_milli), max(most_milli)"
    " FROM sample WHERE minute BETWEEN ? AND ? GROUP BY sensor"
)
DAY = (
    "INSERT OR REPLACE INTO sample_day"
    " SELECT ?, sensor, sum(minutes), round(1.0 * sum(mean_milli * minutes) / sum(minutes)),"
    " min(least_milli), max(most_milli) FROM sample_10_min WHERE ten BETWEEN ? AND ? GROUP BY sensor"
)

SampleRow = tuple[str, str, int, float, float, float]
"""Name, unit, minute since 1970, mean, least, most."""


class Inserts:
    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def fact(self, fact: Fact, boot: int) -> None:
        match fact:
            case RunIntent():
                self._intent(fact, boot)
            case RunStarted():
                self._started(fact, boot)
            case RunResult():
                self._result(fact, boot)
            case AlertRaised():
                self._raised(fact, boot)
            case AlertReminded():
                self._reminded(fact, boot)
            case AlertReworded():
                self._reworded(fact)
            case AlertAcknowledged(at, kind, by):
                changes = "acknowledged_by = ?, told_boot = ?, told_long_s = ?"
                self._change(kind, "acknowledged", at, changes, by, boot, at.long_s)
            case AlertResolved():
                self._resolved(fact, boot)
            case Deed():
                self._deed(fact, boot)
            case TripBegan():
                self._trip(fact, boot)
            case SumpNoted():
                self._sump(fact, boot)
            case PresentNoted(at, present):
                told = json.dumps(as_json(present), ensure_ascii=False)
                self._db.execute(
                    "INSERT OR REPLACE INTO present VALUES (1, ?, ?, ?, ?, ?)", (*_moment(boot, at), told)
                )
            case WearNoted(_, wear):
                values = (*map(json.dumps, (wear.flows, wear.means, wear.dried_s)), wear.is_wet)
                self._db.execute("INSERT OR REPLACE INTO wear VALUES (1, ?, ?, ?, ?)", values)
            case TripOver(at, trip, by, where):
                self._db.execute(
                    "UPDATE trip SET over_boot = ?, over_long_s = ?, over_wall_s = ?, over_is_sure = ?, by = ?"
                    " WHERE trip = ? AND input = ? AND over_wall_s IS NULL",
                    (*_moment(boot, at), by, trip.value, where or ""),
                )

    def has(self, fact: Fact) -> bool:
        """Whether an alert, or an entry of the sump, stands in the records already."""
        value: str | float
        match fact:
            case AlertRaised():
                query, value = "SELECT 1 FROM alert WHERE kind = ? AND resolved_wall_s IS NULL", fact.kind
            case SumpNoted():
                query, value = "SELECT 1 FROM sump WHERE wall_s >= ?", fact.at.wall_s - 1.0
            case _:
                return False
        return self._db.execute(query, (value,)).fetchone() is not None

    def samples(self, rows: Iterable[SampleRow]) -> None:
        """Minutes, and from them the ten minutes and days that they belong to."""
        tens: set[int] = set()
        for name, unit, minute, *values in rows:
            self._db.execute("INSERT OR IGNORE INTO sensor (name, unit) VALUES (?, ?)", (name, unit))
            self._db.execute(
                "INSERT OR REPLACE INTO sample VALUES"
                " (?, (SELECT id FROM sensor WHERE name = ? AND unit = ?), ?, ?, ?)",
                (minute, name, unit, *(round(value * 1000) for value in values)),
            )
            tens.add(minute // 10)
        for ten in tens:
            self._db.execute(TEN_MINUTES, (ten, 10 * ten, 10 * ten + 9))
        for day in {ten // TENS_A_DAY for ten in tens}:
            self._db.execute(DAY, (day, TENS_A_DAY * day, TENS_A_DAY * day + TENS_A_DAY - 1))

    def bound_outbox(self, most_runs: int) -> None:
        """The oldest rows of runs and of mere rewordings go first, alerts never."""
        self._db.execute(
            "DELETE FROM outbox WHERE what IN ('run', 'reworded') AND id <= (SELECT max(id) FROM outbox) - ?",
            (most_runs,),
        )

    def _intent(self, fact: RunIntent, boot: int) -> None:
        key = fact.key
        self._db.execute(
            "INSERT OR IGNORE INTO run (id, when_s, cause, purse, asked_s, planned_s, reason, day, window, n,"
            " planned_at_s, pulse, pulses, by, intent_boot, intent_long_s, intent_wall_s, intent_is_sure)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                fact.run_id,
                fact.at.wall_s if key is None else key.start_s,
                fact.cause.value,
                fact.purse.value,
                fact.seconds,
                fact.planned_seconds,
                fact.reason,
                *((None,) * 4 if key is None else (key.day.isoformat(), key.window, key.n, key.start_s)),
                fact.pulse,
                fact.pulses,
                fact.by,
                *_moment(boot, fact.at),
            ),
        )

    def _lost_intent(self, run_id: int, at: Instant, boot: int) -> None:
        """A row for a run whose intent never reached the disk; nothing if it did."""
        self._db.execute(
            "INSERT OR IGNORE INTO run (id, when_s, cause, purse, asked_s, planned_s, reason, pulse, pulses,"
            " intent_boot, intent_long_s, intent_wall_s, intent_is_sure)"
            " VALUES (?, ?, 'plan', 'plan', 0, 0, ?, 1, 1, ?, ?, ?, ?)",
            (run_id, at.wall_s, LOST, *_moment(boot, at)),
        )

    def _started(self, fact: RunStarted, boot: int) -> None:
        self._lost_intent(fact.run_id, fact.at, boot)
        self._db.execute(
            "UPDATE run SET when_s = ?, granted_s = ?, started_boot = ?, started_long_s = ?, started_wall_s = ?,"
            " started_is_sure = ? WHERE id = ?",
            (fact.at.wall_s, fact.seconds, *_moment(boot, fact.at), fact.run_id),
        )

    def _result(self, fact: RunResult, boot: int) -> None:
        self._lost_intent(fact.run_id, fact.at, boot)
        is_new = self._db.execute(
            "UPDATE run SET outcome = ?, actual_s = ?, result_reason = ?, ended_boot = ?, ended_long_s = ?,"
            " ended_wall_s = ?, ended_is_sure = ?, is_full = ?"
            " WHERE id = ? AND (outcome IS NULL OR outcome = 'interrupted')",
            (fact.outcome.value, fact.seconds, fact.reason, *_moment(boot, fact.at), fact.is_full, fact.run_id),
        ).rowcount
        if is_new:
            self._post("run", fact.run_id, fact.at)

    def _raised(self, fact: AlertRaised, boot: int) -> None:
        known = self._db.execute(
            "SELECT id, severity FROM alert WHERE kind = ? AND resolved_wall_s IS NULL", (fact.kind,)
        ).fetchone()
        if known is not None:
            self._raised_again(fact, boot, *known)
            return
        row = self._db.execute(
            "INSERT INTO alert (kind, severity, text, raised_boot, raised_long_s, raised_wall_s, raised_is_sure,"
            " told_boot, told_long_s, about, says_refill) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
            (
                fact.kind, fact.severity.value, fact.text, *_moment(boot, fact.at), boot, fact.at.long_s,
                as_text(fact.about), fact.says_refill,
            ),
        ).fetchone()  # fmt: skip
        self._told(row[0], Told.ALERT, fact)
        self._post("alert", row[0], fact.at)

    def _raised_again(self, fact: AlertRaised, boot: int, alert: int, severity: str) -> None:
        """It only counts up, unless it has become another severity: that is told."""
        self._db.execute(
            "UPDATE alert SET times = times + 1, severity = ?, text = ?, told_boot = ?, told_long_s = ?, about = ?,"
            " says_refill = ? WHERE id = ?",
            (
                fact.severity.value, fact.text, boot, fact.at.long_s, as_text(fact.about), fact.says_refill, alert,
            ),
        )  # fmt: skip
        if severity != fact.severity.value:
            self._told(alert, Told.ALERT, fact)
            self._post("alert", alert, fact.at)

    def _reminded(self, fact: AlertReminded, boot: int) -> None:
        changes = (
            "text = ?, about = ?, says_refill = ?, reminders = ?, person = ?, told_boot = ?, told_long_s = ?,"
            " acknowledged_by = NULL"
        )
        values = (fact.text, as_text(fact.about), fact.says_refill, fact.reminders, fact.person, boot)
        alert = self._change(fact.kind, "reminder", fact.at, changes, *values, fact.at.long_s)
        self._told(alert, Told.REMINDER, fact)

    def _reworded(self, fact: AlertReworded) -> None:
        values = (fact.text, as_text(fact.about), fact.says_refill)
        alert = self._change(fact.kind, "reworded", fact.at, "text = ?, about = ?, says_refill = ?", *values)
        self._told(alert, Told.REWORDED, fact)

    def _told(self, alert: int | None, what: Told, fact: AlertRaised | AlertReminded | AlertReworded) -> None:
        """Keeps a text as it was told, with its time."""
        self._db.execute(
            "INSERT INTO telling (alert, kind, what, severity, text, wall_s)"
            " SELECT id, kind, ?, severity, ?, ? FROM alert WHERE id = ?",
            (what.value, fact.text, fact.at.wall_s, alert),
        )

    def _change(self, kind: str, what: str, at: Instant, changes: str, *values: object) -> int | None:
        """Something new of an alert that stands: its number; None where none of this kind does."""
        row = self._db.execute(
            f"UPDATE alert SET {changes} WHERE kind = ? AND resolved_wall_s IS NULL RETURNING id", (*values, kind)
        ).fetchone()
        if row is None:
            return None
        self._post(what, row[0], at)
        return int(row[0])

    def _resolved(self, fact: AlertResolved, boot: int) -> None:
        row = self._db.execute(
            "UPDATE alert SET resolved_boot = ?, resolved_long_s = ?, resolved_wall_s = ?, resolved_is_sure = ?"
            " WHERE kind = ? AND resolved_wall_s IS NULL RETURNING id",
            (*_moment(boot, fact.at), fact.kind),
        ).fetchone()
        if row is not None:
            self._post("resolved", row[0], fact.at)

    def _deed(self, fact: Deed, boot: int) -> None:
        row = self._db.execute(
            "INSERT INTO deed (what, text, by, until_wall_s, seconds, boot, long_s, wall_s, is_sure)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
            (fact.what, fact.text, fact.by, fact.until_s, fact.seconds, *_moment(boot, fact.at)),
        ).fetchone()
        self._db.executemany(
            "INSERT INTO amount VALUES (?, ?, ?, ?)",
            [(row[0], amount.name, amount.value, amount.unit) for amount in fact.amounts],
        )

    def _trip(self, fact: TripBegan, boot: int) -> None:
        self._db.execute(
            "INSERT OR IGNORE INTO trip (trip, reason, is_locked, began_boot, began_long_s, began_wall_s,"
            " began_is_sure, input) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (fact.trip.value, fact.reason, fact.is_locked, *_moment(boot, fact.at), fact.input or ""),
        )

    def _sump(self, fact: SumpNoted, boot: int) -> None:
        entry = fact.entry
        self._db.execute(
            "INSERT INTO sump (boot, long_s, wall_s, is_sure, litres, ec, tank_l, added_l, weighed_l,"
            " weighed_ago_s, renewed_ago_s, first_ec, last_ec, is_read)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *_moment(boot, fact.at), entry.litres, entry.ec, entry.tank_l, entry.added_l, fact.weighed_l,
                fact.weighed_ago_s, fact.renewed_ago_s if isfinite(fact.renewed_ago_s) else None, fact.first_ec,
                fact.last_ec, fact.is_read,
            ),
        )  # fmt: skip

    def _post(self, what: str, ref: int, at: Instant) -> None:
        self._db.execute("INSERT INTO outbox (what, ref, wall_s) VALUES (?, ?, ?)", (what, ref, at.wall_s))


def _moment(boot: int, at: Instant) -> tuple[int, float, float, bool]:
    return (boot, at.long_s, at.wall_s, at.is_sure)
