"""What people and clocks do in a trial, moment by moment, beside the faults."""

from dataclasses import dataclass

from waaler.core.messages import OrderKind
from waaler.guard.limits import Limits
from waaler.plan.types import Plan

__all__ = ["TROUBLES", "ClockStep", "Deed", "Edit", "Ordered", "Script", "Trouble"]

TROUBLES = {
    "commits-slow": "a commit takes up to half a minute, and one in five fails",
    "database-held": "at a start the database is held, and takes nothing until it is let go",
    "journal-torn": "at a start the last line of the guard's journal ends somewhere in the middle",
    "journal-damaged": "at a start a byte of the guard's journal is another",
    "journal-lost": "at a start the guard's journal is gone",
    "journal-foreign": "at a start the guard's journal is another bed's",
    "float-glitches": "both floats read bad for a tenth of a second now and then",
    "relay-sticks": "the relay does not go off when it is told to",
}
"""Beside the faults of the bed: what befalls the computer. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Ordered:
    """is_direct: a stop that goes to the guard's own socket."""

    kind: OrderKind
    seconds: float = 0.0
    is_direct: bool = False


@dataclass(frozen=True, slots=True)
class Edit:
    """The file is edited: another plan, other limits."""

    plan: Plan
    limits: Limits


@dataclass(frozen=True, slots=True)
class ClockStep:
    """The wall clock is set, by whoever may."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Trouble:
    """starts_s, ends_s: seconds from the beginning."""

    name: str
    starts_s: float
    ends_s: float


Deed = Ordered | Edit | ClockStep


@dataclass(frozen=True, slots=True)
class Script:
    """deeds: when, and what, in order. stalls: the guard stands still from, to, one after the other. drift: of the
    wall clock, a share.

    wrong_by_s: how wrong the clock is after a boot without one.
    """

    deeds: tuple[tuple[float, Deed], ...] = ()
    stalls: tuple[tuple[float, float], ...] = ()
    troubles: tuple[Trouble, ...] = ()
    drift: float = 0.0
    wrong_by_s: float = 0.0

    @property
    def is_misleading(self) -> bool:
        """Whether an input, or the guard itself, may fail without a fault of the bed."""
        names = {trouble.name for trouble in self.troubles}
        return bool(self.stalls or self.deeds or names & {"float-glitches", "relay-sticks"})
