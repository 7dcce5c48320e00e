"""What a bed does now, as every face tells it: one model, its JSON form and its words.

The keeper makes it (`core.present`, `keeper.status`); the control socket, MQTT and the records carry its JSON form.
Words for people are made here, and only shown elsewhere.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from waaler.guard.codec import packed, unpacked
from waaler.guard.names import Hindrance, HoldKind, Level

__all__ = [
    "CALM", "AlertNow", "BedState", "HeldBy", "LastRun", "NextRun", "Present", "ReadingNow", "RunNow", "Standing",
    "Status", "SumpNow", "Wait", "as_json", "hold_words", "is_same", "moment_words", "next_words", "present_of",
    "reason_words", "state_words", "status_of", "steady", "sump_words", "wait_words",
]  # fmt: skip

SAME_WITHIN = timedelta(seconds=2)
GO_ON = "it goes on by itself once that is over"
REMEDIES = {
    Hindrance.HOLD: "it ends by itself, or with `waaler resume`",
    Hindrance.LOCK: "pull the pump's plug, find the cause, then `waaler clear`",
    Hindrance.TRIP: GO_ON,
    Hindrance.TOO_LOW: "fill the sump, then `waaler refill`",
    Hindrance.COMMISSIONING: "walk through `waaler commission`",
}
"""What a person can do about it; nothing where it passes by itself within minutes."""


class BedState(StrEnum):
    """What a bed does, in a word or two."""

    RUNNING = "running"
    LOCKED = "locked"
    STOPPED = "stopped for safety"
    SERVICE = HoldKind.SERVICE.value
    PAUSE = HoldKind.PAUSE.value
    ATTENDED = HoldKind.ATTENDED.value
    SOAK = HoldKind.SOAK.value
    NOT_COMMISSIONED = "not commissioned"
    WAITING = "waiting"
    HANGS = "keeper hangs"
    NO_ANSWER = "no answer"


CALM = frozenset({BedState.RUNNING, BedState.WAITING, *(BedState(kind.value) for kind in HoldKind)})
"""What the plan or a person wanted; in any other state a person should look at the bed."""


@dataclass(frozen=True, slots=True)
class RunNow:
    """A run in progress. cause, reason: None for one that the keeper did not ask for, or does not know yet."""

    id: int
    until: datetime
    seconds_left: float = 0.0
    cause: str | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """A hold: the one of all that forbids most."""

    what: HoldKind | str
    until: datetime
    by: str


@dataclass(frozen=True, slots=True)
class NextRun:
    """The first run that can come. window: of a planned cycle, empty for any other.

    is_on_demand: something that asks for water may bring one sooner.
    """

    start: datetime
    seconds: float
    window: str = ""
    cause: str = "plan"
    is_on_demand: bool = False


@dataclass(frozen=True, slots=True)
class Wait:
    """Why no run comes before. until None: time alone does not end it. do: what a person can do, if anything."""

    what: Hindrance | str
    reason: str
    until: datetime | None = None
    do: str = ""


@dataclass(frozen=True, slots=True)
class Present:
    """What the bed does, and what comes next. next None: no run can come, or none within a year.

    Enums of a later version are read as text.
    """

    state: BedState | str
    run: RunNow | None = None
    standing: Standing | None = None
    next: NextRun | None = None
    wait: Wait | None = None


@dataclass(frozen=True, slots=True)
class LastRun:
    """reason: why it ended."""

    ended: datetime
    seconds: float
    reason: str


@dataclass(frozen=True, slots=True)
class HeldBy:
    """What would refuse a run by hand now. seconds: for how long, None if that is not known."""

    reason: str
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class SumpNow:
    """Litres at rest. tank_litres: None without a header tank. days: until it needs water."""

    litres: float
    ec_ms_per_cm: float = 0.0
    tank_litres: float | None = None
    needs_water_at: datetime | None = None
    low_at_rest_at: datetime | None = None
    days: float | None = None


@dataclass(frozen=True, slots=True)
class ReadingNow:
    """reason: why it is not valid. value None: never read."""

    name: str
    value: float | None
    unit: str
    at: datetime | None
    valid: bool
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class AlertNow:
    """An alert that stands. acknowledged: by whom."""

    kind: str
    severity: str
    text: str
    since: datetime
    acknowledged: str | None = None


@dataclass(frozen=True, slots=True)
class Status(Present):
    """All that a bed tells of itself. The defaults are what nobody has told.

    held_by: of a run by hand. to_be_seen: states of the floats, before a new bed waters by itself.
    """

    bed: str = ""
    title: str = ""
    at: datetime | None = None
    clock: str = "unsure"
    last_run: LastRun | None = None
    last_full_at: datetime | None = None
    alerts: tuple[AlertNow, ...] = ()
    announced_for_seconds: float = 0.0
    held_by: HeldBy | None = None
    to_be_seen: tuple[str, ...] = ()
    flow_l_per_min: float | None = None
    is_live: bool | None = None
    inputs: Mapping[str, Level | str] = field(default_factory=dict)
    trips: tuple[str, ...] = ()
    sump: SumpNow | None = None
    readings: tuple[ReadingNow, ...] = ()
    pump_seconds_24h: float = 0.0
    most_seconds_24h: float = 0.0
    warnings: tuple[str, ...] = ()


def steady(before: Present | None, now: Present) -> Present:
    """The present as it was told before, where nothing but the rounding of its moments has changed.

    A moment by the long hand is told by the wall's; the two hands are read one after the other, and drift apart.
    """
    if before is None or not is_same(before, now):
        return now
    return replace(before, run=now.run)


def is_same(one: object, other: object) -> bool:
    """But for the rounding of moments, and what counts down by itself."""
    if isinstance(one, datetime) and isinstance(other, datetime):
        return abs(one - other) < SAME_WITHIN
    if isinstance(one, RunNow) and isinstance(other, RunNow):
        return one.id == other.id and is_same(one.until, other.until)
    if is_dataclass(one) and is_dataclass(other) and type(one) is type(other):
        return all(is_same(getattr(one, each.name), getattr(other, each.name)) for each in fields(one))
    return one == other


def as_json(told: Present) -> dict[str, object]:
    """What `json.dumps` takes."""
    found: dict[str, object] = packed(told)
    return found


def status_of(told: object) -> Status:
    """The status in a JSON object, of a later version too. Raises ValueError for any other."""
    found: Status = unpacked(Status, told, is_open=True)
    return found


def present_of(told: object) -> Present:
    """The same of the part that records keep."""
    found: Present = unpacked(Present, told, is_open=True)
    return found


# --- in words -----------------------------------------------------------------------------------


def moment_words(moment: datetime, now: datetime) -> str:
    """`today, 14:05` or `Tue 23 Jun, 14:05`; both by the bed's clock, as all moments here."""
    return f"today, {moment:%H:%M}" if moment.date() == now.date() else f"{moment:%a %-d %b, %H:%M}"


