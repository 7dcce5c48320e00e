"""The life of a standing alert: reminded at growing intervals, handed to the next person, acknowledged."""

from dataclasses import replace
from math import inf

from waaler.core.facts import AlertAcknowledged, AlertReminded, AlertReworded, Severity
from waaler.core.messages import Order
from waaler.core.standing import OpenAlert
from waaler.core.state import State
from waaler.core.turn import Turn
from waaler.core.words import compose, may_refill, rested_s

__all__ = ["acknowledge", "look", "reword"]

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


def look(turn: Turn) -> float:
    """Reminds of what is due and words anew what may no longer, or may again, be said; the next look's instant."""
    wake_s = inf
    for alert in tuple(turn.state.alerts.values()):
        due_s = _due_s(turn.state, alert)
        if turn.now_s >= due_s:
            due_s = _remind(turn, alert)
        elif alert.words is not None and alert.words.refill:
            if _says_refill(turn) is not alert.says_refill:
                reword(turn, alert.kind)
            due_s = min(due_s, _back_s(turn))
        wake_s = min(wake_s, due_s)
    return wake_s


def _back_s(turn: Turn) -> float:
    """When a refill may be spoken of again; inf where it may now, or nobody knows."""
    back_s = rested_s(turn.state)
    return back_s if turn.now_s < back_s else inf


def acknowledge(turn: Turn, order: Order) -> None:
    """A person takes on one alert, or all that stand; what tells of a moment alone is over with that."""
    known = turn.state.alerts
    kinds = [order.text] if order.text else sorted(known)
    if not kinds or order.text not in {"", *known}:
        stand = ", ".join(sorted(known)) or "none"
        turn.answer(order.order_id, False, f"nothing acknowledged; alerts that stand: {stand}")
        return
    for kind in kinds:
        alert = known[kind]
        _put(turn, replace(alert, acknowledged_by=order.by, told_s=turn.now_s))
        turn.write(AlertAcknowledged(turn.at, kind, order.by))
        if alert.is_moment:
            turn.resolve(kind)
    names = ", ".join(kinds)
    turn.deed("acknowledge", names, order.by)
    turn.answer(order.order_id, True, f"acknowledged: {names}")


def _due_s(state: State, alert: OpenAlert) -> float:
    if alert.acknowledged_by is not None:
        return alert.told_s + ACKNOWLEDGED_S[alert.severity]
    steps = INTERVALS_S[alert.severity]
    if alert.severity is Severity.URGENT:
        steps = (ESCALATE_S,) * max(0, len(state.care.contacts) - 2) + steps
    return alert.told_s + steps[min(alert.reminders, len(steps) - 1)]


def _remind(turn: Turn, alert: OpenAlert) -> float:
    """Unless it is a quiet hour, which only urgent alerts break; when it is due again."""
    quiet = turn.state.care.quiet
    if quiet is not None and alert.severity is not Severity.URGENT:
        wait_s = quiet.wait_s(turn.local.hour * 60 + turn.local.minute + turn.local.second / 60)
        if wait_s > 0:
            return turn.now_s + wait_s
    if alert.words is not None and alert.words.refill and not _says_refill(turn):
        return turn.now_s + HOUR_S / 6
    text = alert.text if alert.words is None else compose(turn.state, turn.at, alert.words, alert.raised_s)
    told = replace(
        alert,
        reminders=alert.reminders + 1,
        told_s=turn.now_s,
        text=text,
        says_refill=_says_refill(turn),
        acknowledged_by=None,
    )
    _put(turn, told)
    turn.write(AlertReminded(turn.at, alert.kind, text, told.reminders, _person(turn.state, told)))
    return _due_s(turn.state, told)


def _person(state: State, alert: OpenAlert) -> int:
    """The place in the contacts of the person whose turn it is: each hour that nobody took it on, the next one."""
    if alert.severity is not Severity.URGENT:
        return 0
    return min(alert.reminders, max(0, len(state.care.contacts) - 1))


def reword(turn: Turn, kind: str) -> None:
    """The text of an alert that stands becomes what is true now; nobody is told but those who show it."""
    alert = turn.state.alerts[kind]
    assert alert.words is not None
    text = compose(turn.state, turn.at, alert.words, alert.raised_s)
    _put(turn, replace(alert, text=text, says_refill=_says_refill(turn)))
    turn.write(AlertReworded(turn.at, alert.kind, text))


def _says_refill(turn: Turn) -> bool:
    return may_refill(turn.state, turn.now_s)


def _put(turn: Turn, alert: OpenAlert) -> None:
    turn.set(alerts={**turn.state.alerts, alert.kind: alert})
