"""When the next run can come, and why not before. What the machines then do is the truth."""

import copy
from dataclasses import replace
from datetime import datetime
from random import Random
from zoneinfo import ZoneInfo

import pytest
from tests.core.bench import FAR_S, LIMITS, LISBON, PLAN, PROBE, Bench

from waaler.core import joined
from waaler.core.facts import Cause, Outcome, RunStarted
from waaler.core.memory import Memory
from waaler.core.messages import OrderKind, Write
from waaler.core.present import present
from waaler.core.state import Setup
from waaler.core.status import BedState, Present
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import HoldKind, Input, Level, LevelRead, RelayRead
from waaler.guard.names import Hindrance
from waaler.plan.sensing import Adviser, AdviserKind, Reading, Sensing
from waaler.plan.types import Below, ClockMoment, Evenly, HotDay, OnDemand, Plan, Window

AIR = Adviser("air", AdviserKind.TEMPERATURE, wet_above=100.0, dry_below=0.0)
ORDERS = (OrderKind.PAUSE, OrderKind.SERVICE, OrderKind.SOAK, OrderKind.ATTEND)


def now(bench: Bench) -> Present:
    return present(bench.core.decisions, bench.core.guard, bench.at)


def next_clock(bench: Bench) -> tuple[str, str]:
    """When the next run is told to come, and which."""
    run = now(bench).next
    assert run is not None
    return f"{run.start:%a %H:%M}", run.window or run.cause


def wait_of(bench: Bench) -> tuple[Hindrance | str, str, str | None]:
    wait = now(bench).wait
    assert wait is not None
    return wait.what, wait.reason, None if wait.until is None else f"{wait.until:%a %H:%M}"


def at_clock(clock: str, **more: object) -> Bench:
    bench = Bench(**more)  # type: ignore[arg-type]
    bench.until(clock)
    return bench


# --- nothing can come ---------------------------------------------------------------------------


def locked(bench: Bench) -> None:
    for _ in range(2):
        bench.tell_guard(RelayRead(is_on=True))
        bench.pass_s(0.3)


def test_a_lock_has_no_end_by_itself_and_says_what_a_person_must_do() -> None:
    bench = at_clock("07:00")
    locked(bench)
    told = now(bench)

    assert (told.state, told.next) == (BedState.LOCKED, None)
    assert told.wait is not None
    assert (told.wait.what, told.wait.until) == (Hindrance.LOCK, None)
    assert told.wait.reason == "locked: ran too long"
    assert told.wait.do == "pull the pump's plug, find the cause, then `waaler clear`"


def test_of_a_lock_and_a_pause_the_one_without_an_end_is_told() -> None:
    bench = at_clock("07:00")
    locked(bench)
    bench.order(OrderKind.PAUSE, 3600.0)

    assert now(bench).next is None
    assert wait_of(bench)[0] is Hindrance.LOCK


@pytest.mark.parametrize(("name", "words"), [(Input.SUMP_LOW, "sump low"), (Input.TRAY_HIGH, "tray too full")])
def test_an_input_that_tripped_keeps_the_next_run_away_until_it_reads_good(name: Input, words: str) -> None:
    bench = at_clock("07:00")
    bench.level(name, Level.BAD)
    bench.pass_s(1.0)

    assert (now(bench).state, now(bench).next) == (BedState.STOPPED, None)
    what, reason, until = wait_of(bench)
    assert (what, until) == (Hindrance.TRIP, None)
    assert reason.startswith(words)


def test_a_new_bed_waits_for_its_commissioning() -> None:
    bench = Bench()
    bench.core = joined.begin(
        Setup(bench.plan, bench.sensing, bench.limits, must_be_proven=True), Memory(), bench.at
    )
    told = now(bench)

    assert (told.state, told.next) == (BedState.NOT_COMMISSIONED, None)
    assert told.wait is not None
    assert told.wait.what is Hindrance.COMMISSIONING
    assert told.wait.do == "walk through `waaler commission`"


def test_a_plan_whose_windows_are_over_has_no_next_run_and_nothing_that_waits() -> None:
    over = replace(PLAN, windows=(replace(PLAN.windows[0], ends=datetime(2026, 6, 1).date()),))
    told = now(Bench(plan=over))

    assert (told.state, told.next, told.wait) == (BedState.WAITING, None, None)


