"""What a way to a person must do, and what can come of it."""

from collections.abc import Iterable
from typing import Protocol

from waaler.core.facts import Severity
from waaler.notify.note import Note
from waaler.notify.redaction import redacted
from waaler.visible import one_line

__all__ = ["WAIT_S", "Channel", "NotNow", "NotThis", "Refused", "kind_of"]

WAIT_S = 10.0
"""For a server that is silent. Each channel has a thread of its own, so that it holds up nobody else."""


class Refused(Exception):
    """The reason is one line without secrets and without anything that steers a terminal or a log."""

    def __init__(self, reason: str, secrets: Iterable[str] = ()) -> None:
        super().__init__(one_line(redacted(reason, secrets)))


class NotNow(Refused):
    """It could not be delivered and may be later."""


class NotThis(Refused):
    """This message will never be taken; it is parked with the reason."""


class Channel(Protocol):
    """name: short and fixed, for the log and its place in the queue. least: nothing less severe goes this way."""

    name: str
    least: Severity

    def send(self, note: Note) -> None:
        """Delivers it, once, and within `deadline.TOTAL_S`. Raises NotNow and NotThis, and nothing else."""

    def probe(self) -> None:
        """Goes as far as it can without a message, so that a wrong password is known before it matters.

        Raises NotNow.
        """


def kind_of(problem: Exception) -> str:
    """What was raised and where; its text may hold a secret."""
    trace = problem.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = "" if trace is None else f" in {trace.tb_frame.f_code.co_name}, line {trace.tb_lineno}"
    return f"{type(problem).__name__}{where}"
