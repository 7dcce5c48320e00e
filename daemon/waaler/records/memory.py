"""What the core must know after a restart, and the guard if its journal is lost, read from the records.

What was damaged on the disk is left out and counted in `Past.unread`; the rest is believed as before.
"""

import sqlite3
from math import inf

from waaler.core.alert import FOUND, Alert, OpenAlert, Words, kind_of
from waaler.core.facts import Act
from waaler.core.memory import Memory
from waaler.core.state import Dips
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Hold, HoldKind, Input, Instant, Level, Trip
from waaler.records.about import about_of
from waaler.records.boots import Boots
from waaler.records.columns import severity_of
from waaler.records.past import Past, Row, count, length, maybe, sump, text, upkeep, wear
from waaler.records.past_runs import Recent

__all__ = ["restore"]

WHOSE = {Trip.LOW_SUMP: Input.SUMP_LOW, Trip.HIGH_TRAY: Input.TRAY_HIGH}
SEEN = f"what = '{Act.INPUT_SEEN}' AND id > (SELECT coalesce(max(id), 0) FROM deed WHERE what = '{Act.DISARMED}')"
LOW_TRIP = f"over_wall_s IS NULL AND trip = '{Trip.LOW_SUMP.value}'"
LAST_REFILL = f"what IN ('{Act.REFILL}', '{Act.RENEWAL}')"
VAIN_SINCE = (
    f"what = '{Act.TOO_LOW}' AND id >"
    f" coalesce((SELECT max(id) FROM deed WHERE what IN ('{Act.HIGH_ENOUGH}', '{Act.REFILL}', '{Act.RENEWAL}')), 0)"
)
LAST_PULSES = f"what IN ('{Act.PULSES}', '{Act.REFILL}', '{Act.RENEWAL}')"


def restore(db: sqlite3.Connection, past: Past, boots: Boots, now: Instant, running: int | None = None) -> Memory:
    recent = Recent(past, boots, now)
    return Memory(
        guard=GuardMemory(
            spans=recent.spans(),
            last_stop_s=recent.last_stop_s(),
            locks=frozenset(trip for trip, _ in _open_trips(past, "is_locked")),
            tripped=_tripped(past),
            holds=_holds(past, boots, now),
            seen=_seen(past),
            has_watered=recent.has_watered,
            last_run_id=recent.next_run_id - 1,
            reserved_run_id=recent.next_run_id - 1,
        ),
        next_run_id=recent.next_run_id,
        looked_at_s=boots.last_alive_s,
        done=recent.done(),
        given=recent.given(),
        skips_in_a_row=recent.skips_in_a_row(),
        last_full_s=recent.last_full_s(),
        last_catch_up_s=recent.last_catch_up_s(),
        is_owed=recent.is_owed(running),
        dips=_dips(past, boots, now),
        low_since_s=past.newest(lambda r: boots.here(r["began_boot"], r["began_long_s"], now), "trip", LOW_TRIP),
        refilled_s=past.newest(lambda r: boots.here(r["boot"], r["long_s"], now), "deed", LAST_REFILL),
        open_alerts=_open_alerts(past, boots, now),
        sump=sump(past, boots, now),
        upkeep=upkeep(db),
        wear=wear(past),
    )


def _open_trips(past: Past, condition: str) -> list[tuple[Trip, Input | None]]:
    def trip(row: Row) -> tuple[Trip, Input | None]:
        return Trip(row["trip"]), Input(row["input"]) if row["input"] else None

    return past.made(trip, "trip", f"WHERE over_wall_s IS NULL AND {condition}")


def _tripped(past: Past) -> frozenset[tuple[Input, Trip]]:
    """Of an old row without its input every one may be meant."""
    found: set[tuple[Input, Trip]] = set()
    for trip, where in _open_trips(past, "NOT is_locked"):
        if where is not None:
            found.add((where, trip))
        elif trip in WHOSE:
            found.add((WHOSE[trip], trip))
        elif trip is Trip.NOT_READ:
            found |= {(name, trip) for name in Input}
    return frozenset(found)


def _open_alerts(past: Past, boots: Boots, now: Instant) -> tuple[OpenAlert, ...]:
    alerts = past.made(
        lambda row: _open_alert(row, boots, now), "alert", "WHERE resolved_wall_s IS NULL ORDER BY id"
    )
    return tuple(alerts)


def _open_alert(row: Row, boots: Boots, now: Instant) -> OpenAlert:
    raised_s = boots.here(row["raised_boot"], row["raised_long_s"], now)
    told_s = raised_s if row["told_boot"] is None else boots.here(row["told_boot"], row["told_long_s"], now)
    kind, subject = kind_of(text(row["kind"]))
    about = about_of(maybe(text, row["about"]))
    if about is None and kind in FOUND:
        about = Words(text(row["text"]).partition("\n")[0])  # of an earlier version: nothing else is known of it
    says_refill = None if row["says_refill"] is None else bool(row["says_refill"])
    return OpenAlert(
        Alert(kind, severity_of(row["severity"]), about, subject),
        raised_s,
        told_s,
        count(row["reminders"]),
        maybe(text, row["acknowledged_by"]),
        says_refill,
    )


def _pulse_s(past: Past) -> float | None:
    """How long the pulses are that a low sump made of the doses; None where it has none, or a refill ended them."""
    found = past.newest(lambda row: (row["what"], maybe(length, row["seconds"])), "deed", LAST_PULSES)
    return found[1] if found is not None and found[0] == Act.PULSES else None


def _dips(past: Past, boots: Boots, now: Instant) -> Dips:
    def try_at_s(row: Row) -> float:
        return boots.here(row["boot"], row["long_s"], now) + length(row["seconds"])

    vain = past.made(try_at_s, "deed", f"WHERE {VAIN_SINCE} ORDER BY id DESC")
    return Dips(pulse_s=_pulse_s(past), vain=len(vain), try_at_s=vain[0] if vain else -inf)


def _seen(past: Past) -> frozenset[tuple[Input, Level]]:
    """Protective inputs and how they once read: deeds such as `sump_low bad`."""

    def mark(row: Row) -> tuple[Input, Level]:
        name, level = row["text"].split(" ", 1)
        return Input(name), Level(level)

    return frozenset(past.made(mark, "deed", f"WHERE {SEEN}"))


def _holds(past: Past, boots: Boots, now: Instant) -> tuple[Hold, ...]:
    """The orders that still stand, with the pump time that goes with a soak or an attended time."""

    def hold(row: Row) -> Hold | None:
        if row["what"] not in list(HoldKind) or row["until_wall_s"] is None:
            return None
        lasts_s = length(row["until_wall_s"] - row["wall_s"])
        until_s = boots.here(row["boot"], row["long_s"] + lasts_s, now)
        by, most_s = maybe(text, row["by"]) or "a person", maybe(length, row["seconds"]) or 0.0
        return Hold(HoldKind(row["what"]), until_s, by, most_s) if until_s > now.long_s else None

    found = (
        past.newest(hold, "deed", f"what IN (?, ?, '{Act.RESUME}')", kind.value, f"{kind.value}-over")
        for kind in HoldKind
    )
    return tuple(hold for hold in found if hold is not None)
