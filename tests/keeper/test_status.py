"""The status as the keeper makes it from both machines' states."""

from datetime import datetime

import pytest
from tests.core.bench import Bench

from waaler.core.messages import OrderKind
from waaler.core.status import BedState, HeldBy, Present
from waaler.keeper.status import local, noted, one_line, status

LISBON = "Europe/Lisbon"


@pytest.mark.parametrize(
    ("after_s", "second"), [(0.0, 0), (0.9, 0), (0.9999, 1), (1.0, 1)], ids=["at", "in", "a hair before", "next"]
)
def test_a_wall_time_is_told_as_the_second_that_has_begun(after_s: float, second: int) -> None:
    midnight = datetime.fromisoformat("2026-06-21T00:00:00+01:00")

    assert local(midnight.timestamp() + after_s, LISBON) == midnight.replace(second=second)


def test_a_keeper_that_stands_still_is_told_whatever_the_machines_do() -> None:
    bench = Bench()
    fresh, late = (
        status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.long_s - age_s) for age_s in (10.0, 10.1)
    )

    assert (fresh.state, late.state) == (BedState.WAITING, BedState.HANGS)
    assert late.next == fresh.next


def test_a_bed_that_never_ran_has_no_last_run() -> None:
    bench = Bench()
    now = status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.long_s)

    assert now.last_run is None
    assert f"{now.last_full_at:%a %H:%M}" == "Sat 18:00"


def test_the_last_run_is_told_with_its_end() -> None:
    bench = Bench()
    bench.until("06:10")
    now = status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.long_s)

    assert now.last_run is not None
    assert (f"{now.last_run.ended:%H:%M:%S}", now.last_run.seconds) == ("06:02:00", 120.0)
    assert now.last_run.reason == "ran its time"
    assert now.last_full_at == now.last_run.ended


def test_what_would_refuse_a_run_by_hand_is_told_with_how_long() -> None:
    bench = Bench()
    bench.until("06:10")
    bench.order(OrderKind.SERVICE, 600.0)

    now = status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.long_s)

    assert now.held_by == HeldBy("service by ann", 600.0)


def test_the_present_is_noted_when_it_is_other_than_before_and_only_then() -> None:
    bench = Bench()
    bench.until("06:10")
    before: Present | None = None
    count = 0
    for _ in range(3600):
        bench.pass_s(1.0)
        fact = noted(before, bench.core.decisions, bench.core.guard, bench.at)
        if fact is not None:
            count, before = count + 1, fact.present
    assert count == 1, "nothing happens in this hour"

    bench.order(OrderKind.PAUSE, 600.0)

    assert noted(before, bench.core.decisions, bench.core.guard, bench.at) is not None


def test_the_unit_s_line_says_state_next_run_and_what_it_waits_for() -> None:
    bench = Bench()
    bench.until("06:10")
    bench.order(OrderKind.PAUSE, 600.0)
    now = status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.long_s)
    assert now.at is not None

    assert one_line(now, now.at) == (
        "pause; next run today, 09:00; pause by ann, until today, 06:20; it ends by itself, or with `waaler resume`"
    )
