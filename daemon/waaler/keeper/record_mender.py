"""Makes records good that were lost or damaged under a running daemon, and tells people of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import structlog

from waaler.core.alert import AlertKind, Severity, Words
from waaler.core.facts import Fact
from waaler.core.messages import Notice
from waaler.core.texts import loose
from waaler.records.mending import Mended, mend
from waaler.records.store import Store

__all__ = ["RecordMender"]

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class RecordMender:
    """known: the facts of the present. tell: hears what was lost."""

    database: Path
    boot: str
    known: Callable[[], Sequence[Fact]]
    tell: Callable[[Notice], object]

    def mend(self, store: Store, problem: Exception) -> bool:
        """Whether it was needed and done; the store is closed then.

        Raises sqlite3.Error and OSError while the disk does not take it.
        """
        mended = mend(self.database, store, problem, self.boot, self.known)
        if mended is None:
            return False
        log.error("records_mended", problem=str(problem), aside=str(mended.aside), rows=mended.rows)
        self.tell(Notice(AlertKind.HISTORY_LOST, Severity.SOON, _words(mended)))
        return True


def _words(mended: Mended) -> Words:
    kept = "" if mended.aside is None else f" What stood there was kept as {mended.aside.name}."
    if mended.rows is None:
        return loose(
            "The file of the history was moved, deleted or replaced while the daemon ran.",
            f"It was written anew with all that was in it: nothing is lost.{kept}",
            "Leave the files of the daemon alone while it runs; if nobody did that, look at the card.",
            "It is told once.",
        )
    rows = "1 row" if mended.rows == 1 else f"{mended.rows} rows"
    return loose(
        "The file of the history was damaged while the daemon ran.",
        f"{rows} of it could be read and stand in a new one, with what the daemon knows; others are lost.{kept}",
        "Look at the card: is it worn?",
        "It is told once.",
    )
