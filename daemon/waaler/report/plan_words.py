"""What the plan says, in words: when a cycle is, and why then."""

from waaler.plan.types import AtTimes, ClockMoment, Cycle, Evenly, Every, Moment, Plan, Window
from waaler.report.words import length

__all__ = ["why_then", "window_words"]


def why_then(plan: Plan, cycle: Cycle) -> str:
    """`daylight: cycle 2 of 5, evenly from sunrise + 30 min to sunset - 1 h 30 min`."""
    window = next((one for one in plan.windows if one.name == cycle.key.window), None)
    if window is None:
        return f"{cycle.key.window}: more of them on a hot day"
    count = f" of {window.pattern.count}" if isinstance(window.pattern, Evenly) else ""
    fallback = ", as a fallback while its probe does not ask" if cycle.is_fallback else ""
    return f"{window.name}: cycle {cycle.key.n}{count}, {window_words(window)}{fallback}"


def window_words(window: Window) -> str:
    match window.pattern:
        case Evenly(1, opens, _):
            return f"at {_moment(opens)}"
        case Evenly(_, opens, closes):
            return f"evenly from {_moment(opens)} to {_moment(closes)}"
        case Every(minutes, opens, closes):
            return f"every {length(60 * minutes)} from {_moment(opens)} to {_moment(closes)}"
        case AtTimes(moments):
            return "at " + ", ".join(_moment(moment) for moment in moments)


def _moment(moment: Moment) -> str:
    if isinstance(moment, ClockMoment):
        return f"{moment.minute // 60:02}:{moment.minute % 60:02}"
    if not moment.offset_min:
        return moment.event.value
    return f"{moment.event.value} {'-' if moment.offset_min < 0 else '+'} {length(60 * abs(moment.offset_min))}"
