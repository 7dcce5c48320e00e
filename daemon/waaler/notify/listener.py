"""Hears the daemon: waits at its socket for the next change, and asks now and then where it cannot wait.

Whatever becomes of the disk, the daemon's memory knows which alerts stand.
"""

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Event

from waaler.core.status import AlertNow, BedState, Status
from waaler.notify.asking import ask, ask_status
from waaler.notify.lasting import LastingThread

__all__ = ["Listener"]

ANSWER_WITHIN_S = 12.0
"""The daemon answers after 10 s, changed or not."""

ASK_EVERY_S = 2.0
"""Where it does not let us wait: it is away, hangs, is of another version, or has no place left."""

MOST_A_S = 10.0
MOST_IN_A_ROW = 20.0
"""A daemon in which much happens is no reason for endless haste here."""


class Listener(LastingThread):
    """status: as last asked for, None before that. From this thread are called:

    wakes: as soon as something changed, before anybody asks what. hears: with each status.
    """

    def __init__(self, control: Path, ending: Event) -> None:
        super().__init__("listener", ending)
        self.status: Status | None = None
        self.wakes: list[Callable[[], object]] = []
        self.hears: list[Callable[[Status], object]] = []
        self._control = control
        self._since = 0
        self._credit, self._credit_s = MOST_IN_A_ROW, time.monotonic()

    @property
    def alerts(self) -> Sequence[AlertNow] | None:
        """Which alerts stand; None where the daemon did not answer."""
        status = self.status
        return None if status is None or status.state is BedState.NO_ANSWER else status.alerts

    def turn(self) -> float:
        try:
            self._wait()
            wait_s = self._pause_s()
        except (OSError, ValueError):
            wait_s = ASK_EVERY_S
        self.status = status = ask_status(self._control)
        for hear in self.hears:
            hear(status)
        return wait_s

    def failed(self, problem: Exception) -> float:  # noqa: ARG002
        self.status = None
        return ASK_EVERY_S

    def _wait(self) -> None:
        """Until something changed, or 10 s. Raises OSError and ValueError where that cannot be."""
        answer = ask(self._control, {"do": "wait", "since": self._since}, ANSWER_WITHIN_S)
        count = answer.get("changes")
        if not isinstance(count, int):
            raise ValueError("it lets us not wait")
        if count != self._since:
            for wake in self.wakes:
                wake()
        self._since = count

    def _pause_s(self) -> float:
        now_s = time.monotonic()
        self._credit = min(MOST_IN_A_ROW, self._credit + MOST_A_S * (now_s - self._credit_s)) - 1.0
        self._credit_s = now_s
        return 0.0 if self._credit > 0.0 else 1.0 / MOST_A_S
