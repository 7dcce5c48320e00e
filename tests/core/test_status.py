"""The one model of what a bed tells of itself: its JSON form, and its words."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from waaler.core.status import (
    CALM,
    AlertNow,
    BedState,
    HeldBy,
    LastRun,
    NextRun,
    Present,
    ReadingNow,
    RunNow,
    Standing,
    Status,
    SumpNow,
    Wait,
    as_json,
    moment_words,
    next_words,
    present_of,
    reason_words,
    state_words,
    status_of,
    steady,
    sump_words,
    wait_words,
)
from waaler.guard.messages import HoldKind, Level
from waaler.guard.names import Hindrance

ZONE = ZoneInfo("Europe/Lisbon")
NOW = datetime(2026, 6, 21, 12, 0, tzinfo=ZONE)
UNTIL = NOW + timedelta(hours=11, minutes=45)
PAUSED = Present(
    BedState.PAUSE,
    standing=Standing(HoldKind.PAUSE, UNTIL, "ann"),
    next=NextRun(UNTIL, 120.0, cause="catch-up"),
    wait=Wait(Hindrance.HOLD, "pause by ann", UNTIL, "it ends by itself, or with `waaler resume`"),
)
WHOLE = Status(
    BedState.RUNNING,
    RunNow(7, NOW, 30.0, "plan", "as planned"),
    PAUSED.standing,
    PAUSED.next,
    PAUSED.wait,
    bed="terrace",
    title="Terrace",
    at=NOW,
    clock="sure",
    last_run=LastRun(NOW, 120.0, "ran its time"),
    last_full_at=NOW,
    alerts=(AlertNow("sump-low", "urgent", "Sump low.\nLook.", NOW, "ben"),),
    announced_for_seconds=15.0,
    held_by=HeldBy("the pump rests between two runs", 60.0),
    to_be_seen=("sump_low bad",),
    flow_l_per_min=12.0,
    is_live=True,
    inputs={"sump_low": Level.GOOD},
    trips=("sump low",),
    sump=SumpNow(172.0, 2.0, 40.0, UNTIL, UNTIL, 4.1),
    readings=(ReadingNow("pot_3", 61.5, "%", NOW, valid=False, reason="stuck"),),
    pump_seconds_24h=120.0,
    most_seconds_24h=3600.0,
    warnings=("no sump float",),
)


# --- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "told",
    [
        None,
        [],
        {},
        {"state": 5},
        {"state": "waiting", "at": "noon"},
        {"state": "waiting", "at": "2026-06-21T12:00:00"},
        {"state": "waiting", "next": {"seconds": 120}},
        {"state": "waiting", "next": {"start": None, "seconds": 120}},
        {"state": "waiting", "sump": {"litres": "much"}},
        {"state": "waiting", "readings": {"pot": 1}},
        {"state": "waiting", "inputs": ["sump_low"]},
    ],
)
def test_what_is_no_status_is_refused(told: object) -> None:
    with pytest.raises(ValueError):
        status_of(told)


# --- the JSON form ------------------------------------------------------------------------------


def test_a_status_comes_back_from_its_json_as_it_was() -> None:
    assert status_of(json.loads(json.dumps(as_json(WHOLE)))) == WHOLE


def test_its_keys_and_moments_are_those_that_were_always_told() -> None:
    told = as_json(WHOLE)

    assert told["state"] == "running"
    assert told["at"] == "2026-06-21T12:00:00+01:00"
    assert told["run"] == {
        "id": 7, "until": "2026-06-21T12:00:00+01:00", "seconds_left": 30.0, "cause": "plan", "reason": "as planned",
    }  # fmt: skip
    assert told["standing"] == {"what": "pause", "until": "2026-06-21T23:45:00+01:00", "by": "ann"}
    assert told["inputs"] == {"sump_low": "good"}


def test_what_a_later_version_adds_is_left_out_and_what_an_earlier_one_lacks_takes_its_default() -> None:
    told = status_of({"state": "asleep", "next": {"start": NOW.isoformat(), "seconds": 9, "moon": 1}, "mood": []})

    assert (told.state, told.next, told.wait) == ("asleep", NextRun(NOW, 9.0), None)
    assert told.state not in CALM


def test_the_part_that_records_keep_is_read_alone() -> None:
    assert present_of(as_json(PAUSED)) == PAUSED


# --- what moves by itself -----------------------------------------------------------------------


def test_a_moment_that_only_rounds_otherwise_is_told_as_before() -> None:
    second = timedelta(seconds=1)
    later = replace(PAUSED, standing=replace(PAUSED.standing, until=UNTIL + second))  # type: ignore[type-var]

    assert steady(PAUSED, later) == PAUSED
    assert steady(None, later) == later
    moved = replace(PAUSED, next=NextRun(UNTIL + 3 * second, 120.0, cause="catch-up"))
    assert steady(PAUSED, moved) == moved
    assert steady(PAUSED, replace(PAUSED, state=BedState.LOCKED)).state is BedState.LOCKED


def test_what_is_left_of_a_run_is_always_told_anew() -> None:
    running = Present(BedState.RUNNING, RunNow(7, NOW, 30.0))
    later = Present(BedState.RUNNING, RunNow(7, NOW, 20.0))

    assert steady(running, later) == later
    assert steady(running, Present(BedState.RUNNING, RunNow(8, NOW, 30.0))).run == RunNow(8, NOW, 30.0)


# --- words --------------------------------------------------------------------------------------


def test_a_moment_of_today_has_no_date() -> None:
    assert moment_words(UNTIL, NOW) == "today, 23:45"
    assert moment_words(UNTIL + timedelta(hours=1), NOW) == "Mon 22 Jun, 00:45"


@pytest.mark.parametrize(
    ("present", "state", "when", "what", "wait"),
    [
        (Present(BedState.WAITING), "", "none within a year", "", ""),
        (
            Present(BedState.WAITING, next=NextRun(UNTIL, 120.0, "early", is_on_demand=True)),
            "", "today, 23:45", "120 s, early, or sooner on demand", "",
        ),
        (
            PAUSED, "until today, 23:45, by ann; it ends by itself, or with `waaler resume`",
            "today, 23:45", "120 s, catch-up",
            "pause by ann, until today, 23:45; it ends by itself, or with `waaler resume`",
        ),
        (
            Present(BedState.LOCKED, wait=Wait(Hindrance.LOCK, "locked: ran too long", None, "find the cause")),
            "ran too long; find the cause", "none yet", "", "locked: ran too long; find the cause",
        ),
        (
            Present(BedState.RUNNING, RunNow(7, NOW + timedelta(seconds=80), 0.0, "plan", "as planned")),
            "80 s more; plan: as planned", "none within a year", "", "",
        ),
        (Present(BedState.RUNNING, RunNow(7, NOW - timedelta(seconds=5))), "0 s more", "none within a year", "", ""),
    ],
)  # fmt: skip
def test_the_words_of_state_next_and_wait(present: Present, state: str, when: str, what: str, wait: str) -> None:
    assert state_words(present, NOW) == state
    assert next_words(present, NOW) == (when, what)
    assert wait_words(present, NOW) == wait
    assert reason_words(present, NOW) == wait.partition(";")[0]


def test_the_words_of_the_sump() -> None:
    assert sump_words(None, NOW) == "not known; enter a refill to the full mark"
    assert sump_words(SumpNow(172.4), NOW) == "172 L; lasts beyond 60 days"
    soon = SumpNow(172.4, tank_litres=40.0, needs_water_at=UNTIL, days=0.49)
    assert sump_words(soon, NOW) == "172 L, and 40 L in the header tank; 0.5 days, needs water by today, 23:45"
