"""The bed's figures in a file for a collector of text files, replaced whole once a minute."""

import time
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread

import structlog

from waaler.notify.places import Places
from waaler.report.bed import Bed
from waaler.report.metrics import metrics
from waaler.settings.outside_file import refuse_odd

__all__ = ["MetricsFile"]

EVERY_S = 60.0

log = structlog.get_logger()


class MetricsFile(Thread):
    """Until `ending` is set. A file that cannot be written is told once. bed: may be replaced from any thread."""

    def __init__(self, path: Path, bed: Bed, places: Places, ending: Event) -> None:
        super().__init__(name="metrics", daemon=True)
        self._path, self.bed, self._places, self._ending = path, bed, places, ending
        self._last_problem = ""

    def run(self) -> None:
        while not self._ending.is_set():
            try:
                self.write(time.time())
                self._last_problem = ""
            except Exception as problem:
                if str(problem) != self._last_problem:
                    log.warning("metrics_not_written", path=str(self._path), problem=str(problem))
                self._last_problem = str(problem)
            self._ending.wait(EVERY_S)

    def write(self, now_s: float) -> None:
        """Whoever reads it at this moment gets the old text or the new one. Raises OSError, also for a device."""
        with suppress(FileNotFoundError):
            refuse_odd(self._path)
        new = self._path.with_name(f"{self._path.name}.new")
        new.write_text(metrics([(self.bed, self._places.database)], now_s), encoding="utf-8")
        new.chmod(0o644)
        new.replace(self._path)
