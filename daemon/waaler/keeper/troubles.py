"""What people are told when a part of the daemon fails, in this process or in the guard's."""

import threading
from collections.abc import Callable, Iterable

import structlog

from waaler.core.alert import AlertKind, OpenAlert, Severity
from waaler.core.messages import Notice
from waaler.core.texts import HISTORY_NOT_KEPT, loose, not_told
from waaler.devices.pipe import Trouble, TroubleKind

__all__ = ["Troubles", "notice_of"]

OF_THE_LAST_DAEMON = {
    AlertKind.PART_FAILED, AlertKind.RESTART_NEEDED, AlertKind.PLAN_REJECTED,
    *(AlertKind(kind.value) for kind in TroubleKind),
}  # fmt: skip

log = structlog.get_logger()

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


class Troubles:
    """post: takes what people must know; watering goes on."""

    def __init__(self, post: Callable[[Notice], object]) -> None:
        self._post = post

    def part_died(self, name: str, problem: BaseException | None) -> None:
        """A thread other than the keeper's own."""
        log.error("part_died", part=name, problem=repr(problem))
        words = loose(
            f"A part of the daemon ({name}) failed: {problem}.",
            "Watering goes on.",
            "Look at the log.",
            "The part is begun again by itself; this alert ends with a restart.",
        )
        self._post(Notice(AlertKind.PART_FAILED, Severity.SOON, words, name))

    def thread_died(self, args: threading.ExceptHookArgs) -> None:
        """A thread of a library; ours are begun again."""
        self.part_died(args.thread.name if args.thread else "unknown", args.exc_value)

    def records_fail(self, is_failing: bool) -> None:
        words = HISTORY_NOT_KEPT if is_failing else None
        self._post(Notice(AlertKind.HISTORY_NOT_KEPT, Severity.SOON, words))

    def channel(self, name: str, reason: str | None) -> None:
        """The notifier says that people are not reached on a channel, or are again."""
        words = None if reason is None else not_told(name, reason)
        self._post(Notice(AlertKind.NOT_TOLD, Severity.SOON, words, name))

    def of_the_guard(self, trouble: Trouble) -> None:
        self._post(notice_of(trouble))

    def begin(self, standing: Iterable[OpenAlert]) -> None:
        """What the last daemon said of itself is over."""
        for known in standing:
            if known.alert.kind in OF_THE_LAST_DAEMON:
                self._post(Notice(known.alert.kind, subject=known.alert.subject))