# --- a person's holds ---------------------------------------------------------------------------


def test_during_a_pause_over_the_last_cycle_the_run_that_it_owes_comes_at_its_end() -> None:
    """By the clock alone: 15:30 + 8 h 15 min; the cycle of 18:00 is missed, and the last full run 8 h 43 min ago."""
    bench = at_clock("15:30")
    bench.order(OrderKind.PAUSE, 8.25 * 3600)

    assert now(bench).state is BedState.PAUSE
    assert next_clock(bench) == ("Sun 23:45", "catch-up")
    assert wait_of(bench) == (Hindrance.HOLD, "pause by ann", "Sun 23:45")


@pytest.mark.parametrize(
    ("kind", "state"),
    [
        (OrderKind.PAUSE, BedState.PAUSE),
        (OrderKind.SERVICE, BedState.SERVICE),
        (OrderKind.ATTEND, BedState.ATTENDED),
    ],
)
def test_a_hold_that_ends_between_cycles_is_followed_by_the_next_of_the_plan(
    kind: OrderKind, state: BedState
) -> None:
    bench = at_clock("06:30")
    bench.order(kind, 3600.0)

    assert now(bench).state is state
    assert next_clock(bench) == ("Sun 09:00", "day")
    assert wait_of(bench) == (Hindrance.HOLD, f"{HoldKind(state.value).value} by ann", "Sun 07:30")


def test_in_a_soak_the_next_run_is_the_soak_s_own() -> None:
    bench = at_clock("06:30")
    bench.order(OrderKind.SOAK, 10 * 3600.0)
    bench.pass_s(LIMITS.longest_run_s + 10)
    told = now(bench)

    assert told.state is BedState.SOAK
    assert told.standing is not None
    assert next_clock(bench)[1] == "soak"
    assert told.next is not None
    assert 0 < told.next.start.timestamp() - bench.wall_s <= LIMITS.rest_s


def test_every_hold_of_the_guard_is_a_state_of_the_bed() -> None:
    assert {kind.value for kind in HoldKind} <= {state.value for state in BedState}


# --- what ends by itself ------------------------------------------------------------------------


def test_a_sump_that_is_good_again_says_when_it_is_trusted() -> None:
    """20 min of `settle`, and the cycle of 09:00 lies within them: it runs late."""
    bench = at_clock("08:50")
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(60.0)
    bench.level(Input.SUMP_LOW, Level.GOOD)

    assert next_clock(bench) == ("Sun 09:11", "day")
    assert wait_of(bench)[::2] == (Hindrance.TRIP, "Sun 09:11")


def test_the_rest_of_the_pump_is_told_only_where_a_run_comes_later_for_it() -> None:
    bench = at_clock("06:01")
    assert now(bench).state is BedState.RUNNING
    assert now(bench).wait is None
    bench.pass_s(90.0)
    assert (now(bench).wait, next_clock(bench)) == (None, ("Sun 09:00", "day"))

    bench.until("08:56")
    bench.order(OrderKind.WATER, 60.0)
    bench.pass_s(90.0)
    assert next_clock(bench) == ("Sun 09:02", "day")
    assert wait_of(bench) == (Hindrance.REST, "the pump rests between two runs", "Sun 09:02")
    bench.until("09:01")
    assert bench.outcomes()[-1] == (Cause.PLAN, Outcome.REFUSED, 0)
    assert next_clock(bench) == ("Sun 09:02", "day")


def test_while_somebody_gives_what_is_owed_none_is_owed_any_more() -> None:
    """18:00 is missed; the last full run ended at 15:02, and 4.5 h later its stand-in would come."""
    bench = at_clock("17:30")
    bench.order(OrderKind.PAUSE, 3600.0)
    bench.until("19:00")
    assert next_clock(bench) == ("Sun 19:32", "catch-up")

    bench.order(OrderKind.WATER, 120.0)
    bench.pass_s(60.0)

    assert now(bench).state is BedState.RUNNING
    assert next_clock(bench) == ("Mon 06:00", "day")


# --- which cycle --------------------------------------------------------------------------------


def test_a_cycle_more_on_a_hot_day_is_the_next_one() -> None:
    bench = at_clock("10:00", plan=replace(PLAN, hot_day=HotDay(30.0, 2)), sensing=Sensing(advisers=(AIR,)))
    assert next_clock(bench) == ("Sun 12:00", "day")

    bench.tell(Reading("air", 33.0))

    assert next_clock(bench) == ("Sun 10:30", "hot day")


