"""What a person must know, as facts: kinds, severities, and what each alert knows. No sentence stands here.

Instants in what an alert knows are by the long hand.
"""

from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "FOUND",
    "MOMENTS",
    "About",
    "Alert",
    "AlertKind",
    "CycleMissed",
    "LowAtRest",
    "LowInRuns",
    "NoSign",
    "NotSeen",
    "NotValid",
    "OpenAlert",
    "Outside",
    "PausedLong",
    "Severity",
    "SoonLow",
    "TooLow",
    "Weaker",
    "Words",
    "kind_of",
]  # fmt: skip


class Severity(StrEnum):
    """The most severe first."""

    URGENT = "urgent"
    SOON = "soon"
    NOTE = "note"


class AlertKind(StrEnum):
    """What it is about. The value is the name under which it is told; {} stands for whose it is."""

    SUMP_LOW = "sump-low"
    TRAY_HIGH = "tray-high"
    OVERRUN = "overrun"
    NO_FLOW = "no-flow"
    FLOW_WHILE_OFF = "flow-while-off"
    NOT_READ = "{}-not-read"
    NOT_VALID = "not-valid-{}"
    CYCLE_MISSED = "cycle-missed"
    PAUSED_LONG = "paused-long"
    CLOCK_UNSURE = "clock-unsure"
    MANY_SKIPS = "many-skips"
    CLEANING_DUE = "cleaning-due"
    DRAIN_SLOWING = "drain-slowing"
    PUMP_WEAKER = "pump-weaker"
    SUMP_SOON_LOW = "sump-soon-low"
    REFILL_DUE = "refill-due"
    SOLUTION_DUE = "solution-due"
    LEAK = "leak"
    LEAK_UNSEEN = "leak-unseen"
    NOT_COMMISSIONED = "not-commissioned"
    LOW_IN_RUNS = "sump-low-in-runs"
    TOO_LOW = "sump-too-low-for-a-run"
    NO_SIGN = "no-sign-of-water"
    OUTSIDE = "{}-outside"
    HISTORY_NOT_KEPT = "history-not-kept"
    HISTORY_LOST = "history-lost"
    JOURNAL_LOST = "journal-lost"
    RESTARTED = "restarted"
    PLAN_REJECTED = "plan-rejected"
    RESTART_NEEDED = "restart-needed"
    PART_FAILED = "part-failed-{}"
    NOT_TOLD = "not-told-{}"
    RELAY_NOT_OFF = "relay-not-off"
    JOURNAL_NOT_KEPT = "journal-not-kept"
    NO_STOP_SOCKET = "no-stop-socket"
    OF_ANOTHER_VERSION = "{}"
    """Found standing in the records; nothing of this version raises it."""

    def of(self, subject: str = "") -> str:
        """The name of this kind's alert about a subject: an input, a probe, a channel."""
        if "{" not in self.value:
            return self.value
        return self.value.format(subject.replace("_", "-").replace(" ", "-").lower())


MOMENTS = frozenset({AlertKind.RESTARTED, AlertKind.HISTORY_LOST, AlertKind.JOURNAL_LOST})
"""These tell of something that is over: a person's word ends them, or a day."""

FOUND = MOMENTS | {
    AlertKind.LOW_IN_RUNS, AlertKind.NO_SIGN, AlertKind.OUTSIDE, AlertKind.HISTORY_NOT_KEPT,
    AlertKind.PLAN_REJECTED, AlertKind.RESTART_NEEDED, AlertKind.PART_FAILED, AlertKind.NOT_TOLD,
    AlertKind.RELAY_NOT_OFF, AlertKind.JOURNAL_NOT_KEPT, AlertKind.NO_STOP_SOCKET,
}  # fmt: skip
"""An event showed these, and they stand until another takes them back; all others follow from the state."""


def kind_of(name: str) -> tuple[AlertKind, str]:
    """The kind and the subject of an alert that was told under this name."""
    for kind in AlertKind:
        before, is_owned, after = kind.value.partition("{}")
        if name == kind.value:
            return kind, ""
        if is_owned and (before or after) and name.startswith(before) and name.endswith(after):
            return kind, name.removeprefix(before).removesuffix(after)
    return AlertKind.OF_ANOTHER_VERSION, name


@dataclass(frozen=True, slots=True)
class Words:
    """The lines of a text that an alert's kind decides, or that the shell gives with what it found; empty ones are
    left out.

    refill: whether the thing to do is a refill, which is then written out with its amount. is_thirsty: whether
    plants wait for water meanwhile.
    """

    what: str
    did: str = ""
    now: str = ""
    touch: str = ""
    again: str = ""
    refill: bool = False
    is_thirsty: bool = False


@dataclass(frozen=True, slots=True)
class LowAtRest:
    """is_first_fill: in a soak, whose dry media take the first water."""

    is_first_fill: bool


@dataclass(frozen=True, slots=True)
class NotValid:
    """An adviser that may not be believed. times: how often it became so since it last read well for long."""

    adviser: str
    reason: str
    times: int


@dataclass(frozen=True, slots=True)
class CycleMissed:
    """since_s: the end of the last full run; where none is known, the daemon's start."""

    since_s: float


@dataclass(frozen=True, slots=True)
class PausedLong:
    until_s: float
    by: str


@dataclass(frozen=True, slots=True)
class SoonLow:
    """at_s: when a run would be cut by a low sump."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Weaker:
    l_per_min: float
    normal_l_per_min: float


@dataclass(frozen=True, slots=True)
class NotSeen:
    """states: of protective inputs, such as `sump_low bad`, that nobody saw yet."""

    states: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LowInRuns:
    """times: runs in a row that a low sump cut. pulse_s: the longest run from now on."""

    times: int
    pulse_s: float


@dataclass(frozen=True, slots=True)
class TooLow:
    """times: runs in a row that a low sump ended before water reached the plants."""

    times: int


@dataclass(frozen=True, slots=True)
class NoSign:
    """signs: what usually moves after a run and did not."""

    signs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Outside:
    """A measurement outside the file's range."""

    name: str
    value: float
    unit: str
    lowest: float
    highest: float


About = (
    Words
    | LowAtRest
    | NotValid
    | CycleMissed
    | PausedLong
    | SoonLow
    | Weaker
    | NotSeen
    | LowInRuns
    | TooLow
    | NoSign
    | Outside
    | None
)
"""What an alert knows beside its kind."""


@dataclass(frozen=True, slots=True)
class Alert:
    """Something that stands now. subject: whose it is: an input, a probe, a channel; empty for the bed's own."""

    kind: AlertKind
    severity: Severity
    about: About = None
    subject: str = ""

    @property
    def name(self) -> str:
        return self.kind.of(self.subject)


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that was told and still stands: as it was told last, and its life so far.

    raised_s, told_s: raised, and last told to people (long hand). reminders: how often it was told again.
    says_refill: whether its text speaks of a refill as it stands; None where that is not known.
    """

    alert: Alert
    raised_s: float
    told_s: float
    reminders: int = 0
    acknowledged_by: str | None = None
    says_refill: bool | None = None

    @property
    def severity(self) -> Severity:
        return self.alert.severity
