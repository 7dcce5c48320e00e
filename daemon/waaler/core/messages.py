"""What is said to the decisions and what they say: the frozen messages of the keeper's machine.

Beside these the decisions hear every action of the guard (`guard.messages.Action`).
"""

from dataclasses import dataclass
from enum import StrEnum

from waaler.bed.thirst import Thirst
from waaler.core.alert import About, AlertKind, Severity
from waaler.core.care import Care
from waaler.core.facts import Amount, Fact
from waaler.guard.limits import Limits
from waaler.guard.messages import Action as GuardAction
from waaler.guard.messages import Flow, Input, Instant
from waaler.guard.messages import Message as GuardMessage
from waaler.plan.sensing import Reading, Sensing
from waaler.plan.types import Plan

__all__ = [
    "Action", "Answer", "Event", "Look", "Message", "NewPlan", "Notice", "Order", "OrderKind", "Readings",
    "Recorded", "ToGuard", "Write",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Look:
    """Cycles may be due, or a wake time has come."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """The intent of this run is on disk, or will not be: then is_kept is False."""

    run_id: int
    is_kept: bool = True


@dataclass(frozen=True, slots=True)
class NewPlan:
    """A newly accepted file. changes: every effective value that changed, one line each. care None: as before.

    may_be_unproven: the file accepts a bed that waters before its floats were seen in both states.
    """

    plan: Plan
    sensing: Sensing
    limits: Limits
    changes: tuple[str, ...] = ()
    thirst: Thirst | None = None
    may_be_unproven: bool = False
    care: Care | None = None


class OrderKind(StrEnum):
    WATER = "water"
    STOP = "stop"
    PAUSE = "pause"
    RESUME = "resume"
    SERVICE = "service"
    SOAK = "soak"
    CLEAR = "clear"
    REFILL = "refill"
    MEASURE = "measure"
    ATTEND = "attend"
    """A person stands by: runs of the attended purse, confirmed every two minutes."""
    CONFIRM = "confirm"
    COMMISSION = "commission"
    """A line of the commissioning record."""
    NOTE = "note"
    CLEANED = "cleaned"
    ACKNOWLEDGE = "acknowledge"


@dataclass(frozen=True, slots=True)
class Order:
    """A person's order. seconds: the length for water, pause, service and soak. order_id: for its answer.

    amounts: what was poured or measured. text: of a note; the kind of the alert to acknowledge, empty for all.
    is_renewal: a refill that replaced the whole solution. is_remote: it came over a network, from whoever may write
    there. wrong_float: the protective input that a step of the commissioning found wrong.
    """

    order_id: int
    kind: OrderKind
    by: str
    seconds: float = 0.0
    litres: float | None = None
    amounts: tuple[Amount, ...] = ()
    text: str = ""
    is_renewal: bool = False
    is_remote: bool = False
    wrong_float: Input | None = None


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the shell found that a person must know. about None: it is over. subject: whose it is, such as a
    channel's name.
    """

    kind: AlertKind
    severity: Severity = Severity.NOTE
    about: About = None
    subject: str = ""


@dataclass(frozen=True, slots=True)
class Readings:
    """Several advisers read at one time."""

    readings: tuple[Reading, ...]


Message = Look | Recorded | NewPlan | Notice | Order | Reading | Readings | Flow | GuardAction


@dataclass(frozen=True, slots=True)
class Event:
    at: Instant
    message: Message


@dataclass(frozen=True, slots=True)
class Write:
    """To be written down, in order."""

    fact: Fact


@dataclass(frozen=True, slots=True)
class ToGuard:
    message: GuardMessage


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person is told about their order."""

    order_id: int
    is_done: bool
    text: str


Action = Write | ToGuard | Answer
