"""The keeper's end of the pipe to the guard: what it says is posted on, what it is told never waits."""

import os
import socket
from collections.abc import Callable
from threading import Lock, Thread
from typing import Any

from waaler.devices.clock import Clock
from waaler.devices.pipe import (
    PIPE_VARIABLE,
    Began,
    Finish,
    Hello,
    Pipe,
    RelayLevels,
    Reload,
    Report,
    Setup,
    Trouble,
)
from waaler.guard.codec import Misfit
from waaler.guard.messages import Instant
from waaler.guard.state import State

__all__ = ["GuardGone", "GuardLink"]

ANSWERS_WITHIN_S = 30.0


class GuardGone(RuntimeError):
    """The guard's process does not answer: without it there is nothing to keep."""


class GuardLink:
    """hello: what the guard remembers. state: of the guard, as it last told it; any thread may look."""

    def __init__(self, clock: Clock, end: int | None = None) -> None:
        number = int(os.environ.pop(PIPE_VARIABLE, "-1")) if end is None else end
        try:
            self._end = socket.socket(fileno=number)
        except (OSError, ValueError):
            raise GuardGone("the keeper is begun by the guard: use `waaler run`") from None
        self._end.settimeout(ANSWERS_WITHIN_S)
        self._pipe, self._clock, self._sending = Pipe(self._end), clock, Lock()
        self.hello: Hello = self._wait_for(Hello)
        self.state: State | None = None
        self.report: Report | None = None

    def set_up(self, setup: Setup) -> Began:
        """Names lines and limits; waits for the guard to hold them. Raises GuardGone."""
        self.tell(setup)
        began: Began = self._wait_for(Began)
        while self.state is None:
            self._take_report(self._wait_for(Report))
        self._end.settimeout(None)
        return began

    def tell(self, message: Any) -> bool:
        """From any thread; whether it went. A guard that hears nothing grants nothing."""
        with self._sending:
            return self._pipe.send(message, self._clock.now())

    def follow(
        self,
        said: Callable[[Instant, Any], object],
        asked: Callable[[Reload | Finish], object],
        trouble: Callable[[Trouble], object],
        relay: Callable[[RelayLevels], object],
        lost: Callable[[], object],
    ) -> None:
        """Hears the guard from now on, in a thread of its own. lost: its process is gone."""

        def hear() -> None:
            while True:
                try:
                    found = self._pipe.receive(does_wait=True)
                except Misfit:
                    continue
                except EOFError:
                    lost()
                    return
                if found is not None:
                    take(*found)

        def take(message: Any, at: Instant) -> None:
            match message:
                case Report():
                    self._take_report(message)
                case Reload() | Finish():
                    asked(message)
                case Trouble():
                    trouble(message)
                case RelayLevels():
                    relay(message)
                case _:
                    said(at, message)

        Thread(target=hear, name="guard link", daemon=True).start()

    def _take_report(self, report: Report) -> None:
        self.report, self.state = report, report.state

    def _wait_for(self, kind: type[Any]) -> Any:
        """The next message of this kind; what comes before it is of the past."""
        while True:
            try:
                found = self._pipe.receive(does_wait=True)
            except Misfit:
                continue
            except EOFError:
                raise GuardGone("the guard is gone") from None
            if found is None:
                raise GuardGone(f"the guard did not answer within {ANSWERS_WITHIN_S:.0f} s")
            if isinstance(found[0], kind):
                return found[0]
