"""What the walk is made of: the bed as it is seen and asked, the person, and what was found."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from waaler.guard.messages import Input

__all__ = ["Finding", "Hand", "Look", "Person", "Question", "Site", "Task", "Verdict"]

ENTRY_LENGTH = 500
"""Characters that the bed takes of a text."""


class Verdict(StrEnum):
    PASSED = "passed"
    FAILED = "FAILED"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class Finding:
    """What one step showed. amounts: what was measured, by the names that the history knows. of_float: the
    protective input that it is about.
    """

    step: str
    verdict: Verdict
    text: str
    amounts: Mapping[str, float] = field(default_factory=dict)
    of_float: Input | None = None

    @property
    def wrong_float(self) -> Input | None:
        """The protective input that this step found wrong."""
        return self.of_float if self.verdict is Verdict.FAILED else None

    @property
    def entry(self) -> str:
        """As the bed's history has it."""
        return f"{self.verdict.value}, {self.step}: {self.text}"[:ENTRY_LENGTH]


@dataclass(frozen=True, slots=True)
class Look:
    """The bed at this moment. levels: good, bad or not read, by input. stops: why the pump is stopped for safety.

    held_by: what would refuse a run now. held_s: for how long, None if that is not known.

    None: not fitted, or not known.
    """

    levels: Mapping[str, str]
    is_running: bool
    stops: tuple[str, ...] = ()
    held_by: str | None = None
    held_s: float | None = None
    is_tray_wet: bool | None = None
    flow_l_per_min: float | None = None
    is_live: bool | None = None


class Hand(StrEnum):
    """What a person is asked to do; the simulation does the same to its bed."""

    UNPLUG = "unplug the pump"
    PLUG = "plug in the pump"
    LOWER = "lower a float"
    LIFT = "lift a float"
    LET_GO = "let a float go"
    WIRE_OFF = "pull a float's wire"
    WIRE_ON = "put a float's wire back"
    WET_TRAY = "wet the tray's contact"
    DRY_TRAY = "dry the tray's contact"
    PROBE_IN_AIR = "hold a probe in air"
    PROBE_IN_WATER = "hold a probe in water"
    PROBE_BACK = "put a probe back"
    BUCKET = "lead the line into a bucket"
    WAIT_DRAINED = "wait for the drain"
    DRAW_DOWN = "draw the sump down"
    REFILL = "refill the sump"
    BLOCK_DRAIN = "plug the drain"
    FREE_DRAIN = "free the drain"


@dataclass(frozen=True, slots=True)
class Task:
    """words: as told to the person. name: the input or probe that it is about."""

    hand: Hand
    words: str
    name: str = ""


class Question(StrEnum):
    """What only eyes and ears can tell."""

    CLICKS = "clicks"
    OUTLETS = "outlets"
    TIGHT = "leak test"
    ROOM = "full mark"
    INTAKE_COVERED = "the intake is covered"
    BELOW_RIM = "the tray stayed below its rim"


class Person(Protocol):
    def tell(self, text: str) -> None: ...

    def do(self, task: Task) -> None:
        """Returns once it is done."""

    def sees(self, question: Question, words: str) -> bool:
        """Whether the person answers yes."""

    def litres(self, words: str) -> float | None:
        """A measured volume; None if it was not measured."""

    def stands_by(self) -> bool:
        """Asked while the pump runs; no answer within half a minute is a no."""


class Site(Protocol):
    """The bed with its guard, over the socket of a daemon or in a simulation."""

    @property
    def now_s(self) -> float:
        """A clock that is never set."""

    def look(self) -> Look: ...

    def counts(self, name: str) -> float | None:
        """Of a probe on a converter; None if it gives none."""

    def order(self, do: str, seconds: float = 0.0) -> tuple[bool, str]:
        """Whether it was done, and what the bed says to it."""

    def enter(self, finding: Finding) -> tuple[bool, str]:
        """Whether it stands in the bed's history, and what the bed says to it."""

    def wait(self, seconds: float) -> None: ...
