"""What readers get: one frozen row for each run, alert, deed and message."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from waaler.bed.ledger import Entry
from waaler.core.facts import Amount, Cause, Outcome, Severity
from waaler.core.status import Present
from waaler.guard.messages import Trip
from waaler.plan.types import CycleKey

__all__ = [
    "LOST", "AlertRow", "DeedRow", "Outgoing", "PresentRow", "RunRow", "SampleRow", "SumpRow", "TellingRow", "Told",
    "TripRow", "Unread",
]  # fmt: skip


LOST = "the records cannot tell it any more: they are damaged there"
"""The reason with which an Unread message is parked."""


class Told(StrEnum):
    """What a message tells of."""

    RUN = "run"
    ALERT = "alert"
    REMINDER = "reminder"
    REWORDED = "reworded"
    ACKNOWLEDGED = "acknowledged"
    RESOLVED = "resolved"


class RunRow(NamedTuple):
    """A run, or a cycle that never became one. Times are wall times, seconds since 1970 UTC.

    A named tuple, since a history has thousands of them: a frozen dataclass took four times as long to make.

    when_s: where it stands in the history: its start, else its planned time, else when it was decided.
    is_sure: whether the wall clock was when it was decided. asked_s, planned_s, granted_s, actual_s: lengths in
    seconds. reason: why it was wanted; result_reason: why it ended so. outcome None: it has not ended yet.
    """

    run_id: int
    when_s: float
    cause: Cause
    asked_s: float
    planned_s: float
    reason: str
    key: CycleKey | None
    pulse: int
    pulses: int
    by: str | None
    decided_at_s: float
    is_sure: bool
    started_at_s: float | None
    granted_s: float | None
    outcome: Outcome | None
    ended_at_s: float | None
    actual_s: float
    result_reason: str | None

    @property
    def planned_at_s(self) -> float | None:
        """When its cycle should have begun; None without one."""
        return None if self.key is None else self.key.start_s

    @property
    def cycle(self) -> CycleKey | int:
        """The same for all pulses of one cycle."""
        return self.run_id - self.pulse + 1 if self.key is None else self.key


@dataclass(frozen=True, slots=True)
class AlertRow:
    """times: how often it was raised while it stood. resolved_at_s None: it stands.

    reminders: how often it was told again; person: whose turn it is, by the place in the contacts. acknowledged_by:
    who took it on, None while nobody did.
    """

    alert_id: int
    kind: str
    severity: Severity
    text: str
    times: int
    raised_at_s: float
    resolved_at_s: float | None
    reminders: int = 0
    person: int = 0
    acknowledged_by: str | None = None

    @property
    def headline(self) -> str:
        """What it is, without what to do."""
        return self.text.partition("\n")[0]


@dataclass(frozen=True, slots=True)
class TellingRow:
    """One text of an alert, as it was told then. what: raised, reminded of, or reworded for those who show it."""

    alert_id: int
    kind: str
    what: Told
    severity: Severity
    text: str
    at_s: float

    @property
    def headline(self) -> str:
        """What it is, without what to do."""
        return self.text.partition("\n")[0]


@dataclass(frozen=True, slots=True)
class DeedRow:
    """What a person or the daemon did. until_s: wall time at which it ends by itself. amounts: poured, measured."""

    at_s: float
    what: str
    text: str
    by: str | None
    until_s: float | None
    amounts: tuple[Amount, ...] = ()


@dataclass(frozen=True, slots=True)
class TripRow:
    """over_at_s None: it stands. by: who lifted its lock, None for one that ended by itself."""

    trip: Trip
    reason: str
    is_locked: bool
    began_at_s: float
    over_at_s: float | None
    by: str | None

    @property
    def stops_the_plan(self) -> bool:
        """After a run that moved nothing the next one tries again."""
        return self.trip is not Trip.NO_FLOW


@dataclass(frozen=True, slots=True)
class SumpRow:
    """An entry of the sump's ledger. is_read: its level was read, not reckoned."""

    at_s: float
    entry: Entry
    is_read: bool


@dataclass(frozen=True, slots=True)
class PresentRow:
    """What the bed did, and what came next, from at_s on."""

    at_s: float
    present: Present


@dataclass(frozen=True, slots=True)
class SampleRow:
    """One sensor for a while. at_s: wall time at which that begins; minutes: of readings in it."""

    name: str
    unit: str
    at_s: float
    minutes: int
    mean: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Unread:
    """A message that waits, and of which the records cannot tell any more. number: as of an Outgoing."""

    number: int


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A message that waits to be told: the end of a run, or what became of an alert, as that stands now.

    number: rises; records: names the file, so that both together never repeat.
    """

    number: int
    records: str
    about: RunRow | AlertRow
    what: Told
