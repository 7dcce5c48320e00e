"""Alerts as the daemon itself tells them, for when the records do not: a full, broken or vanished disk.

In ordinary times the records tell first, and nothing here has anything to say.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from waaler.core.facts import Severity
from waaler.core.status import AlertNow
from waaler.notify.deliveries import Deliveries
from waaler.records.rows import AlertRow, Outgoing, Told

__all__ = ["Heard", "Hearsay"]

PATIENCE_S = 30.0
"""How long an alert stands before the records are taken to be silent on it; they tell it within seconds."""

SAME_WITHIN_S = 1.5
"""The status tells whole seconds."""

FORGET_S = 7 * 86_400.0


@dataclass(frozen=True, slots=True)
class Heard:
    """An alert that was told without the records. is_over: that was told too."""

    kind: str
    since_s: float
    severity: Severity
    text: str
    is_over: bool = False


class Hearsay:
    """Of one channel. What was told is kept on disk where that takes it, and in memory in any case.

    Belongs to the thread that owns `deliveries`.
    """

    def __init__(self, bed: str, deliveries: Deliveries) -> None:
        self._bed, self._deliveries = bed, deliveries
        self._told = {
            (kind, since_s): Heard(kind, since_s, _severity(severity), text, bool(is_over))
            for kind, since_s, severity, text, is_over in deliveries.heard()
        }

    def due(self, alerts: Sequence[AlertNow], recorded: Collection[str], now_s: float) -> Iterator[Outgoing]:
        """What the channel should tell now. recorded: the kinds that stand in the records."""
        standing = {(alert.kind, alert.since.timestamp()): alert for alert in alerts}
        for key, told in tuple(self._told.items()):
            if key not in standing and not told.is_over and told.kind not in recorded:
                yield self._message(replace(told, is_over=True), Told.RESOLVED, now_s)
            elif told.is_over and now_s - told.since_s > FORGET_S:
                self._drop(key)
        for key, alert in standing.items():
            is_late = now_s - key[1] >= PATIENCE_S
            if is_late and key not in self._told and alert.kind not in recorded and alert.acknowledged is None:
                heard = Heard(*key, _severity(alert.severity), alert.text)
                yield self._message(heard, Told.ALERT, None)

    def told(self, message: Outgoing) -> None:
        """It went out, or never can."""
        alert = message.about
        assert isinstance(alert, AlertRow)
        is_over = message.what is Told.RESOLVED
        heard = Heard(alert.kind, alert.raised_at_s, alert.severity, alert.text, is_over)
        self._told[(heard.kind, heard.since_s)] = heard
        self._deliveries.hear(heard.kind, heard.since_s, heard.severity.value, heard.text, is_over)

    def knows(self, message: Outgoing) -> bool:
        """Whether the records tell, late, what was told without them; from then on they are in charge of it."""
        alert = message.about
        if not isinstance(alert, AlertRow) or message.what not in (Told.ALERT, Told.RESOLVED):
            return False
        for key, told in self._told.items():
            if told.kind == alert.kind and abs(told.since_s - alert.raised_at_s) <= SAME_WITHIN_S:
                if told.is_over is (message.what is Told.RESOLVED):
                    self._drop(key)
                    return True
                return told.is_over
        return False

    def _drop(self, key: tuple[str, float]) -> None:
        del self._told[key]
        self._deliveries.forget(*key)

    def _message(self, heard: Heard, what: Told, over_s: float | None) -> Outgoing:
        row = AlertRow(0, heard.kind, heard.severity, heard.text, 1, heard.since_s, over_s)
        return Outgoing(int(what is Told.RESOLVED), f"{self._bed}-{heard.kind}-{heard.since_s:.0f}", row, what)


def _severity(text: str) -> Severity:
    """One of a later version counts as urgent."""
    try:
        return Severity(text)
    except ValueError:
        return Severity.URGENT
