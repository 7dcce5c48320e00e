"""Runs `waaler notify` beside the daemon where no unit does it, and starts it again when it dies."""

import subprocess
import sys
from pathlib import Path

import structlog

__all__ = ["NotifyChild"]

FIRST_WAIT_S = 2.0
LONGEST_WAIT_S = 60.0

log = structlog.get_logger()


class NotifyChild:
    """`look` is called about once a second; it starts the child when it is due and never waits for it."""

    def __init__(self, file: Path) -> None:
        self._command = [sys.executable, "-m", "waaler.cli.main", "notify", "--child", str(file)]
        self._process: subprocess.Popen[bytes] | None = None
        self._wait_s = FIRST_WAIT_S
        self._start_at_s = 0.0

    @property
    def number(self) -> int | None:
        """The process's, None while there is none."""
        return None if self._process is None else self._process.pid

    def look(self, now_s: float) -> None:
        if self._process is not None and self._process.poll() is not None:
            log.warning("notify_ended", status=self._process.returncode, again_in_s=self._wait_s)
            self._process = None
            self._start_at_s = now_s + self._wait_s
            self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)
        if self._process is None and now_s >= self._start_at_s:
            self._start(now_s)

    def _start(self, now_s: float) -> None:
        """A child that cannot be started is tried again later: the watering needs none."""
        try:
            self._process = subprocess.Popen(self._command, stdin=subprocess.DEVNULL)
        except OSError as problem:
            log.warning("notify_not_started", problem=str(problem), again_in_s=self._wait_s)
            self._start_at_s = now_s + self._wait_s
            self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)

    def stop(self) -> None:
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(timeout=3)
        except subprocess.TimeoutExpired:
            self._process.kill()
