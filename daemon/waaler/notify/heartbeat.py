"""A sign of life to the outside, only while the daemon itself gives one: whoever listens notices silence."""

from collections.abc import Callable
from pathlib import Path
from threading import Event

from waaler.core.status import BedState
from waaler.notify.asking import ask_status
from waaler.notify.channels import NotNow, NotThis
from waaler.notify.lasting import LastingThread
from waaler.notify.logged_once import LoggedOnce
from waaler.notify.secrets import read_secret
from waaler.notify.webhook import call
from waaler.settings.messages import Heartbeat

__all__ = ["Beat", "is_alive"]

DEAD = frozenset({BedState.NO_ANSWER, BedState.HANGS})
WITHHELD = "heartbeat_withheld"


def is_alive(control: Path) -> bool:
    """Whether the daemon answers and its keeper's own beat is fresh."""
    return ask_status(control).state not in DEAD


class Beat(LastingThread):
    """Calls the address at an interval. publish: the same for the broker's subscribers."""

    def __init__(
        self, beat: Heartbeat, control: Path, ending: Event, publish: Callable[[], object] | None = None
    ) -> None:
        super().__init__("heartbeat", ending)
        self._beat, self._control, self._publish = beat, control, publish
        self._log = LoggedOnce()

    def turn(self) -> float:
        self.beat()
        return self._beat.every_s

    def failed(self, problem: Exception) -> float:
        self._log.met(WITHHELD, type(problem).__name__)
        return self._beat.every_s

    def beat(self) -> None:
        """One beat, or a silence where the daemon is away."""
        if not is_alive(self._control):
            self._log.met(WITHHELD, "the daemon gives no sign of life")
            return
        if self._publish is not None:
            self._publish()
        try:
            self._call()
        except (OSError, NotNow, NotThis) as problem:
            self._log.met(WITHHELD, str(problem))
        else:
            self._log.over()

    def _call(self) -> None:
        beat = self._beat
        url = beat.url if beat.url_file is None else read_secret(beat.url_file)
        if url is not None:
            call(url)
