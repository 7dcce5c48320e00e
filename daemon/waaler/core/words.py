"""The text of an alert: one line for each thing that a person asks.

What is it, since when, what did the tool do, what to do now, how long have the plants, is it safe to touch, does it
start again by itself, whom to call.

While the tray is high or the water has not run back no text says refill: a blocked drain empties the sump into the
tray.
"""

from datetime import datetime, timedelta
from math import floor, inf

from waaler.bed.ledger import to_full_l, used_up_at
from waaler.core import texts
from waaler.core.alert import (
    Alert,
    AlertKind,
    CycleMissed,
    LowAtRest,
    LowInRuns,
    NoSign,
    NotSeen,
    NotValid,
    Outside,
    PausedLong,
    Severity,
    SoonLow,
    TooLow,
    Weaker,
    Words,
)  # fmt: skip
from waaler.core.deduced import may_refill, rested_s
from waaler.core.state import State
from waaler.core.sump_state import entry_at, local, to_add
from waaler.guard.messages import Trip

__all__ = ["asks_refill", "clock_text", "compose", "outside_text"]

REFILLS = frozenset({AlertKind.SUMP_LOW, AlertKind.SUMP_SOON_LOW, AlertKind.REFILL_DUE, AlertKind.TOO_LOW})
TRAY_FULL = "The water is in the tray. Do NOT add water; free the drain first, with the pump unplugged."


def asks_refill(alert: Alert) -> bool:
    """Whether its text tells a person to refill, where that may be said."""
    return alert.kind in REFILLS


def compose(state: State, alert: Alert, since_s: float) -> str:
    """The lines as they are true at this moment. since_s: when the alert was raised (long hand)."""
    words = _words(state, alert)
    lines = [
        words.what,
        f"Since {clock_text(state, since_s)}.",
        words.did,
        _refill(state) if words.refill else words.now,
        _plants(state) if words.is_thirsty else "",
        words.touch,
        words.again,
        _call(state),
    ]
    return "\n".join(line for line in lines if line)


def _words(state: State, alert: Alert) -> Words:
    """What this kind says of these facts."""
    match alert.about:
        case Words():
            return alert.about
        case LowAtRest(is_first_fill):
            return texts.FIRST_FILL if is_first_fill else texts.SUMP_LOW
        case CycleMissed(since_s):
            return texts.cycle_missed((state.at.long_s - since_s) / 3600)
        case NotValid(name, reason, times):
            return texts.not_valid(name, reason, texts.often(times))
        case PausedLong(until_s, by):
            return texts.paused_long(clock_text(state, until_s), by)
        case SoonLow(at_s):
            return texts.soon_low(_about(_local(state, at_s)))
        case Weaker(l_per_min, normal_l_per_min):
            return texts.pump_weaker(l_per_min, normal_l_per_min)
        case NotSeen(states):
            return texts.not_commissioned(", ".join(states))
        case LowInRuns(times, pulse_s):
            return texts.low_in_runs(times, pulse_s)
        case TooLow(times):
            return texts.too_low(times, clock_text(state, max(state.dips.try_at_s, state.at.long_s)))
        case NoSign(signs):
            return texts.no_sign(", ".join(signs))
        case Outside():
            return texts.outside(outside_text(alert.about))
        case None:
            return _fixed(alert)


def _fixed(alert: Alert) -> Words:
    if alert.kind is AlertKind.NOT_READ:
        return texts.not_read(alert.subject)
    if alert.kind is AlertKind.LEAK:
        return texts.LEAK if alert.severity is Severity.URGENT else texts.LOSS
    return texts.FIXED[alert.kind]


def outside_text(about: Outside) -> str:
    """`pH of the solution is 7.2, outside 5.5 to 6.5`."""
    value = f"{about.value:.4g} {about.unit}".rstrip()
    limits = f"{about.lowest:g} to {about.highest:g} {about.unit}".rstrip()
    return f"{about.name} of the solution is {value}, outside {limits}"


def _about(when: datetime) -> str:
    return f"about {when:%A %-d %b} {(when + timedelta(minutes=30)).hour:02}:00"


def clock_text(state: State, long_s: float) -> str:
    """A long-hand instant as people read it: `Thu 25 Jun 14:05`."""
    return f"{_local(state, long_s):%a %-d %b %H:%M}"


def _local(state: State, long_s: float) -> datetime:
    return local(state.setup.plan.place.timezone, state.at, long_s)


def _refill(state: State) -> str:
    if Trip.HIGH_TRAY in state.barriers.trips:
        return TRAY_FULL
    if not may_refill(state):
        back_s = rested_s(state)
        when = "" if back_s == inf else f", {clock_text(state, back_s)}"
        return f"Wait until the water of the last run is back{when}; then look here again."
    book = state.setup.care.book
    what = "water or solution" if book is None else f"{_amount(state)}{to_add(book, state.water.sump)}"
    return (
        f"Unplug the pump, add {what} up to the full mark, enter it with `waaler refill`, plug the pump in again."
    )


def _amount(state: State) -> str:
    """Rounded down, so that the sump does not overflow; empty where the level is not known."""
    book, sump = state.setup.care.book, state.water.sump
    if book is None or sump is None:
        return ""
    return f"{floor(to_full_l(book, entry_at(book, sump, state.setup.plan.place.timezone, state.at)))} L of "


def _plants(state: State) -> str:
    """How long they have, from the last full run on; at the thirst of an ordinary day of this time of the year."""
    full_s = max(state.account.last_full_s, state.started_s if state.account.last_full_s == -inf else -inf)
    book = state.setup.care.book
    thirsty = None if book is None else used_up_at(book, _local(state, full_s))
    if thirsty is None:
        return ""
    if thirsty > _local(state, state.at.long_s):
        return f"The plants have water until about {thirsty:%a %-d %b %H:%M}."
    return (
        "The first pots have used the water that is easy to take: water by hand, each pot what one cycle gives it."
    )


def _call(state: State) -> str:
    people = "; then ".join(contact.words for contact in state.setup.care.contacts)
    return f"Call {people}." if people else ""
