"""Lets a few programs of this machine wait for the daemon's next change, so that they need not ask again and again.

The answer is the count of changes, no more. What changed is read in the records, or asked for with `status`. One
thread answers all of them and waits for none: an answer that does not go at once is dropped.
"""

import json
import os
import random
import select
import socket
import time
from contextlib import suppress
from dataclasses import dataclass
from math import inf
from threading import Lock

from waaler.keeper.lasting import Died, LastingThread

__all__ = ["LONGEST_WAIT_S", "MOST_WAITING", "Changes"]

LONGEST_WAIT_S = 10.0
"""Then the answer comes without a change, as a sign of life."""

MOST_WAITING = 4
"""At one time. The last place is the notifier's."""


THERE_FOR_S = 3 * LONGEST_WAIT_S


@dataclass(frozen=True, slots=True)
class _Waiter:
    connection: socket.socket
    since: int
    until_s: float


class Changes(LastingThread):
    """The count begins anywhere: the next daemon's is another one, and who waits with the old one hears at once."""

    def __init__(self, died: Died) -> None:
        super().__init__("changes", died)
        self._lock = Lock()
        self._count = random.getrandbits(40)
        self._waiters: list[_Waiter] = []
        self._notifier_s = -inf
        self._bell = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)

    @property
    def has_notifier(self) -> bool:
        """Whether the notifier waits, or did a moment ago."""
        return time.monotonic() < self._notifier_s + THERE_FOR_S

    def tell(self) -> None:
        """From any thread: something changed. Waits for nobody."""
        with self._lock:
            self._count += 1
        self._ring()

    def wait(self, connection: socket.socket, since: int, is_notifier: bool) -> bool:
        """Takes the connection over, and answers on it once the count is another than `since`, or after 10 s.

        False where too many wait already, or the daemon ends.
        """
        with self._lock:
            if self._ending.is_set() or len(self._waiters) >= MOST_WAITING - (not is_notifier):
                return False
            if is_notifier:
                self._notifier_s = time.monotonic()
            self._waiters.append(_Waiter(connection, since, time.monotonic() + LONGEST_WAIT_S))
        self._ring()
        return True

    def stop(self) -> None:
        """Who waits is answered by the end of the connection."""
        self._ending.set()
        self._ring()

    def work(self) -> None:
        while not self._ending.is_set():
            gone = self._sleep()
            self._answer(gone)
        with self._lock:
            for waiter in self._waiters:
                waiter.connection.close()
            self._waiters = []

    def _ring(self) -> None:
        with suppress(BlockingIOError):  # it rings already
            os.eventfd_write(self._bell, 1)

    def _sleep(self) -> set[int]:
        """Until something is to be done; the connections whose other end went away, or talks out of turn."""
        with self._lock:
            waiters = tuple(self._waiters)
        poll = select.poll()
        poll.register(self._bell, select.POLLIN)
        for waiter in waiters:
            poll.register(waiter.connection, select.POLLIN)
        left_s = min((waiter.until_s for waiter in waiters), default=None)
        found = poll.poll(None if left_s is None else 1000 * max(0.0, left_s - time.monotonic()) + 1)
        with suppress(BlockingIOError):
            os.eventfd_read(self._bell)
        return {number for number, _ in found} - {self._bell}

    def _answer(self, gone: set[int]) -> None:
        """Whoever has something to hear."""
        now_s = time.monotonic()
        with self._lock:
            count = self._count
            due = [one for one in self._waiters if one.since != count or one.until_s <= now_s]
            lost = [one for one in self._waiters if one.connection.fileno() in gone and one not in due]
            self._waiters = [one for one in self._waiters if one not in due and one not in lost]
        line = json.dumps({"ok": True, "changes": count}).encode() + b"\n"
        for waiter in due:
            with suppress(OSError):
                waiter.connection.send(line, socket.MSG_DONTWAIT | socket.MSG_NOSIGNAL)
        for waiter in (*due, *lost):
            waiter.connection.close()
