"""A sign of life to the outside, only while the daemon itself gives one: whoever listens notices silence."""

from collections.abc import Callable
from pathlib import Path
from threading import Event

from waaler.core.alert import AlertKind
from waaler.core.status import BedState, Status
from waaler.notify.asking import ask_status
from waaler.notify.channels import NotNow, NotThis
from waaler.notify.lasting import LastingThread
from waaler.notify.logged_once import LoggedOnce
from waaler.notify.secrets import read_secret
from waaler.notify.webhook import call
from waaler.settings.messages import Heartbeat

__all__ = ["Beat", "silence"]

DEAD = frozenset({BedState.NO_ANSWER, BedState.HANGS})
MUTE = AlertKind.HISTORY_NOT_KEPT
NOT_TOLD = AlertKind.NOT_TOLD.of("")
WITHHELD = "heartbeat_withheld"


def silence(status: Status) -> str | None:
    """Why no heart may beat, else None: the daemon is away or hangs, keeps no records, or reaches nobody."""
    if status.state in DEAD:
        return "the daemon gives no sign of life"
    kinds = sorted(alert.kind for alert in status.alerts)
    return next((f"{kind} stands" for kind in kinds if kind == MUTE or kind.startswith(NOT_TOLD)), None)


class Beat(LastingThread):
    """Calls the address at an interval. publish: the same for the broker's subscribers.

    trouble: why the notifier itself cannot tell or read now; None while it can.
    """

    def __init__(
        self,
        beat: Heartbeat,
        control: Path,
        ending: Event,
        publish: Callable[[], object] | None = None,
        trouble: Callable[[], str | None] = lambda: None,
    ) -> None:
        super().__init__("heartbeat", ending)
        self._beat, self._control, self._publish, self._trouble = beat, control, publish, trouble
        self._log = LoggedOnce()

    def turn(self) -> float:
        self.beat()
        return self._beat.every_s

    def failed(self, problem: Exception) -> float:
        self._log.met(WITHHELD, type(problem).__name__)
        return self._beat.every_s

    def beat(self) -> None:
        """One beat, or a silence where somebody would believe in vain that all is well."""
        reason = silence(ask_status(self._control)) or self._trouble()
        if reason is not None:
            self._log.met(WITHHELD, reason)
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
