"""Tells a judge in plain words what crosses the wire to and from the guard."""

from dataclasses import replace

from waaler.guard.limits import Limits
from waaler.guard.messages import (
    Action,
    Ask,
    BeginHold,
    Clear,
    Cut,
    EndHolds,
    Flow,
    Granted,
    Held,
    HoldOver,
    LockLifted,
    LockStays,
    Message,
    NewLimits,
    ReadBack,
    Refused,
    RelayRead,
    Stop,
    Tripped,
)  # fmt: skip
from waaler.plan.types import AtTimes, ClockMoment, Evenly, Plan, SunMoment
from waaler.plan.types import Moment as PlanMoment
from waaler.plan.types import Window as PlanWindow
from waaler.rehearsal.monitor import Monitor
from waaler.rehearsal.naive import Moment, Timetable, Window
from waaler.rehearsal.rules import Asked, Rules

__all__ = ["begun", "heard", "rules_of", "said", "timetable_of"]


def said(judge: Monitor, at_s: float, booted_s: float, message: Message) -> None:
    """Something was said to the guard."""
    match message:
        case Ask(run_id, seconds, purse, valid_until_s, reserve_s, intended_s):
            judge.asked(
                at_s,
                Asked(run_id, seconds, purse.value, booted_s + valid_until_s, reserve_s, booted_s + intended_s),
            )
        case Cut() | BeginHold():
            judge.told_to_cut(at_s)
        case Stop():
            judge.stopped(at_s)
        case EndHolds():
            judge.resumed(at_s)
        case Clear():
            judge.cleared(at_s)
        case Flow(l_per_min):
            judge.flow(at_s, l_per_min)
        case ReadBack(is_on):
            judge.supply(at_s, is_on)
        case RelayRead(is_on):
            judge.line(at_s, is_on is not False)
        case NewLimits(limits):
            judge.limits(at_s, _kept(rules_of(limits), judge.rules))


def begun(judge: Monitor, at_s: float, limits: Limits) -> None:
    """A guard begins with these limits, whatever of them had not reached it before."""
    judge.limits(at_s, _kept(rules_of(limits), judge.rules))


def heard(judge: Monitor, at_s: float, booted_s: float, action: Action) -> None:
    """The guard said something."""
    match action:
        case Granted(run_id, until_s):
            judge.granted(at_s, run_id, booted_s + until_s)
        case Refused(run_id, reason):
            judge.refused(at_s, run_id, reason)
        case Held(hold):
            judge.held(at_s, hold.kind.value, booted_s + hold.until_s, hold.most_s)
        case HoldOver(kind):
            judge.hold_over(at_s, kind.value)
        case Tripped(trip, _, True):
            judge.locked(at_s, trip.value)
        case LockStays(trip):
            judge.stays(at_s, trip.value)
        case LockLifted(trip):
            judge.lifted(at_s, trip.value)


def rules_of(limits: Limits) -> Rules:
    """The limits as plain numbers."""
    settle_s = {}
    if limits.has_sump_float:
        settle_s["sump_low"] = max(limits.settle_sump_s, limits.run_back_s)
    if limits.has_tray_float:
        settle_s["tray_high"] = max(limits.settle_tray_s, limits.run_back_s)
    return Rules(
        longest_s=limits.longest_run_s,
        most_s=limits.most_per_day_s,
        rest_s=limits.rest_s,
        settle_s=settle_s,
        start_delay_s=limits.start_delay_s,
        confirm_s=limits.confirm_s,
        has_read_back=limits.has_read_back,
        has_cutoff=limits.has_cutoff,
        normal_l_per_min=limits.normal_flow_l_per_min,
        attended_rest_s=limits.attended_rest_s,
        stale_s=limits.stale_after_s,
        most_starts=limits.most_starts_per_h,
        flow_within_s=limits.flow_within_s,
        line_drain_s=limits.line_drain_s,
    )


def _kept(rules: Rules, before: Rules) -> Rules:
    """What is fitted stays fitted until a restart."""
    return replace(
        rules,
        settle_s={name: rules.settle_s.get(name, settle_s) for name, settle_s in before.settle_s.items()},
        has_read_back=before.has_read_back,
        has_cutoff=before.has_cutoff,
        normal_l_per_min=before.normal_l_per_min and (rules.normal_l_per_min or before.normal_l_per_min),
    )


def timetable_of(plan: Plan) -> Timetable:
    """What the file says, for a judge who reckons for himself."""
    place = plan.place
    windows = tuple(_window(window) for window in plan.windows if window.on_demand is None)
    return Timetable(place.timezone, place.latitude_deg, place.longitude_deg, windows, plan.longest_gap_s)


def _window(window: PlanWindow) -> Window:
    pattern, count, every = window.pattern, 0, 0
    if isinstance(pattern, AtTimes):
        moments = pattern.moments
    else:
        moments = (pattern.opens, pattern.closes)
        count, every = (pattern.count, 0) if isinstance(pattern, Evenly) else (0, pattern.minutes)
    return Window(
        window.name,
        tuple(_moment(moment) for moment in moments),
        count,
        every,
        window.weekdays,
        window.starts,
        window.ends,
    )


def _moment(moment: PlanMoment) -> Moment:
    if isinstance(moment, ClockMoment):
        return Moment(moment.minute)
    assert isinstance(moment, SunMoment)
    return Moment(moment.offset_min, moment.event.value)
