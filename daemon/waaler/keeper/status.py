"""The present state as one JSON object, built from frozen states: it asks nobody and waits for nobody."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from waaler.core.forecast import expected
from waaler.core.state import Stage
from waaler.core.state import State as CoreState
from waaler.guard.asking import held_by
from waaler.guard.messages import Instant
from waaler.guard.state import PLAN_PURSES, energised_s
from waaler.guard.state import State as GuardState
from waaler.guard.words import words
from waaler.plan.advisers import AdviserState, invalid_because
from waaler.plan.sensing import UNITS
from waaler.plan.timetable import upcoming

__all__ = ["UNITS", "Alerts", "one_line", "rfc3339", "status"]

Alerts = dict[str, dict[str, Any]]

LATE_BEAT_S = 10.0


def rfc3339(wall_s: float, zone: str) -> str:
    """A wall time with the zone's offset, to the second."""
    return datetime.fromtimestamp(wall_s, UTC).astimezone(ZoneInfo(zone)).isoformat(timespec="seconds")


def status(core: CoreState, guard: GuardState, alerts: Alerts, at: Instant, beat_s: float) -> dict[str, Any]:
    """What the bed does now, what comes next, and what stands in the way."""
    zone = core.plan.place.timezone
    is_hung = at.long_s - beat_s > LATE_BEAT_S
    return {
        "ok": True,
        "state": "keeper hangs" if is_hung else _state(core, guard),
        "at": rfc3339(at.wall_s, zone),
        "clock": "sure" if at.is_sure else "unsure",
        "run": _run(core, guard, at, zone),
        "next": _next(core, at, zone),
        "standing": _standing(core, at, zone),
        "alerts": [{"kind": kind, **alert} for kind, alert in sorted(alerts.items())],
        "announced_for_seconds": round(max(0.0, core.announced_until_s - at.long_s), 1),
        "held_by": _held_by(guard, at),
        "to_be_seen": sorted(f"{name.value} {level.value}" for name, level in core.unproven),
        "flow_l_per_min": guard.flow_l_per_min,
        "is_live": guard.is_read_back_on if guard.limits.has_read_back else None,
        "inputs": {name.value: "not read" if w.level is None else w.level.value for name, w in guard.watches},
        "trips": sorted(
            {words(w.trip, name) for name, w in guard.watches if w.trip} | {words(lock) for lock in guard.locks}
        ),
        "sump": _sump(core, at, zone),
        "readings": [_reading(adviser, at, zone) for adviser in core.advisers],
        "pump_seconds_24h": round(energised_s(guard, PLAN_PURSES), 1),
        "most_seconds_24h": guard.limits.most_per_day_s,
        "warnings": [] if guard.limits.has_sump_float else ["no sump float: the pump may run dry"],
    }


def one_line(core: CoreState, guard: GuardState, at: Instant) -> str:
    """The same in a few words, for the service manager."""
    following = _next(core, at, core.plan.place.timezone)
    text = _state(core, guard)
    return text if following is None else f"{text}; next cycle {following['start'][:16].replace('T', ' ')}"


def _state(core: CoreState, guard: GuardState) -> str:
    if guard.run is not None:
        return "running"
    if guard.locks:
        return "locked"
    if any(watch.trip for _, watch in guard.watches):
        return "stopped for safety"
    if core.hold is not None:
        return core.hold.kind.value
    return "waiting"


def _run(core: CoreState, guard: GuardState, at: Instant, zone: str) -> dict[str, Any] | None:
    run, active = guard.run, core.active
    if run is None:
        return None
    is_known = active is not None and active.run_id == run.run_id and active.stage is Stage.RUNNING
    return {
        "id": run.run_id,
        "seconds_left": round(max(0.0, run.until_s - at.long_s), 1),
        "until": rfc3339(at.wall_s + run.until_s - at.long_s, zone),
        "cause": active.wanted.cause.value if is_known and active else None,
        "reason": active.wanted.reason if is_known and active else None,
    }


def _next(core: CoreState, at: Instant, zone: str) -> dict[str, Any] | None:
    cycle = next(iter(upcoming(core.plan, datetime.fromtimestamp(at.wall_s, UTC))), None)
    if cycle is None:
        return None
    return {
        "start": rfc3339(cycle.start.timestamp(), zone),
        "seconds": cycle.seconds,
        "window": cycle.key.window,
    }


def _held_by(guard: GuardState, at: Instant) -> dict[str, Any] | None:
    """What would refuse a run by hand now, and for how many seconds more, if that is known."""
    block = held_by(guard)
    if block is None:
        return None
    left_s = None if block.free_at_s is None else round(max(0.0, block.free_at_s - at.long_s), 1)
    return {"reason": block.reason, "seconds": left_s}


def _standing(core: CoreState, at: Instant, zone: str) -> dict[str, Any] | None:
    hold = core.hold
    if hold is None:
        return None
    until = rfc3339(at.wall_s + hold.until_s - at.long_s, zone)
    return {"what": hold.kind.value, "until": until, "by": hold.by}


def _sump(core: CoreState, at: Instant, zone: str) -> dict[str, Any] | None:
    """The level at rest, the first planned run that would be cut, and when the level at rest is low."""
    found = expected(core, at)
    if found is None:
        return None
    days = found.days_left(datetime.fromtimestamp(at.wall_s, ZoneInfo(zone)))
    has_tank = core.care.book is not None and core.care.book.tank is not None
    return {
        "litres": round(found.entry.litres, 1),
        "ec_ms_per_cm": round(found.entry.ec, 2),
        "tank_litres": round(found.entry.tank_l, 1) if has_tank else None,
        "needs_water_at": _stamp(found.needs_water_at),
        "low_at_rest_at": _stamp(found.low_at),
        "days": None if days is None else round(days, 2),
    }


def _stamp(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="seconds")


def _reading(state: AdviserState, at: Instant, zone: str) -> dict[str, Any]:
    reason = invalid_because(state, at.long_s)
    return {
        "name": state.adviser.name,
        "value": None if state.value is None else round(state.value, 2),
        "unit": UNITS[state.adviser.kind],
        "at": None if state.value is None else rfc3339(at.wall_s - (at.long_s - state.read_s), zone),
        "valid": reason is None,
        "reason": reason,
    }
