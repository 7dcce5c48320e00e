"""Sends what waits in the records, in its order, at least once: told only when the broker acknowledged it."""

import time
from collections.abc import Callable
from pathlib import Path

import structlog

from waaler.notify.deliveries import Deliveries
from waaler.records.reader import Reader
from waaler.records.rows import LOST, Outgoing, Unread
from waaler.records.schema import StoreError

__all__ = ["Outbox", "signature"]

MOST_IN_FLIGHT = 20
"""Messages on their way at once; so many may come twice after a crash."""

FIRST_LOOK_BACK_S = 86_400.0
"""Records never followed before are told from a day back on, not from their beginning."""

log = structlog.get_logger()


class Outbox:
    """send: hands one message to the channel and gives the number by which it will be acknowledged.

    It may raise ValueError for a message that can never be sent. unanswered_since_s: since when messages went out
    and none was acknowledged, by a clock that only goes forward; None where none is waited for.
    """

    def __init__(self, database: Path, deliveries: Deliveries, send: Callable[[Outgoing], int]) -> None:
        self._database, self._deliveries, self._send = database, deliveries, send
        self._records = ""
        self._last_sent = 0
        self._in_flight: dict[int, int] = {}
        self._seen: tuple[tuple[int, int], ...] = ()
        self._is_behind = True
        self.unanswered_since_s: float | None = None

    @property
    def is_behind(self) -> bool:
        """Whether more waits than there was room for."""
        return self._is_behind

    def look(self, now_wall_s: float, must_read: bool) -> bool:
        """Sends what is new, as far as there is room; whether the records have changed since the last look.

        must_read: read them though they look unchanged; times of files are too coarse to rely on for ever.
        """
        seen = signature(self._database)
        has_changed = seen != self._seen
        if not seen or not (has_changed or must_read or self._is_behind):
            return has_changed
        try:
            with Reader(self._database) as reader:
                self._follow(reader, now_wall_s)
                self._send_waiting(reader)
        except StoreError as problem:
            if has_changed:
                log.warning("records_not_read", problem=str(problem))
        self._seen = seen
        return has_changed

    def acknowledged(self, mid: int, refused_because: str | None) -> None:
        """The broker has it, or refuses it: then it is parked with the reason, not sent in a loop."""
        number = self._in_flight.pop(mid, None)
        if number is None:
            if refused_because is not None:
                log.error("message_refused", reason=refused_because)
            return
        self.unanswered_since_s = time.monotonic() if self._in_flight else None
        if refused_because is not None:
            self._park(number, refused_because)
        self._note_place()

    def rewind(self) -> None:
        """The connection broke: all that was not acknowledged is sent again, in its order.

        The channel may repeat it by itself as well; two such rows, each in order, keep the first coming in order.
        """
        if self._in_flight:
            self._last_sent = min(self._in_flight.values()) - 1
        self._in_flight, self._is_behind = {}, True

    def _follow(self, reader: Reader, now_wall_s: float) -> None:
        """Takes up the place in these records; they may be new ones, if the old were set aside."""
        if reader.name == self._records:
            return
        self._records, self._in_flight = reader.name, {}
        place = self._deliveries.place(reader.name)
        self._last_sent = reader.last_before(now_wall_s - FIRST_LOOK_BACK_S) if place is None else place

    def _send_waiting(self, reader: Reader) -> None:
        room = MOST_IN_FLIGHT - len(self._in_flight)
        waiting = reader.after(self._last_sent, room) if room > 0 else []
        self._is_behind = len(waiting) == max(room, 0)
        for message in waiting:
            try:
                if isinstance(message, Unread):
                    raise ValueError(LOST)
                self._in_flight[self._send(message)] = message.number
                self.unanswered_since_s = self.unanswered_since_s or time.monotonic()
            except ValueError as problem:
                self._park(message.number, str(problem))
            self._last_sent = message.number

    def _park(self, number: int, reason: str) -> None:
        log.error("message_parked", number=number, reason=reason)
        self._deliveries.park(self._records, number, reason)

    def _note_place(self) -> None:
        self._deliveries.told(self._records, min(self._in_flight.values(), default=self._last_sent + 1) - 1)


def signature(database: Path) -> tuple[tuple[int, int], ...]:
    """Changes whenever something was committed; empty without a file."""
    found = []
    for path in (database, database.with_name(database.name + "-wal")):
        try:
            stat = path.stat()
        except OSError:
            continue
        found.append((stat.st_mtime_ns, stat.st_size))
    return tuple(found)
