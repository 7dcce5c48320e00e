"""Log lines: for people on a console, or JSON for a collector. The journal adds its own time to either.

A pipe that nobody reads, a stopped terminal or a hung collector must hold nobody up: lines go through a bounded
queue to a thread of its own, and what does not fit is dropped and counted.
"""

import logging
import sys
from queue import Full, Queue
from threading import Thread
from typing import TextIO

import structlog

__all__ = ["DroppingFile", "log_to"]

MOST_LINES = 1000


class DroppingFile:
    """A file for log lines whose `write` never waits. dropped: lines that found no room."""

    def __init__(self, file: TextIO, most_lines: int = MOST_LINES) -> None:
        self._file, self._lines = file, Queue[str](most_lines)
        self.dropped = 0
        Thread(target=self._run, name="log", daemon=True).start()

    def write(self, text: str) -> None:
        try:
            self._lines.put_nowait(text)
        except Full:
            self.dropped += 1

    def flush(self) -> None:
        """The thread does it after each line."""

    def end(self, within_s: float) -> None:
        """What waits is still written, if it can be in this time."""
        done = Thread(target=self._lines.join, daemon=True)
        done.start()
        done.join(within_s)

    def _run(self) -> None:
        while True:
            text = self._lines.get()
            try:
                self._file.write(text)
                self._file.flush()
            except (OSError, ValueError):
                self.dropped += 1  # nobody is there to tell
            finally:
                self._lines.task_done()


def log_to(log_format: str) -> DroppingFile:
    """`console` or `json`, on the error stream."""
    file = DroppingFile(sys.stderr)
    structlog.configure(
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.JSONRenderer()
            if log_format == "json"
            else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty()),
        ],
        logger_factory=structlog.WriteLoggerFactory(file),  # type: ignore[arg-type]
        cache_logger_on_first_use=True,
    )
    return file
