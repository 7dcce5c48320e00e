"""A problem that stays is one line of the log, however often it is met again."""

from typing import Any

import structlog

__all__ = ["LoggedOnce"]

log = structlog.get_logger()


class LoggedOnce:
    """about: what every line of it says besides the reason."""

    def __init__(self, **about: Any) -> None:
        self._about, self._last = about, ""

    def met(self, event: str, reason: str) -> None:
        if reason != self._last:
            log.warning(event, **self._about, reason=reason)
        self._last = reason

    def over(self) -> None:
        """The same problem is told again if it comes back."""
        self._last = ""
