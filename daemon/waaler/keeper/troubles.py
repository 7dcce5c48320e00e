"""What people are told of the guard's own troubles."""

from waaler.core.alert import AlertKind, Severity
from waaler.core.messages import Notice
from waaler.core.texts import loose
from waaler.devices.pipe import Trouble, TroubleKind

__all__ = ["notice_of"]

LINES = {
    TroubleKind.RELAY_NOT_OFF: (
        Severity.URGENT,
        "The relay does not take the order to go off: {}.",
        "It is told again several times a second, and nothing starts.",
        "Pull the pump's plug now. Then look at the relay board and its wires.",
        "It stays locked until somebody releases it.",
    ),
    TroubleKind.JOURNAL_NOT_KEPT: (
        Severity.SOON,
        "The guard cannot keep its journal: {}.",
        "Watering goes on. After a power cut locks and pump time are known from the history alone.",
        "Look at the card: is it full, read-only or worn?",
        "Ends by itself once the card takes it again.",
    ),
    TroubleKind.NO_STOP_SOCKET: (
        Severity.SOON,
        "`waaler stop` does not reach the guard: {}.",
        "Watering goes on; `waaler pause` still works.",
        "Look at the run-time folder. To stop the pump at once, pull its plug.",
        "Ends by itself once the socket can be opened.",
    ),
}


def notice_of(trouble: Trouble) -> Notice:
    """The alert that begins or ends with it."""
    severity, what, *rest = LINES[trouble.kind]
    words = loose(what.format(trouble.text), *rest) if trouble.text else None
    return Notice(AlertKind(trouble.kind.value), severity, words)
