"""A sign of life to the outside, only while the daemon itself gives one: whoever listens notices silence."""

from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread

import structlog

from waaler.core.status import BedState
from waaler.notify.asking import ask_status
from waaler.notify.channels import NotNow, NotThis
from waaler.notify.secrets import read_secret
from waaler.notify.webhook import call
from waaler.settings.messages import Heartbeat

__all__ = ["Beat", "is_alive"]

DEAD = frozenset({BedState.NO_ANSWER, BedState.HANGS})

log = structlog.get_logger()


def is_alive(control: Path) -> bool:
    """Whether the daemon answers and its keeper's own beat is fresh."""
    return ask_status(control).state not in DEAD


class Beat(Thread):
    """Calls the address at an interval, until `ending` is set. publish: the same for the broker's subscribers."""

    def __init__(
        self, beat: Heartbeat, control: Path, ending: Event, publish: Callable[[], object] | None = None
    ) -> None:
        super().__init__(name="heartbeat", daemon=True)
        self._beat, self._control, self._ending = beat, control, ending
        self._publish = publish
        self._last_problem = ""

    def run(self) -> None:
        while not self._ending.is_set():
            try:
                self.beat()
            except Exception as problem:
                self._note(type(problem).__name__)
            self._ending.wait(self._beat.every_s)

    def beat(self) -> None:
        """One beat, or a silence where the daemon is away."""
        if not is_alive(self._control):
            self._note("the daemon gives no sign of life")
            return
        if self._publish is not None:
            self._publish()
        try:
            self._call()
        except (OSError, NotNow, NotThis) as problem:
            self._note(str(problem))
        else:
            self._last_problem = ""

    def _call(self) -> None:
        beat = self._beat
        url = beat.url if beat.url_file is None else read_secret(beat.url_file)
        if url is not None:
            call(url)

    def _note(self, reason: str) -> None:
        if reason != self._last_problem:
            log.warning("heartbeat_withheld", reason=reason)
        self._last_problem = reason
