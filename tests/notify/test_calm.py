"""What of a status is told at once: a change of something, never the passing of time."""

from datetime import timedelta
from itertools import pairwise

from tests.core.bench import PROBE, Bench

from waaler.core.status import Status
from waaler.keeper.status import status
from waaler.notify.follower import calm
from waaler.plan.sensing import Sensing


def test_while_nothing_happens_a_status_is_told_once_though_times_count_down() -> None:
    """Through a run and the rest after it, read every two seconds as the notifier does."""
    bench = Bench(sensing=Sensing(advisers=(PROBE,)))
    bench.until("05:59")
    told: list[Status] = []
    for second in range(0, int(timedelta(minutes=20).total_seconds()), 2):
        bench.pass_s(2)
        bench.read(80.0 + second / 100)
        told.append(status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.long_s))
    changes = [(a, b) for a, b in pairwise(map(calm, told)) if a != b]
    states = [one.state for one in told]

    assert {"running", "waiting"} <= set(states)
    assert any(one.held_by for one in told)
    assert len(changes) <= 6  # start, end, and what holds the next run, reason by reason
