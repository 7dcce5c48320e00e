"""Asks the daemon now and then which alerts stand: whatever becomes of the disk, its memory knows."""

from collections.abc import Sequence
from pathlib import Path
from threading import Event

from waaler.core.status import AlertNow, BedState
from waaler.notify.asking import ask_status
from waaler.notify.lasting import LastingThread

__all__ = ["Listener"]

EVERY_S = 10.0


class Listener(LastingThread):
    """alerts: as last heard, for any thread; None where the daemon did not answer."""

    def __init__(self, control: Path, ending: Event) -> None:
        super().__init__("listener", ending)
        self.alerts: Sequence[AlertNow] | None = None
        self._control = control

    def turn(self) -> float:
        status = ask_status(self._control)
        self.alerts = None if status.state is BedState.NO_ANSWER else status.alerts
        return EVERY_S

    def failed(self, problem: Exception) -> float:  # noqa: ARG002
        self.alerts = None
        return EVERY_S
