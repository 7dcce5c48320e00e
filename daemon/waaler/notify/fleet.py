"""Many beds as a subscriber of their broker sees them: a pure fold over messages, safe against any of them."""

import json
from dataclasses import dataclass, field, replace
from typing import TypedDict

from waaler.core.status import Status, SumpNow, reason_words, status_of

__all__ = ["BedSeen", "Fleet", "Row", "rows", "take"]

MOST_BEDS = 5000
MOST_ALERTS = 50
MOST_BYTES = 65_536
SILENT_AFTER_S = 150.0
"""A status comes every minute: two and a half of them."""

LONGEST_TEXT, LONGEST_WAIT = 60, 120
ORDER = {"urgent": 0, "soon": 1, "note": 2}


@dataclass(frozen=True, slots=True)
class BedSeen:
    """alerts: kind -> (severity, headline). wait: why no run comes before next_at. status_s: of its last status."""

    is_online: bool = False
    state: str = "unknown"
    next_at: str = ""
    wait: str = ""
    sump: str = ""
    status_s: float | None = None
    alerts: dict[str, tuple[str, str]] = field(default_factory=dict)

    def is_silent(self, now_s: float) -> bool:
        return not self.is_online or self.status_s is None or now_s - self.status_s > SILENT_AFTER_S


class Alert(TypedDict):
    kind: str
    severity: str
    what: str


class Row(TypedDict):
    """One bed in a list, as `watch --json` prints it; rank: 0 with an urgent alert, 4 without any."""

    bed: str
    state: str
    silent: bool
    online: bool
    silent_seconds: int | None
    next: str
    wait: str
    sump: str
    alerts: list[Alert]
    rank: int


@dataclass(frozen=True, slots=True)
class Fleet:
    """dropped: messages that made no sense or were too many."""

    beds: dict[str, BedSeen] = field(default_factory=dict)
    dropped: int = 0


def take(fleet: Fleet, topic: str, payload: bytes, now_s: float) -> Fleet:
    """The fleet after one message; whatever makes no sense only counts."""
    parts = topic.split("/")
    is_ours = len(parts) in (3, 4) and parts[0] == "waaler" and 0 < len(parts[1]) <= 31
    if not is_ours or len(payload) > MOST_BYTES or (parts[1] not in fleet.beds and len(fleet.beds) >= MOST_BEDS):
        return replace(fleet, dropped=fleet.dropped + 1)
    seen = fleet.beds.get(parts[1], BedSeen())
    try:
        seen = _seen(seen, parts[2:], payload, now_s)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, OverflowError):
        return replace(fleet, dropped=fleet.dropped + 1)
    fleet.beds[parts[1]] = seen  # a copy of 500 beds for each message would cost more than it is worth
    return fleet


def _seen(seen: BedSeen, what: list[str], payload: bytes, now_s: float) -> BedSeen:
    match what:
        case ["online"]:
            return replace(seen, is_online=json.loads(payload) is True)
        case ["status"]:
            return _with_status(seen, status_of(json.loads(payload)), now_s)
        case ["alert", kind] if not payload:
            return replace(seen, alerts={name: told for name, told in seen.alerts.items() if name != kind})
        case ["alert", kind]:
            told = json.loads(payload)
            alert = (_plain(told["severity"]), _plain(told["text"].partition("\n")[0]))
            if kind not in seen.alerts and len(seen.alerts) >= MOST_ALERTS:
                raise ValueError("too many alerts")
            return replace(seen, alerts={**seen.alerts, _plain(kind): alert})
        case _:
            return seen


def _with_status(seen: BedSeen, status: Status, now_s: float) -> BedSeen:
    if status.at is None:
        raise ValueError("a status of no time")
    return replace(
        seen,
        state=_plain(status.state),
        next_at="" if status.next is None else f"{status.next.start:%m-%d %H:%M}",
        wait=_plain(reason_words(status, status.at), LONGEST_WAIT),
        sump="" if status.sump is None else _sump(status.sump),
        status_s=min(status.at.timestamp(), now_s),
    )


def _sump(sump: SumpNow) -> str:
    when = "" if sump.needs_water_at is None else f", low {sump.needs_water_at:%a %-d %b}"
    return f"{sump.litres:.0f} L{when}"


def _plain(text: object, longest: int = LONGEST_TEXT) -> str:
    """What a terminal may be shown: no control characters, not too long."""
    return "".join(letter for letter in str(text)[:200] if letter.isprintable())[:longest]


def rows(fleet: Fleet, now_s: float) -> list[Row]:
    """One object a bed: who needs a person first."""
    found = [_row(bed, seen, now_s) for bed, seen in fleet.beds.items()]
    return sorted(found, key=lambda row: (not row["silent"], row["rank"], row["bed"]))


def _row(bed: str, seen: BedSeen, now_s: float) -> Row:
    alerts = sorted(seen.alerts.items(), key=lambda item: (ORDER.get(item[1][0], 3), item[0]))
    return {
        "bed": _plain(bed),
        "state": seen.state,
        "silent": seen.is_silent(now_s),
        "online": seen.is_online,
        "silent_seconds": None if seen.status_s is None else round(now_s - seen.status_s),
        "next": seen.next_at,
        "wait": seen.wait,
        "sump": seen.sump,
        "alerts": [{"kind": kind, "severity": severity, "what": what} for kind, (severity, what) in alerts],
        "rank": min((ORDER.get(severity, 3) for severity, _ in seen.alerts.values()), default=4),
    }
