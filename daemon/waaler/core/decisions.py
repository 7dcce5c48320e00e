"""The keeper's machine: one event in, the new state and what must be done out. Pure."""

from dataclasses import replace
from math import inf

from waaler.core import (
    barriers,
    cycles,
    demand,
    desk,
    doses,
    evidence,
    orders,
    runs,
    sump,
)
from waaler.core.facts import Act
from waaler.core.memory import Memory, begin
from waaler.core.messages import Action, Event, Look, Message, NewPlan, Notice, Order, Readings, Recorded
from waaler.core.state import State
from waaler.core.turn import Turn
from waaler.guard.limits import as_fitted
from waaler.guard.messages import (
    Alone,
    Ended,
    Flow,
    Granted,
    Held,
    HoldOver,
    LockLifted,
    LockStays,
    NewLimits,
    Refused,
    Relay,
    Seen,
    Stopped,
    TripEnded,
    Tripped,
)  # fmt: skip
from waaler.plan.advisers import AdviserState, hear, invalid_because
from waaler.plan.sensing import AdviserKind, Reading

__all__ = ["Memory", "State", "begin", "step"]


def step(state: State, event: Event) -> tuple[State, tuple[Action, ...], float]:
    """The new state, the actions in their order, and when to look again (long hand, inf if never)."""
    turn = Turn(state, event.at)
    demand.add_drink(turn)
    _receive(turn, event.message)
    wake_s = [
        barriers.look(turn),
        cycles.look(turn),
        sump.look(turn),
        evidence.look_for_doubts(turn),
        evidence.look_for_signs(turn),
    ]
    wake_s += [runs.advance(turn), desk.look(turn)]
    return turn.state, tuple(turn.actions), min(wake_s, default=inf)


def _receive(turn: Turn, message: Message) -> None:
    match message:
        case Reading():
            _hear(turn, (message,))
        case Readings(readings):
            _hear(turn, readings)
        case Flow(l_per_min):
            evidence.gauge(turn, l_per_min)
        case Recorded():
            runs.recorded(turn, message)
        case NewPlan():
            _take_plan(turn, message)
        case Notice(kind, severity, about, subject):
            turn.over(kind, subject) if about is None else turn.find(kind, severity, about, subject)
        case Seen():
            barriers.see(turn, message)
        case Order():
            orders.obey(turn, message)
        case Granted():
            runs.granted(turn, message)
        case Refused():
            runs.refused(turn, message)
        case Ended():
            doses.ended(turn, message)
        case Held():
            barriers.held(turn, message)
        case HoldOver():
            barriers.hold_over(turn, message)
        case Stopped(by):
            barriers.stopped(turn, by)
        case LockLifted():
            barriers.trip_changed(turn, message)
            barriers.lock_answered(turn, message)
        case Tripped() | TripEnded():
            barriers.trip_changed(turn, message)
        case LockStays():
            barriers.lock_answered(turn, message)
        case Look() | Relay() | Alone():
            pass


def _hear(turn: Turn, readings: tuple[Reading, ...]) -> None:
    known = {reading.name: reading for reading in readings}
    demand.add_light(turn, known)
    advisers = tuple(
        state if (reading := known.get(state.adviser.name)) is None else hear(state, reading, turn.now_s)
        for state in turn.state.advice.advisers
    )
    turn.put(replace(turn.state.advice, advisers=advisers))
    hot = turn.setup.plan.hot_day
    heard = [state for state in advisers if state.adviser.name in known]
    is_hot = hot is not None and any(_is_above(turn, state, hot.above_c) for state in heard)
    if is_hot and turn.state.calendar.hot_day != turn.today:
        turn.put(replace(turn.state.calendar, hot_day=turn.today, quiet=None))
    _hear_water(turn, advisers, known)


def _hear_water(turn: Turn, advisers: tuple[AdviserState, ...], known: dict[str, Reading]) -> None:
    """What tells of the drain and of the sump's level."""
    for state in advisers:
        if state.adviser.kind is AdviserKind.TRAY_WET and state.adviser.name in known:
            evidence.hear_tray(turn, known[state.adviser.name])
    for state in advisers:
        is_gauge = state.adviser.kind is AdviserKind.LEVEL and not state.adviser.is_coarse
        if is_gauge and state.adviser.name in known and invalid_because(state, turn.now_s) is None:
            assert state.value is not None
            sump.read(turn, state.value, is_gauge=True)


def _is_above(turn: Turn, state: AdviserState, above_c: float) -> bool:
    """A thermometer that cannot be believed makes no hot day."""
    is_valid = state.adviser.kind is AdviserKind.TEMPERATURE and invalid_because(state, turn.now_s) is None
    return is_valid and state.value is not None and state.value > above_c


def _take_plan(turn: Turn, new: NewPlan) -> None:
    """A new plan never makes up times already past."""
    known = {adviser.adviser.name: adviser for adviser in turn.state.advice.advisers}
    cycles.take_plan(turn, new.plan)
    limits, care = as_fitted(new.limits, turn.setup.limits), new.care or turn.setup.care
    turn.put(replace(turn.setup, sensing=new.sensing, limits=limits, thirst=new.thirst, care=care))
    turn.put(replace(turn.state.water, forecast=replace(turn.state.water.forecast, look_at_s=-inf)))
    advisers = tuple(
        replace(known.get(adviser.name, AdviserState(adviser)), adviser=adviser) for adviser in new.sensing.advisers
    )
    turn.put(replace(turn.state.advice, advisers=advisers))
    if new.may_be_unproven:
        turn.put(replace(turn.state.proving, must_prove=frozenset(), unproven=frozenset()))
    turn.tell_guard(NewLimits(new.limits))
    turn.deed(Act.NEW_PLAN, "; ".join(new.changes))