def state_words(present: Present, now: datetime) -> str:
    """More of the state: how long a run lasts, until when a hold stands, what is wrong; empty where it says all."""
    run, wait = present.run, present.wait
    if run is not None:
        left_s = max(0.0, (run.until - now).total_seconds())
        why = f"; {run.cause}: {run.reason}" if run.reason else ""
        return f"{left_s:.0f} s more{why}"
    if present.standing is not None and present.state == present.standing.what:
        return f"{hold_words(present.standing, now)}; {REMEDIES[Hindrance.HOLD]}"
    if present.state == BedState.WAITING or wait is None:
        return ""
    return _of_wait(wait, now).removeprefix(f"{present.state}: ")


def hold_words(hold: Standing, now: datetime) -> str:
    """`until today, 23:45, by ann`."""
    return f"until {moment_words(hold.until, now)}, by {hold.by}"


def next_words(present: Present, now: datetime) -> tuple[str, str]:
    """When the next run can come, and what sort of run that is."""
    run = present.next
    if run is None:
        return ("none yet", "") if present.wait is not None else ("none within a year", "")
    kind = run.window or run.cause
    sooner = ", or sooner on demand" if run.is_on_demand else ""
    return moment_words(run.start, now), f"{run.seconds:.0f} s, {kind}{sooner}"


def wait_words(present: Present, now: datetime) -> str:
    """Why no run comes before; empty where nothing but the plan keeps it."""
    return "" if present.wait is None else _of_wait(present.wait, now)


def reason_words(present: Present, now: datetime) -> str:
    """The same without what a person at the bed can do."""
    return "" if present.wait is None else _until(present.wait, now)


def sump_words(sump: SumpNow | None, now: datetime) -> str:
    """Litres, days, and by when it needs water."""
    if sump is None:
        return "not known; enter a refill to the full mark"
    tank = "" if sump.tank_litres is None else f", and {sump.tank_litres:.0f} L in the header tank"
    if sump.needs_water_at is None or sump.days is None:
        return f"{sump.litres:.0f} L{tank}; lasts beyond 60 days"
    return (
        f"{sump.litres:.0f} L{tank}; {sump.days:.1f} days, needs water by {moment_words(sump.needs_water_at, now)}"
    )


def _of_wait(wait: Wait, now: datetime) -> str:
    return f"{_until(wait, now)}; {wait.do}" if wait.do else _until(wait, now)


def _until(wait: Wait, now: datetime) -> str:
    return wait.reason if wait.until is None else f"{wait.reason}, until {moment_words(wait.until, now)}"
