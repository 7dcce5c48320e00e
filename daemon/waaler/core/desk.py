"""The one desk for alerts: compares what stands with what was told, raises, reminds, hands on, resolves.

A text is made at the moment it is told, from the facts of that moment, and is not kept here.
"""

from dataclasses import replace
from math import inf

from waaler.core import conditions
from waaler.core.alert import FOUND, MOMENTS, Alert, NotValid, OpenAlert, Severity
from waaler.core.deduced import may_refill, rested_s
from waaler.core.facts import Act, AlertAcknowledged, AlertRaised, AlertReminded, AlertResolved, AlertReworded
from waaler.core.messages import Order
from waaler.core.state import State
from waaler.core.texts import often
from waaler.core.turn import Turn
from waaler.core.words import asks_refill, compose

__all__ = ["acknowledge", "look"]

HOUR_S = 3600.0
DAY_S = 86_400.0
ESCALATE_S = HOUR_S
"""Each person of the contacts has so long for an urgent alert. Source: our own rule."""

INTERVALS_S = {
    Severity.URGENT: (HOUR_S, 2 * HOUR_S, 4 * HOUR_S, 8 * HOUR_S, DAY_S),
    Severity.SOON: (DAY_S, 2 * DAY_S, 4 * DAY_S, 7 * DAY_S),
    Severity.NOTE: (inf,),
}
"""Until the next reminder; the last one again and again. Common practice, no source."""

ACKNOWLEDGED_S = {Severity.URGENT: DAY_S, Severity.SOON: 7 * DAY_S, Severity.NOTE: inf}
"""An alert that somebody took on and that still stands is told again, but seldom. Common practice, no source."""

RANKS = {severity: rank for rank, severity in enumerate(Severity)}


def look(turn: Turn) -> float:
    """Tells what is new, due or over; the instant of the next look."""
    stands = {alert.name: alert for alert in conditions.standing(turn.state)}
    for name in tuple(turn.state.alerts.standing):
        if name not in stands:
            _resolve(turn, name)
    return min((_look_at(turn, name, alert) for name, alert in stands.items()), default=inf)


def acknowledge(turn: Turn, order: Order) -> None:
    """A person takes on one alert, or all that stand; what tells of a moment alone is over with that."""
    known = turn.state.alerts.standing
    names = [order.text] if order.text else sorted(known)
    if not names or order.text not in {"", *known}:
        stand = ", ".join(sorted(known)) or "none"
        turn.answer(order.order_id, False, f"nothing acknowledged; alerts that stand: {stand}")
        return
    for name in names:
        _put(turn, name, replace(known[name], acknowledged_by=order.by, told_s=turn.now_s))
        turn.write(AlertAcknowledged(turn.at, name, order.by))
        if known[name].alert.kind in MOMENTS:
            turn.over(known[name].alert.kind)
    told = ", ".join(names)
    turn.deed(Act.ACKNOWLEDGE, told, order.by)
    turn.answer(order.order_id, True, f"acknowledged: {told}")


def _look_at(turn: Turn, name: str, alert: Alert) -> float:
    """One that stands: raised where it is new or more severe, else reminded of; the instant of its next look."""
    known = turn.state.alerts.standing.get(name)
    if known is None or RANKS[alert.severity] < RANKS[known.severity]:
        known = _raise(turn, name, alert, turn.now_s if known is None else known.raised_s)
    elif turn.now_s >= _due_s(turn.state, known):
        return _remind(turn, name, alert, known)
    elif _is_outdated(turn.state, alert, known):
        known = _reword(turn, name, alert, known)
    wake_s = _due_s(turn.state, known)
    return min(wake_s, _back_s(turn)) if asks_refill(alert) else wake_s


def _raise(turn: Turn, name: str, alert: Alert, raised_s: float) -> OpenAlert:
    says_refill = may_refill(turn.state)
    told = OpenAlert(alert, raised_s, turn.now_s, says_refill=says_refill)
    _put(turn, name, told)
    text = compose(turn.state, alert, raised_s)
    turn.write(AlertRaised(turn.at, name, alert.severity, text, alert.about, says_refill))
    return told


def _remind(turn: Turn, name: str, alert: Alert, known: OpenAlert) -> float:
    """Unless it is a quiet hour, which only urgent alerts break; when it is due again."""
    quiet = turn.setup.care.quiet
    if quiet is not None and known.severity is not Severity.URGENT:
        wait_s = quiet.wait_s(turn.local.hour * 60 + turn.local.minute + turn.local.second / 60)
        if wait_s > 0:
            return turn.now_s + wait_s
    says_refill = may_refill(turn.state)
    if asks_refill(alert) and not says_refill:
        return turn.now_s + HOUR_S / 6
    told = OpenAlert(
        replace(alert, severity=known.severity),
        known.raised_s,
        turn.now_s,
        known.reminders + 1,
        says_refill=says_refill,
    )
    _put(turn, name, told)
    text, person = compose(turn.state, alert, known.raised_s), _person(turn.state, told)
    turn.write(AlertReminded(turn.at, name, text, told.reminders, person, alert.about, says_refill))
    return _due_s(turn.state, told)


def _is_outdated(state: State, alert: Alert, known: OpenAlert) -> bool:
    """Whether what was told last may not stand: it says refill and must not, or may again; a sensor that comes and
    goes did so much oftener.
    """
    if asks_refill(alert):
        return known.says_refill is not may_refill(state)
    before = known.alert.about
    if isinstance(alert.about, NotValid) and isinstance(before, NotValid):
        return often(alert.about.times) > often(before.times)
    return False


def _reword(turn: Turn, name: str, alert: Alert, known: OpenAlert) -> OpenAlert:
    says_refill = may_refill(turn.state)
    told = replace(known, alert=replace(alert, severity=known.severity), says_refill=says_refill)
    _put(turn, name, told)
    text = compose(turn.state, alert, known.raised_s)
    turn.write(AlertReworded(turn.at, name, text, alert.about, says_refill))
    return told


def _resolve(turn: Turn, name: str) -> None:
    known = turn.state.alerts
    alert = known.standing[name].alert
    turn.put(replace(known, standing={other: one for other, one in known.standing.items() if other != name}))
    if alert.kind in FOUND:
        turn.over(alert.kind, alert.subject)
    turn.write(AlertResolved(turn.at, name))


def _back_s(turn: Turn) -> float:
    """When a refill may be spoken of again; inf where it may now, or nobody knows."""
    back_s = rested_s(turn.state)
    return back_s if turn.now_s < back_s else inf


def _due_s(state: State, known: OpenAlert) -> float:
    if known.acknowledged_by is not None:
        return known.told_s + ACKNOWLEDGED_S[known.severity]
    steps = INTERVALS_S[known.severity]
    if known.severity is Severity.URGENT:
        steps = (ESCALATE_S,) * max(0, len(state.setup.care.contacts) - 2) + steps
    return known.told_s + steps[min(known.reminders, len(steps) - 1)]


def _person(state: State, known: OpenAlert) -> int:
    """The place in the contacts of the person whose turn it is: each hour that nobody took it on, the next one."""
    if known.severity is not Severity.URGENT:
        return 0
    return min(known.reminders, max(0, len(state.setup.care.contacts) - 1))


def _put(turn: Turn, name: str, known: OpenAlert) -> None:
    turn.put(replace(turn.state.alerts, standing={**turn.state.alerts.standing, name: known}))
