"""What a person gets: one note for an alert's turn, or for a good day."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from waaler.core.alert import AlertKind, Severity
from waaler.records.rows import AlertRow, Outgoing, Told
from waaler.records.times import local, rfc3339

__all__ = ["Note", "for_people", "is_superseded", "note_of", "test_note"]

RANK = {severity: rank for rank, severity in enumerate(Severity)}
WORSE: dict[str, frozenset[AlertKind]] = {
    AlertKind.SUMP_SOON_LOW: frozenset({AlertKind.REFILL_DUE, AlertKind.SUMP_LOW}),
    AlertKind.REFILL_DUE: frozenset({AlertKind.SUMP_LOW}),
}
SAID = {
    Told.ALERT: "",
    Told.REMINDER: "still: ",
    Told.ACKNOWLEDGED: "acknowledged: ",
    Told.RESOLVED: "over: ",
}


@dataclass(frozen=True, slots=True)
class Note:
    """id: the same whenever it is sent again, so that a receiver can drop repeats.

    person: how far down the contacts it goes. about: the same things for programs.
    """

    id: str
    subject: str
    body: str
    severity: Severity
    person: int
    about: dict[str, Any]


def for_people(message: Outgoing, least: Severity) -> bool:
    """Whether a person is to get it: not what is stale, and nothing less severe than the channel's least."""
    alert = message.about
    if not isinstance(alert, AlertRow) or message.what not in SAID or RANK[alert.severity] > RANK[least]:
        return False
    if message.what is Told.ACKNOWLEDGED:
        return alert.severity is Severity.URGENT and alert.acknowledged_by is not None
    is_stale = alert.resolved_at_s is not None or alert.acknowledged_by is not None
    return message.what is not Told.REMINDER or not is_stale


def is_superseded(message: Outgoing, open_kinds: Collection[str]) -> bool:
    """Whether an alert ended only because the same cause has become worse: then `over` would mislead."""
    is_over = message.what is Told.RESOLVED and isinstance(message.about, AlertRow)
    return is_over and not WORSE.get(message.about.kind, frozenset()).isdisjoint(open_kinds)  # type: ignore[union-attr]


def note_of(message: Outgoing, bed: str, title: str, zone: ZoneInfo) -> Note:
    alert = message.about
    assert isinstance(alert, AlertRow)
    subject = f"[{title}] {alert.severity.value.upper()}, {SAID[message.what]}{alert.headline}"
    return Note(
        id=f"{message.records}-{message.number}",
        subject=" ".join(subject.split()),
        body=_body(message, alert, zone),
        severity=alert.severity,
        person=alert.person,
        about={
            "bed": bed,
            "title": title,
            "what": message.what.value,
            "kind": alert.kind,
            "severity": alert.severity.value,
            "raised": rfc3339(alert.raised_at_s, zone),
            "resolved": rfc3339(alert.resolved_at_s, zone),
            "reminders": alert.reminders,
            "person": alert.person,
            "acknowledged_by": alert.acknowledged_by,
        },
    )


def test_note(bed: str, title: str, now_s: float, zone: ZoneInfo) -> Note:
    """A note that asks for nothing."""
    at = rfc3339(now_s, zone)
    text = f"This is a test of {title}: nothing is wrong.\nSent {at}."
    return Note(
        id=f"{bed}-test-{now_s:.0f}",
        subject=f"[{title}] test: nothing is wrong",
        body=text,
        severity=Severity.URGENT,
        person=0,
        about={"bed": bed, "title": title, "what": "test", "kind": "test", "severity": "note", "raised": at},
    )


def _body(message: Outgoing, alert: AlertRow, zone: ZoneInfo) -> str:
    if message.what is Told.RESOLVED:
        return f"{alert.headline}\nOver since {_clock(alert.resolved_at_s or 0.0, zone)}; nothing to do for it."
    if message.what is Told.ACKNOWLEDGED:
        return f"{alert.headline}\n{alert.acknowledged_by} takes it on."
    lines = [alert.text]
    if alert.reminders:
        lines.append(f"Told {alert.reminders + 1} times; nobody has acknowledged it yet.")
    if alert.resolved_at_s is not None:
        lines.append(f"Over since {_clock(alert.resolved_at_s, zone)}.")
    else:
        lines.append(f"Do you take it on? On the Pi: waaler acknowledge --alert {alert.kind}")
    return "\n".join(lines)


def _clock(wall_s: float, zone: ZoneInfo) -> str:
    return f"{local(wall_s, zone):%a %-d %b %H:%M}"
