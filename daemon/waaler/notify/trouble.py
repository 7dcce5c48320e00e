"""A channel that fails for long is itself something to know: by the other channels, the page and the status."""

import re
from math import inf
from pathlib import Path

from waaler.notify.asking import ask
from waaler.visible import one_line

__all__ = ["Trouble"]

AFTER_S = 3600.0
AFTER_NEVER_S = 3000.0
ROUNDING_S = 0.01
AGAIN_S = 600.0
"""How soon the daemon is told again, where it did not take it."""


class Trouble:
    """Tells the daemon once a channel has failed for an hour, and once it works again.

    now_s of all methods: by a clock that only goes forward.
    """

    def __init__(self, channel: str, control: Path | None) -> None:
        self._name = re.sub(r"[^a-z0-9]+", "-", channel.lower()).strip("-")[:40]
        self._control = control
        self._since_s: float | None = None
        self._reason: str | None = None
        self._told: bool | None = None
        self._next_s = 0.0

    def failed(self, reason: str, now_s: float, has_worked: bool = True) -> None:
        """has_worked: ever, for this bed; one that never did is told as such, and a little sooner."""
        since_s = self._since_s = now_s if self._since_s is None else self._since_s
        self._reason = reason
        if now_s - since_s >= (AFTER_S if has_worked else AFTER_NEVER_S) and self._told is not True:
            self._tell(True, one_line(reason if has_worked else f"it has never worked; {reason}"), now_s)

    @property
    def reason(self) -> str | None:
        """Why it fails now; None while it works. From any thread."""
        return self._reason

    def due_in_s(self, now_s: float) -> float:
        """How long until it is told if it still fails, so that a long wait between two tries delays nothing."""
        if self._since_s is None or self._told is True:
            return inf
        failed_s = now_s - self._since_s
        waits = [after_s - failed_s for after_s in (AFTER_NEVER_S, AFTER_S) if after_s > failed_s]
        return min(waits, default=inf) + ROUNDING_S

    def worked(self, now_s: float) -> None:
        """The first time it is told in any case: a former notifier may have said otherwise."""
        self._since_s = self._reason = None
        if self._told is not False:
            self._tell(False, None, now_s)

    def _tell(self, is_trouble: bool, reason: str | None, now_s: float) -> None:
        if self._control is None or now_s < self._next_s:
            return
        self._next_s = now_s + AGAIN_S
        try:
            answer = ask(self._control, {"do": "channel", "name": self._name, "reason": reason})
        except (OSError, ValueError):
            return
        if answer.get("ok") is True:
            self._told, self._next_s = is_trouble, 0.0
