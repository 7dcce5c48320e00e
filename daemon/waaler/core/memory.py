"""What the core must still know after a restart; the records restore it."""

from dataclasses import dataclass, field

from waaler.guard.memory import Memory as GuardMemory
from waaler.plan.types import CycleKey

__all__ = ["Given", "Memory", "Standing"]


@dataclass(frozen=True, slots=True)
class Given:
    """A cycle that came due at at_s (long hand): what was planned and what it got, seconds."""

    at_s: float
    planned_s: float
    given_s: float


@dataclass(frozen=True, slots=True)
class Standing:
    """A person's order with an end: a pause, a service or a soak. until_s by the long hand."""

    what: str
    until_s: float
    by: str


@dataclass(frozen=True, slots=True)
class Memory:
    """The default is a first start. Times by the long hand of the present boot, except looked_at_s (wall).

    looked_at_s: up to when cycles were last looked for. done: keys of cycles already dealt with, and when.
    last_full_s: when the last run that ran its time ended, None if never. last_catch_up_s: the same of catch-ups.
    is_owed: a planned cycle was missed, refused or cut since the last full run.
    """

    guard: GuardMemory = field(default_factory=GuardMemory)
    next_run_id: int = 1
    looked_at_s: float | None = None
    done: tuple[tuple[CycleKey, float], ...] = ()
    given: tuple[Given, ...] = ()
    skips_in_a_row: int = 0
    last_full_s: float | None = None
    last_catch_up_s: float | None = None
    is_owed: bool = False
    pulse_s: float | None = None
    standing: Standing | None = None
    open_alerts: frozenset[str] = frozenset()
