"""The end of a delivery as a whole: a server that drips never lets the timeout of a single read expire."""

import os
import socket
import time
from queue import Empty, SimpleQueue
from threading import Lock, Thread, Timer
from types import TracebackType
from typing import Any

__all__ = ["TOTAL_S", "Deadline"]

TOTAL_S = 45.0
"""A delivery takes some seconds; a hung one holds up its own channel alone, and not for longer."""

MOST_ADDRESSES = 4


class Deadline:
    """Ends every connection made through it once the time is over. is_over: whether that happened.

    Whoever waits in a read or a write then gets an end of file or an error.
    """

    def __init__(self, total_s: float) -> None:
        self.is_over = False
        self._ends_s = time.monotonic() + total_s
        self._watched: list[socket.socket] = []
        self._lock = Lock()
        self._timer = Timer(total_s, self._end)
        self._timer.daemon = True

    def __enter__(self) -> "Deadline":
        self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        with self._lock:
            for watched in self._watched:
                watched.close()
            self._watched = []

    def connect(
        self, address: tuple[str, int], wait_s: float, source: tuple[str, int] | None = None
    ) -> socket.socket:
        """A connection to one of a host's first addresses; each read on it may wait so long. Raises OSError."""
        problem: OSError = OSError("the name has no address")
        found = _resolved(address, self._ends_s)
        for family, kind, number, _, place in found[:MOST_ADDRESSES]:
            left_s = self._ends_s - time.monotonic()
            if left_s <= 0:
                raise TimeoutError("timed out")
            sock = socket.socket(family, kind, number)
            try:
                sock.settimeout(min(wait_s, left_s))
                if source is not None:
                    sock.bind(source)
                sock.connect(place)
                sock.settimeout(wait_s)
                self._watch(sock)
            except OSError as failed:
                sock.close()
                problem = failed
            else:
                return sock
        raise problem

    def _watch(self, sock: socket.socket) -> None:
        """By a handle of its own: the one who reads may close or wrap his at any moment."""
        with self._lock:
            if self.is_over:
                raise TimeoutError("timed out")
            self._watched.append(socket.socket(fileno=os.dup(sock.fileno())))

    def _end(self) -> None:
        with self._lock:
            self.is_over = True
            for watched in self._watched:
                try:
                    watched.shutdown(socket.SHUT_RDWR)
                except OSError:
                    continue  # it ended by itself


def _resolved(address: tuple[str, int], ends_s: float) -> list[Any]:
    """What the name stands for. The resolver knows no deadline: a try that hangs is left behind. Raises OSError."""
    answers: SimpleQueue[list[Any] | Exception] = SimpleQueue()

    def ask() -> None:
        try:
            answers.put(list(socket.getaddrinfo(*address, type=socket.SOCK_STREAM)))
        except Exception as problem:
            answers.put(problem)

    Thread(target=ask, name="resolver", daemon=True).start()
    try:
        found = answers.get(timeout=max(0.0, ends_s - time.monotonic()))
    except Empty:
        raise TimeoutError("nobody says what the name stands for") from None
    if isinstance(found, Exception):
        raise found
    return found