def asked_for() -> Plan:
    rule = OnDemand(Below("pot_3", 70.0), ClockMoment(360), ClockMoment(1200), 1800.0, 6)
    return Plan(LISBON, (Window("asked", Evenly(5, ClockMoment(360), ClockMoment(1080)), 120.0, on_demand=rule),))


def test_a_fallback_is_the_next_run_only_when_it_will_count_and_what_asks_may_be_sooner() -> None:
    """The last full run was at 18:00 of the day before; with a probe that reads, only 4.5 h later a fallback counts."""
    sensing = Sensing(advisers=(replace(PROBE, is_calibrated=True),))
    bench = at_clock("06:30", plan=asked_for(), sensing=sensing)
    assert [cause for cause, outcome, _ in bench.outcomes() if outcome is Outcome.DONE] == [Cause.PLAN]
    run = now(bench).next
    assert (next_clock(bench), run is not None and run.is_on_demand) == (("Sun 09:00", "asked"), False)

    bench.read(90.0)

    run = now(bench).next
    assert (next_clock(bench), run is not None and run.is_on_demand) == (("Sun 12:00", "asked"), True)


def test_its_moments_are_by_the_bed_s_clock() -> None:
    run = now(Bench()).next

    assert run is not None
    assert run.start == datetime(2026, 6, 21, 6, 0, tzinfo=ZoneInfo("Europe/Lisbon"))
    assert run.start.isoformat() == "2026-06-21T06:00:00+01:00"


# --- what is told is what comes -------------------------------------------------------------------


def what_comes(bench: Bench, days: float = 2.5) -> float | None:
    """The wall time of the next start if nobody does anything more; None if none comes."""
    alone = copy.copy(bench)
    alone.outputs = []
    end_s = alone.long_s + days * 86_400.0
    while alone.long_s < end_s:
        alone.pass_s(600.0)
        for at, output in alone.outputs:
            if isinstance(output, Write) and isinstance(output.fact, RunStarted):
                return at.wall_s
    return None


def happen(chance: Random, bench: Bench) -> None:
    match chance.randrange(8):
        case 0 | 1 | 2 | 3 as n:
            bench.order(ORDERS[n], chance.uniform(600.0, 43_000.0))
        case 4:
            bench.order(OrderKind.RESUME)
        case 5:
            bench.tell_guard(LevelRead(chance.choice(list(Input)), Level.BAD, FAR_S))
            bench.pass_s(1.0)
        case 6:
            for name in Input:
                bench.level(name, Level.GOOD)
        case 7:
            bench.order(OrderKind.WATER, 60.0)


@pytest.mark.parametrize("seed", range(12))
def test_the_run_that_is_told_is_the_run_that_comes(seed: int) -> None:
    chance = Random(seed)
    first = f"2026-06-21T{chance.randrange(24):02}:{chance.randrange(60):02}:00+01:00"
    bench = Bench(start=first, is_sure=seed % 4 > 0)
    for _ in range(8):
        bench.pass_s(chance.uniform(0.005, 0.4) * 86_400.0)
        happen(chance, bench)
        bench.pass_s(chance.choice([0.0, chance.uniform(0.0, 900.0)]))
        told, came_s = now(bench), what_comes(bench)
        told_s = None if told.next is None else told.next.start.timestamp()

        assert (told_s is None) == (came_s is None), told
        assert told_s is None or came_s is None or -1.5 < came_s - told_s < 61.5, (told, came_s)


def test_a_restart_in_the_middle_of_a_pause_changes_nothing_of_what_is_told() -> None:
    bench = at_clock("15:30")
    bench.order(OrderKind.PAUSE, 8.25 * 3600)
    bench.until("19:00")
    before, guard = now(bench), bench.core.guard
    full_s = bench.core.decisions.account.last_full_s
    memory = Memory(
        guard=GuardMemory(holds=guard.holds, last_stop_s=guard.last_stop_s), last_full_s=full_s, is_owed=True,
        looked_at_s=bench.wall_s, next_run_id=50,
    )  # fmt: skip

    bench.core = joined.begin(Setup(bench.plan, bench.sensing, bench.limits), memory, bench.at)

    assert now(bench) == before
