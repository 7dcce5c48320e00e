"""The plain words in which a judge is told what happened. Nothing here knows the guard."""

from dataclasses import dataclass, field
from math import inf

__all__ = ["ATTENDED", "DAY_S", "PLAN_PURSES", "TWO_DAYS_S", "Asked", "Held", "Ran", "Rules", "Violation"]

PLAN_PURSES = frozenset({"plan", "spare"})
ATTENDED = "attended"
DAY_S = 86_400.0
TWO_DAYS_S = 2 * DAY_S


@dataclass(frozen=True, slots=True)
class Rules:
    """The limits in force, in seconds, as the safety table names them.

    settle_s: of each protective input that is fitted. normal_l_per_min: None without a flow meter.
    """

    longest_s: float
    most_s: float
    rest_s: float
    settle_s: dict[str, float]
    start_delay_s: float
    confirm_s: float
    has_read_back: bool = False
    has_cutoff: bool = False
    normal_l_per_min: float | None = None
    attended_rest_s: float = 10.0
    stale_s: float = 1.0
    most_starts: int = 6
    flow_within_s: float = 30.0
    line_drain_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Asked:
    """A run as it was asked for, on its arrival at the guard."""

    run_id: int
    seconds: float
    purse: str
    valid_until_s: float = inf
    reserve_s: float = 0.0
    intended_s: float = inf


@dataclass(frozen=True, slots=True)
class Held:
    """A person's hold: since when, until when, and the pump time that it brings."""

    kind: str
    since_s: float
    until_s: float
    most_s: float = 0.0


@dataclass(slots=True)
class Ran:
    """The relay energised once. until_s: its deadline. counted_s: where it must at least be counted to.

    waters_s: when the self-test before it was over. off_s: inf while it is on. wrong: rules that it broke so far.
    """

    run_id: int
    purse: str
    on_s: float
    until_s: float
    waters_s: float
    off_s: float = inf
    counted_s: float = inf
    test_s: float = 0.0
    wrong: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class Violation:
    at_s: float
    what: str
