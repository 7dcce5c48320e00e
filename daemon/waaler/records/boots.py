"""Boots, and what an instant of one boot is by the long hand of another."""

import sqlite3
from enum import StrEnum

from waaler.core.facts import Act
from waaler.guard.messages import Instant

__all__ = ["Boots", "End"]

MOST_S = 7_258_118_400.0
"""From 1970 to 2200: no clock of ours tells more."""


class End(StrEnum):
    """How a process ended."""

    STOPPED = "stopped"
    CRASHED = "crashed"
    POWER = "with the boot"


class Boots:
    """Within a boot ages are exact; across boots the time off counts as zero unless both clocks were sure."""

    def __init__(self, db: sqlite3.Connection, name: str) -> None:
        self._db, self._name = db, name
        row = db.execute("SELECT last_long_s + sure_offset_s FROM boot ORDER BY id DESC LIMIT 1").fetchone()
        self.last_alive_s = None if row is None else _moment(row[0])
        """The wall time up to which the former process surely lived; None where its clock was never sure."""

    def last_end(self) -> End | None:
        """Of the process before this one; None where there was none."""
        row = self._db.execute(
            "SELECT deed.what, boot.name FROM deed JOIN boot ON boot.id = deed.boot"
            f" WHERE deed.what IN ('{Act.START}', '{Act.STOP}') ORDER BY deed.id DESC LIMIT 1"
        ).fetchone()
        if row is None:
            return None
        if row[0] == Act.STOP:
            return End.STOPPED
        return End.CRASHED if row[1] == self._name else End.POWER

    def note(self, at: Instant) -> int:
        """The number of the present boot, alive at this instant. Call inside a transaction."""
        row = self._db.execute(
            "INSERT INTO boot (name, last_long_s, sure_offset_s) VALUES (:name, :long_s, :offset_s)"
            " ON CONFLICT (name) DO UPDATE SET last_long_s = max(last_long_s, excluded.last_long_s),"
            " sure_offset_s = coalesce(excluded.sure_offset_s, sure_offset_s) RETURNING id",
            {"name": self._name, "long_s": at.long_s, "offset_s": at.wall_s - at.long_s if at.is_sure else None},
        ).fetchone()
        return int(row[0])

    def here(self, boot: int, long_s: float, now: Instant) -> float:
        """An instant of any boot by the present boot's long hand: negative if before this boot.

        Its age is never less than the time that the machine is known to have been on since. Raises ValueError where
        the boot, or the instant, makes no sense.
        """
        here_s = self._here(boot, long_s, now)
        if not -MOST_S <= here_s <= MOST_S:
            raise ValueError(f"{long_s} of boot {boot} is no instant")
        return here_s

    def _here(self, boot: int, long_s: float, now: Instant) -> float:
        name, last_long_s, offset_s = self._row(boot)
        if name == self._name:
            return long_s
        on_between_s = self._db.execute(
            "SELECT coalesce(sum(last_long_s), 0) FROM boot WHERE id > ? AND name <> ?", (boot, self._name)
        ).fetchone()[0]
        latest_s = long_s - float(last_long_s) - float(on_between_s)
        if offset_s is None or not now.is_sure:
            return latest_s
        return min(latest_s, now.long_s - (now.wall_s - (long_s + float(offset_s))))

    def is_known(self, boot: int, now: Instant) -> bool:
        """Whether ages since that boot are exact."""
        name, _, offset_s = self._row(boot)
        return name == self._name or (offset_s is not None and now.is_sure)

    def _row(self, boot: int) -> tuple[str, float, float | None]:
        row: tuple[str, float, float | None] | None = self._db.execute(
            "SELECT name, last_long_s, sure_offset_s FROM boot WHERE id = ?", (boot,)
        ).fetchone()
        if row is None:
            raise ValueError(f"boot {boot} is not in the records")
        return row


def _moment(wall_s: object) -> float | None:
    """None for what is no time of any clock."""
    return wall_s if isinstance(wall_s, float) and 0.0 <= wall_s <= MOST_S else None
