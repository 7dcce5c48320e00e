"""The bed's figures in a file for a collector of text files, replaced whole once a minute."""

import time
from pathlib import Path
from threading import Event

from waaler.notify.lasting import LastingThread
from waaler.notify.logged_once import LoggedOnce
from waaler.notify.places import Places
from waaler.report.bed import Bed
from waaler.report.metrics import metrics
from waaler.settings.replacing import replaced

__all__ = ["MetricsFile"]

EVERY_S = 60.0


class MetricsFile(LastingThread):
    """A file that cannot be written is told once. bed: may be replaced from any thread."""

    def __init__(self, path: Path, bed: Bed, places: Places, ending: Event) -> None:
        super().__init__("metrics", ending)
        self._path, self.bed, self._places = path, bed, places
        self._log = LoggedOnce(path=str(path))

    def turn(self) -> float:
        self.write(time.time())
        self._log.over()
        return EVERY_S

    def failed(self, problem: Exception) -> float:
        self._log.met("metrics_not_written", str(problem))
        return EVERY_S

    def write(self, now_s: float) -> None:
        """Whoever reads it at this moment gets the old text or the new one. Raises OSError, also for a device."""
        with replaced(self._path) as new:
            new.write_text(metrics([(self.bed, self._places.database)], now_s), encoding="utf-8")
            new.chmod(0o644)
