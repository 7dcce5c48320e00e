"""An alert that stands, and the lines of its text."""

from dataclasses import dataclass
from math import inf

from waaler.core.facts import Severity

__all__ = ["Doubt", "OpenAlert", "Words"]


MOMENTS = frozenset({"restarted", "history-lost"})
"""Kinds that tell of something that is over, known as such after a restart too."""


@dataclass(frozen=True, slots=True)
class Words:
    """The lines that an alert's kind decides; empty ones are left out.

    refill: whether the thing to do is a refill, which is then written out with its amount. is_thirsty: whether
    plants wait for water meanwhile. is_moment: it tells of something that is over, so that a person's word ends it.
    """

    what: str
    did: str = ""
    now: str = ""
    touch: str = ""
    again: str = ""
    refill: bool = False
    is_thirsty: bool = False
    is_moment: bool = False


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """raised_s, told_s: raised, and last told to people (long hand). reminders: how often it was told again.

    says_refill: whether its text may speak of a refill as it stands. words None: restored, not yet raised again.
    """

    kind: str
    severity: Severity
    text: str
    raised_s: float
    told_s: float
    reminders: int = 0
    acknowledged_by: str | None = None
    says_refill: bool = True
    words: Words | None = None

    @property
    def is_moment(self) -> bool:
        return self.kind in MOMENTS or (self.words is not None and self.words.is_moment)


@dataclass(frozen=True, slots=True)
class Doubt:
    """Against an adviser. times: how often it became not valid since it last read well for long. last_s: when it
    last was not valid."""

    name: str
    times: int = 0
    last_s: float = -inf
    is_now: bool = False
