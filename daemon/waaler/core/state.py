"""The decisions' memory of the present: frozen, replaced at every step."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from math import inf

from waaler.bed.thirst import Thirst
from waaler.bed.wear import Upkeep, Wear
from waaler.core.alert import Alert, OpenAlert
from waaler.core.care import Care
from waaler.core.facts import Cause
from waaler.core.sump_state import Forecast, SumpState
from waaler.guard.limits import Limits
from waaler.guard.messages import Hold, Input, Instant, Level, Purse, Trip
from waaler.plan.advisers import AdviserState
from waaler.plan.sensing import Sensing
from waaler.plan.types import CycleKey, Plan

__all__ = [
    "Account", "Active", "Advice", "Alerts", "Announcing", "Barriers", "Calendar", "Demand", "Dips", "Doubt",
    "Given", "Later", "Proving", "Runs", "Setup", "Signs", "Slice", "Stage", "State", "Wanted", "Water",
]  # fmt: skip


class Stage(StrEnum):
    INTENT = "intent"
    ASKED = "asked"
    RUNNING = "running"


@dataclass(frozen=True, slots=True)
class Wanted:
    """A run that shall be asked for, at not_before_s or later (long hand).

    planned_s: seconds of the plan that it stands for; 0 for what the plan did not ask for, or another row has.
    rest_s, rest_planned_s: what comes after it of its dose; given_s: what the dose has had before. full_s: what
    makes it a full one. expires_s: when its cycle's time is over. refusals: of this run so far.
    """

    cause: Cause
    purse: Purse
    seconds: float
    reason: str
    not_before_s: float = -inf
    planned_s: float = 0.0
    key: CycleKey | None = None
    pulse: int = 1
    pulses: int = 1
    by: str | None = None
    order_id: int | None = None
    is_extended: bool = False
    rest_s: float = 0.0
    rest_planned_s: float = 0.0
    given_s: float = 0.0
    full_s: float = inf
    expires_s: float = inf
    refusals: int = 0


@dataclass(frozen=True, slots=True)
class Active:
    """The one run that is on its way. since_s: when this stage began; asked_s: when the guard was asked."""

    run_id: int
    wanted: Wanted
    stage: Stage
    since_s: float
    until_s: float = inf
    asked_s: float = inf


@dataclass(frozen=True, slots=True)
class Given:
    """A cycle that came due at at_s (long hand): what was planned and what it got, seconds; was it left out?"""

    at_s: float
    planned_s: float
    given_s: float
    is_skip: bool = False


@dataclass(frozen=True, slots=True)
class Setup:
    """What the file says. thirst: what demand is reckoned by, None without.

    must_be_proven: no unattended run before every protective input was seen in both states, once in a bed's life.
    announce_s: how long a start after a trip, a boot or a pause is announced, 0 without light and buzzer.
    """

    plan: Plan
    sensing: Sensing
    limits: Limits
    care: Care = field(default_factory=Care)
    thirst: Thirst | None = None
    must_be_proven: bool = False
    announce_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Calendar:
    """Which cycles were looked for.

    looked_at_s: the wall time up to which they were. quiet: two wall times between which no cycle begins, None if
    not known; it saves looking through the plan. done: keys that were dealt with, and when. hot_day: the last one.
    """

    looked_at_s: float
    quiet: tuple[float, float] | None = None
    done: tuple[tuple[CycleKey, float], ...] = ()
    hot_day: date | None = None


@dataclass(frozen=True, slots=True)
class Runs:
    """What is on its way, and what waits. given_up: the last runs whose ends the guard did not tell in time.
    confirmed_s: when a person last said that they stand by.
    """

    next_run_id: int = 1
    active: Active | None = None
    queue: tuple[Wanted, ...] = ()
    given_up: tuple[Active, ...] = ()
    confirmed_s: float = -inf


@dataclass(frozen=True, slots=True)
class Account:
    """What the bed was given. last_full_s, full_before_s: ends of the last two runs that gave their dose, -inf if
    never. is_owed: a planned cycle did not run since the last of them.
    """

    given: tuple[Given, ...] = ()
    skips_in_a_row: int = 0
    is_owed: bool = False
    last_stop_s: float = -inf
    last_run_s: float = 0.0
    last_full_s: float = -inf
    full_before_s: float = -inf


@dataclass(frozen=True, slots=True)
class Later:
    """When runs may come that the plan has no time for: a catch-up, the next one of a soak, and the look at a bed
    that was dry, which would then be watered for extra_seconds.
    """

    catch_up_at_s: float = -inf
    soak_at_s: float = -inf
    extra_at_s: float = inf
    extra_seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Dips:
    """low_cuts: runs in a row cut by low sump. pulse_s: longest run while the sump dips too far, None otherwise.
    vain: runs in a row that a low sump cut before water reached the plants; try_at_s: none comes by itself before.
    """

    low_cuts: int = 0
    pulse_s: float | None = None
    vain: int = 0
    try_at_s: float = -inf


@dataclass(frozen=True, slots=True)
class Barriers:
    """What stands in the pump's way, as the guard tells it. holds: a person's, strictest first. not_read: the
    protective inputs that cannot be read. low_since_s: when the trip by a low sump last began.
    """

    holds: tuple[Hold, ...] = ()
    trips: frozenset[Trip] = frozenset()
    not_read: frozenset[Input] = frozenset()
    low_since_s: float = -inf

    @property
    def hold(self) -> Hold | None:
        """The one of all holds that forbids most."""
        return self.holds[0] if self.holds else None


@dataclass(frozen=True, slots=True)
class Doubt:
    """Against an adviser. reason: why it was not valid last. times: how often it became so since it last read well
    for long. last_s: when it last was not valid. is_told: people were told, or are to be.
    """

    name: str
    reason: str = ""
    times: int = 0
    last_s: float = -inf
    is_now: bool = False
    is_told: bool = False


@dataclass(frozen=True, slots=True)
class Advice:
    """doubts: of advisers that are not valid, or were a while ago."""

    advisers: tuple[AdviserState, ...] = ()
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class Signs:
    """shown: what the last full run has shown by itself, None once it was judged; shown_until_s: when it is judged.
    usual: for each sign of water whether it moved in the last runs, newest last.
    """

    shown: tuple[tuple[str, bool], ...] | None = None
    shown_until_s: float = inf
    usual: tuple[tuple[str, tuple[bool, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Demand:
    """demanded: the day of the last cycle on demand, and how many were granted that day. demanded_at_s: when one
    was last asked for. sums: of each window that goes by light or demand, MJ/m2 or litres since the last full run.
    """

    demanded: tuple[date, int] | None = None
    demanded_at_s: float = -inf
    sums: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Alerts:
    """standing: what people were told and stands, by the alert's name. found: by name, alerts that an event showed
    and that another takes back.
    """

    standing: Mapping[str, OpenAlert] = field(default_factory=dict)
    found: Mapping[str, Alert] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Water:
    """sump: what is known of it. forecast: what is foreseen of it. refilled_s: when a refill was last entered."""

    sump: SumpState | None = None
    forecast: Forecast = field(default_factory=Forecast)
    refilled_s: float = -inf


@dataclass(frozen=True, slots=True)
class Proving:
    """must_prove: what of the protective inputs must be seen before the first unattended run, nothing for a bed
    that has watered. unproven: what of it was not seen yet; empty: the run may come.
    """

    must_prove: frozenset[tuple[Input, Level]] = frozenset()
    unproven: frozenset[tuple[Input, Level]] = frozenset()


@dataclass(frozen=True, slots=True)
class Announcing:
    """must_announce: whether the next start is one to announce; announced_until_s: when it comes, -inf while none
    does.
    """

    must_announce: bool = True
    announced_until_s: float = -inf


Slice = (
    Setup
    | Calendar
    | Runs
    | Account
    | Later
    | Dips
    | Barriers
    | Advice
    | Signs
    | Demand
    | Alerts
    | Water
    | Upkeep
    | Wear
    | Proving
    | Announcing
)


@dataclass(frozen=True)
class State:
    """A slice for each idea. All instants are by the long hand unless their slice says otherwise.

    started_s: when this keeper began. kept_since_s: since when the bed is kept; -inf where only a short while was
    nobody there before this start.
    """

    setup: Setup
    at: Instant
    started_s: float
    kept_since_s: float
    calendar: Calendar
    runs: Runs = field(default_factory=Runs)
    account: Account = field(default_factory=Account)
    later: Later = field(default_factory=Later)
    dips: Dips = field(default_factory=Dips)
    barriers: Barriers = field(default_factory=Barriers)
    advice: Advice = field(default_factory=Advice)
    signs: Signs = field(default_factory=Signs)
    demand: Demand = field(default_factory=Demand)
    alerts: Alerts = field(default_factory=Alerts)
    water: Water = field(default_factory=Water)
    upkeep: Upkeep = field(default_factory=Upkeep)
    wear: Wear = field(default_factory=Wear)
    proving: Proving = field(default_factory=Proving)
    announcing: Announcing = field(default_factory=Announcing)
