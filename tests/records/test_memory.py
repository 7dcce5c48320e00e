"""What a restart still knows, by the long hand of the new boot."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest
from tests.records.facts import WALL_S, at, intent, key, whole_run

from waaler.core.facts import (
    Act,
    AlertRaised,
    AlertResolved,
    Cause,
    Deed,
    Fact,
    Outcome,
    RunResult,
    RunStarted,
    Severity,
    TripBegan,
    TripOver,
)
from waaler.core.memory import Memory
from waaler.core.state import Dips, Given
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.memory import Ran, Span
from waaler.guard.messages import Ended, Hold, HoldKind, Input, Instant, Level, Purse, Trip
from waaler.records.store import Store

HOUR_S = 3600.0
DIED_AT_S = 10_000.0
"""Long hand of the first boot when its process ends in these tests."""

SAME_BOOT = at(DIED_AT_S + 5.0)
LATER_BOOT = Instant(40.0, WALL_S + DIED_AT_S + 2 * HOUR_S)
"""The power was off for two hours less 40 s, and both clocks were sure."""

UNSURE_BOOT = Instant(40.0, 1_700_000_000.0, is_sure=False)


def restart(folder: Path, facts: list[Fact], now: Instant, is_sure: bool = True) -> Memory:
    """Writes the facts in one process, and remembers in the next."""
    first = Store(folder / "terrace.db", "boot-a")
    first.write(facts)
    first.alive(at(DIED_AT_S, is_sure=is_sure))
    first.close()
    boot = "boot-a" if now is SAME_BOOT else "boot-b"
    second = Store(folder / "terrace.db", boot)
    guard = second.memory(now).guard
    ends = second.unended(now, guard, is_whole=False)
    second.write([*ends, Deed(now, Act.START, "the daemon started")])
    memory = second.memory(now)
    second.close()
    return replace(memory, guard=guard)


def about(value: float) -> float:
    """A number that equals any within a rounding of it."""
    return cast(float, pytest.approx(value))


def test_a_first_start_remembers_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")

    assert store.memory(at(0.0)) == Memory()
    store.close()


def test_within_a_boot_ages_are_exact(tmp_path: Path) -> None:
    memory = restart(tmp_path, whole_run(1, 9000.0), SAME_BOOT)

    assert memory.guard.spans == (Span(9000.0, 9120.0, Purse.PLAN),)
    assert (memory.guard.last_stop_s, memory.last_full_s) == (9120.0, 9120.0)


def test_a_stepped_wall_clock_changes_no_age_within_a_boot(tmp_path: Path) -> None:
    stepped = Instant(DIED_AT_S + 5.0, WALL_S - 86_400.0)
    first = Store(tmp_path / "terrace.db", "boot-a")
    first.write(whole_run(1, 9000.0))

    memory = first.memory(stepped)

    assert memory.guard.last_stop_s == 9120.0
    first.close()


def test_time_off_counts_where_both_clocks_were_sure(tmp_path: Path) -> None:
    memory = restart(tmp_path, whole_run(1, 9000.0), LATER_BOOT)

    assert memory.guard.last_stop_s == pytest.approx(40.0 - (2 * HOUR_S + DIED_AT_S - 9120.0))
    assert memory.looked_at_s == WALL_S + DIED_AT_S


def test_a_clock_that_was_set_before_the_power_went_makes_no_age_wrong(tmp_path: Path) -> None:
    """The note of the step is what the next boot reckons by."""
    first = Store(tmp_path / "terrace.db", "boot-a")
    first.write(whole_run(1, 9000.0))
    set_on = Instant(DIED_AT_S, WALL_S + DIED_AT_S + 10 * HOUR_S)
    first.write([Deed(set_on, Act.CLOCK, "the clock was set 36000 s on")])
    first.close()
    second = Store(tmp_path / "terrace.db", "boot-b")

    memory = second.memory(Instant(40.0, set_on.wall_s + 2 * HOUR_S))

    assert memory.last_full_s == about(40.0 - (2 * HOUR_S + DIED_AT_S - 9120.0))
    second.close()


@pytest.mark.parametrize(("now", "was_sure"), [(UNSURE_BOOT, True), (LATER_BOOT, False)])
def test_time_off_counts_as_zero_where_a_clock_was_unsure(tmp_path: Path, now: Instant, was_sure: bool) -> None:
    memory = restart(tmp_path, whole_run(1, 9000.0, is_sure=was_sure), now, is_sure=was_sure)

    on_since_s = DIED_AT_S - 9120.0
    assert memory.guard.spans == (Span(-on_since_s - 120.0, -on_since_s, Purse.PLAN),)
    assert memory.guard.last_stop_s is None, "the start of the daemon counts as the stop"


def test_a_sure_clock_set_back_makes_nothing_younger_than_the_time_on(tmp_path: Path) -> None:
    memory = restart(tmp_path, whole_run(1, 9000.0), Instant(40.0, WALL_S))

    assert memory.guard.last_stop_s == -(DIED_AT_S - 9120.0)


def test_a_boot_between_counts_for_as_long_as_it_is_known_to_have_lasted(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    for boot, facts, last_s in (("boot-a", whole_run(1, 100.0), 1000.0), ("boot-b", [], 500.0)):
        store = Store(path, boot)
        store.write(facts)
        store.alive(at(last_s, is_sure=False))
        store.close()
    store = Store(path, "boot-c")

    memory = store.memory(Instant(40.0, 0.0, is_sure=False))

    assert memory.last_full_s == -(1000.0 - 220.0) - 500.0
    store.close()


def test_pump_time_older_than_a_day_is_forgotten(tmp_path: Path) -> None:
    first = Store(tmp_path / "terrace.db", "boot-a")
    first.write([*whole_run(1, 0.0), *whole_run(2, 300.0)])

    memory = first.memory(at(86_400.0 + 200.0))

    assert [span.started_s for span in memory.guard.spans] == [300.0]
    first.close()


def test_an_interrupted_run_counts_to_its_deadline_and_its_stop_is_the_restart(tmp_path: Path) -> None:
    begun: list[Fact] = [intent(1, at(9990.0), 180.0), RunStarted(1, at(9990.0), 150.0)]

    memory = restart(tmp_path, begun, SAME_BOOT)

    assert memory.guard.spans == (Span(9990.0, 10_140.0, Purse.PLAN),)
    assert memory.guard.last_stop_s is None, "the start of the daemon counts as the stop"
    assert memory.is_owed
    assert memory.next_run_id == 2


def test_every_intent_without_an_end_is_reported_once(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    first = Store(path, "boot-a")
    first.write([*whole_run(1, 100.0), intent(2, at(900.0), 180.0), RunStarted(2, at(900.5), 150.0)])
    first.write([intent(3, at(1200.0), 90.0)])
    first.close()
    second = Store(path, "boot-b")

    ends = second.unended(LATER_BOOT, GuardMemory(), is_whole=False)
    second.write(ends)

    assert [(end.run_id, end.outcome, end.seconds, end.at) for end in ends] == [
        (2, Outcome.INTERRUPTED, 150.0, LATER_BOOT),
        (3, Outcome.INTERRUPTED, 90.0, LATER_BOOT),
    ]
    assert "counted to its deadline" in ends[0].reason
    assert "before it was known whether it started" in ends[1].reason
    assert second.unended(LATER_BOOT, GuardMemory(), is_whole=False) == []
    second.close()


OPEN: list[Fact] = [intent(2, at(900.0), 180.0), RunStarted(2, at(900.5), 150.0), intent(3, at(1200.0), 90.0)]


def ends_by(folder: Path, guard: GuardMemory, running: int | None = None) -> list[RunResult]:
    """How a whole journal has the runs end that nobody wrote the end of."""
    with closing(Store(folder / "terrace.db", "boot-a")) as first:
        first.write(OPEN)
    with closing(Store(folder / "terrace.db", "boot-a")) as second:
        return second.unended(SAME_BOOT, guard, running)


def test_a_run_whose_end_the_guard_remembers_is_written_as_it_ended(tmp_path: Path) -> None:
    cut = Ran(1000.0, Ended(2, 99.5, "sump low", Trip.LOW_SUMP), granted_s=150.0)

    (end, _) = ends_by(tmp_path, GuardMemory(ran=(cut,)))

    assert (end.run_id, end.outcome, end.seconds, end.reason) == (2, Outcome.CUT_SHORT, 99.5, "sump low")
    assert (end.at.long_s, end.at.wall_s) == (1000.0, WALL_S + 1000.0)


@pytest.mark.parametrize(("seconds", "outcome"), [(150.0, Outcome.DONE), (99.5, Outcome.STOPPED)])
def test_a_run_that_reached_its_deadline_was_done_and_any_other_stopped(
    tmp_path: Path, seconds: float, outcome: Outcome
) -> None:
    ran = Ran(1000.0, Ended(2, seconds, "x"), granted_s=150.0)

    assert ends_by(tmp_path, GuardMemory(ran=(ran,)))[0].outcome is outcome


def test_a_run_that_a_whole_journal_does_not_know_never_began(tmp_path: Path) -> None:
    end = ends_by(tmp_path, GuardMemory())[1]

    assert (end.run_id, end.outcome, end.seconds) == (3, Outcome.INTERRUPTED, 0.0)
    assert end.reason == "the daemon ended before it began"


def test_the_run_that_the_guard_makes_now_has_no_end_yet(tmp_path: Path) -> None:
    assert [end.run_id for end in ends_by(tmp_path, GuardMemory(), running=2)] == [3]


def test_a_run_that_only_the_guard_knows_of_is_in_the_history_all_the_same(tmp_path: Path) -> None:
    ran = Ran(2000.0, Ended(7, 60.0, "ran its time"), granted_s=60.0)
    with closing(Store(tmp_path / "terrace.db", "boot-a")) as store:
        store.write(store.unended(SAME_BOOT, GuardMemory(ran=(ran,))))

        assert [span.ended_s - span.started_s for span in store.memory(SAME_BOOT).guard.spans] == [60.0]


def test_a_lock_holds_over_a_restart_until_a_person_lifts_it(tmp_path: Path) -> None:
    overrun = TripBegan(at(500.0), Trip.OVERRUN, "ran too long", is_locked=True)

    assert restart(tmp_path / "a", [overrun], LATER_BOOT).guard.locks == {Trip.OVERRUN}
    lifted: list[Fact] = [overrun, TripOver(at(600.0), Trip.OVERRUN, "anna")]
    assert restart(tmp_path / "b", lifted, LATER_BOOT).guard.locks == frozenset()


@pytest.fixture(autouse=True)
def folders(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()


def test_a_protective_trip_that_stood_is_known_and_one_of_no_flow_is_not(tmp_path: Path) -> None:
    facts: list[Fact] = [
        TripBegan(at(1.0), Trip.LOW_SUMP, "low sump", is_locked=False),
        TripBegan(at(2.0), Trip.HIGH_TRAY, "high tray", is_locked=False),
        TripOver(at(3.0), Trip.HIGH_TRAY),
        TripBegan(at(4.0), Trip.NO_FLOW, "no flow", is_locked=False),
    ]

    assert restart(tmp_path, facts, LATER_BOOT).guard.tripped == {(Input.SUMP_LOW, Trip.LOW_SUMP)}


def test_cycles_of_the_last_two_days_are_not_run_again(tmp_path: Path) -> None:
    first = Store(tmp_path / "terrace.db", "boot-a")
    first.write([*whole_run(1, 100.0), *whole_run(2, 90_000.0)])

    memory = first.memory(at(2 * 86_400.0 + 200.0))

    assert memory.done == ((key(2, WALL_S + 90_000.0), 90_000.0),)
    first.close()


def test_skips_count_from_the_last_full_run_and_pulses_as_one(tmp_path: Path) -> None:
    def skip(run_id: int, long_s: float) -> list[Fact]:
        end = RunResult(run_id, at(long_s), Outcome.SKIPPED, 0.0, "pot reads 82 %")
        return [intent(run_id, at(long_s)), end]

    memory = restart(tmp_path, [*skip(1, 100.0), *whole_run(2, 1000.0), *skip(3, 5000.0)], LATER_BOOT)

    assert memory.skips_in_a_row == 1
    assert memory.is_owed is False
    assert [given.given_s for given in memory.given] == [0.0, 120.0, 0.0]


@pytest.mark.parametrize("outcome", [Outcome.MISSED, Outcome.REFUSED, Outcome.CUT_SHORT])
def test_a_cycle_that_did_not_run_its_time_is_owed(tmp_path: Path, outcome: Outcome) -> None:
    facts = [*whole_run(1, 100.0), *whole_run(2, 5000.0, outcome=outcome)]

    assert restart(tmp_path, facts, LATER_BOOT).is_owed is True


def test_a_missed_cycle_got_no_say_and_is_not_counted_as_planned(tmp_path: Path) -> None:
    missed: list[Fact] = [intent(1, at(100.0)), RunResult(1, at(100.0), Outcome.MISSED, 0.0, "pause by anna")]

    assert restart(tmp_path, [*missed, *whole_run(2, 5000.0)], SAME_BOOT).given == (Given(5120.0, 120.0, 120.0),)


def test_a_catch_up_that_was_cut_counts_too(tmp_path: Path) -> None:
    facts = whole_run(1, 100.0, 30.0, outcome=Outcome.CUT_SHORT, cause=Cause.CATCH_UP)

    memory = restart(tmp_path, facts, SAME_BOOT)

    assert memory.last_catch_up_s == 130.0
    assert memory.last_full_s is None


def test_a_soak_stands_over_a_power_cut_with_its_pump_time(tmp_path: Path) -> None:
    until_s = WALL_S + 24 * HOUR_S
    soak = Deed(at(100.0), Act.SOAK, "until Mon 09:00", "anna", until_s, seconds=50_000.0)

    memory = restart(tmp_path, [soak], LATER_BOOT)

    left_s = until_s - LATER_BOOT.wall_s
    assert memory.guard.holds == (Hold(HoldKind.SOAK, about(40.0 + left_s), "anna", 50_000.0),)


def test_a_pause_that_ended_or_ran_out_does_not_come_back(tmp_path: Path) -> None:
    pause = Deed(at(100.0), Act.PAUSE, "until Sun 10:00", "anna", WALL_S + HOUR_S)
    resume = Deed(at(200.0), Act.RESUME, "pause ended", "anna")

    assert restart(tmp_path / "a", [pause], LATER_BOOT).guard.holds == ()
    assert restart(tmp_path / "b", [pause, resume], SAME_BOOT).guard.holds == ()


def test_short_pulses_stay_until_a_refill(tmp_path: Path) -> None:
    pulses = Deed(at(100.0), Act.PULSES, "runs of at most 48 s until a refill", seconds=48.0)
    refill = Deed(at(200.0), Act.REFILL, "60 L", "anna")

    assert restart(tmp_path / "a", [pulses], LATER_BOOT).dips.pulse_s == 48.0
    assert restart(tmp_path / "b", [pulses, refill], LATER_BOOT).dips.pulse_s is None


def test_the_wait_for_a_fuller_sump_goes_on_until_it_was_seen_or_filled(tmp_path: Path) -> None:
    tries = [
        Deed(at(at_s), Act.TOO_LOW, "dry", seconds=wait_s) for at_s, wait_s in ((50.0, 7200.0), (100.0, 14_400.0))
    ]
    refill = Deed(at(200.0), Act.REFILL, "60 L", "anna")
    seen = Deed(at(200.0), Act.HIGH_ENOUGH, "the plan goes on")

    assert restart(tmp_path / "a", [*tries], SAME_BOOT).dips == Dips(vain=2, try_at_s=14_500.0)
    assert restart(tmp_path / "b", [*tries, refill], SAME_BOOT).dips == Dips()
    assert restart(tmp_path, [tries[0], seen, tries[1]], SAME_BOOT).dips.vain == 1


def test_since_when_the_sump_reads_low_and_when_it_was_refilled_is_known(tmp_path: Path) -> None:
    low = TripBegan(at(4000.0), Trip.LOW_SUMP, "sump low", False, Input.SUMP_LOW)
    refill = Deed(at(3000.0), Act.REFILL, "60 L", "anna")
    known = restart(tmp_path / "a", [refill, low], SAME_BOOT)
    later = restart(tmp_path / "b", [refill, low], LATER_BOOT)
    over = restart(tmp_path / "a", [TripOver(at(4100.0), Trip.LOW_SUMP, None, Input.SUMP_LOW)], SAME_BOOT)

    assert (known.low_since_s, known.refilled_s) == (4000.0, 3000.0)
    assert later.low_since_s == about(40.0 - 7200.0 - (DIED_AT_S - 4000.0))
    assert (over.low_since_s, over.refilled_s) == (None, 3000.0)


def test_a_run_that_is_on_its_way_owes_nothing_and_one_that_nobody_makes_does(tmp_path: Path) -> None:
    with closing(Store(tmp_path / "t.db", "boot-a")) as store:
        store.write([*whole_run(1, 100.0), intent(2, at(9990.0)), RunStarted(2, at(9990.0), 120.0)])

        assert store.memory(SAME_BOOT, running=2).is_owed is False
        assert store.memory(SAME_BOOT).is_owed is True


def test_alerts_that_stand_are_known(tmp_path: Path) -> None:
    facts: list[Fact] = [
        AlertRaised(at(1.0), "sump-low", Severity.URGENT, "Sump low at rest."),
        AlertRaised(at(2.0), "clock-unsure", Severity.NOTE, "The clock has not been set."),
        AlertResolved(at(3.0), "clock-unsure"),
    ]

    assert [one.alert.name for one in restart(tmp_path, facts, LATER_BOOT).open_alerts] == ["sump-low"]


def test_states_once_seen_and_the_first_unattended_run_are_remembered(tmp_path: Path) -> None:
    facts: list[Fact] = [
        Deed(at(10.0), Act.INPUT_SEEN, "sump_low bad"),
        Deed(at(11.0), Act.INPUT_SEEN, "tray_high good"),
        *whole_run(1, 20.0, cause=Cause.HAND),
        *whole_run(2, 400.0, 0.0, outcome=Outcome.REFUSED),
    ]
    memory = restart(tmp_path, facts, LATER_BOOT)
    assert memory.guard.seen == {(Input.SUMP_LOW, Level.BAD), (Input.TRAY_HIGH, Level.GOOD)}
    assert not memory.guard.has_watered
    later: list[Fact] = [
        Deed(at(500.0), Act.DISARMED, "a float is wrong"),
        Deed(at(501.0), Act.INPUT_SEEN, "sump_low good"),
    ]
    assert restart(tmp_path, later, LATER_BOOT).guard.seen == {(Input.SUMP_LOW, Level.GOOD)}

    assert restart(tmp_path, whole_run(3, 900.0), LATER_BOOT).guard.has_watered


def test_who_attends_still_does_after_a_restart_so_that_no_cycle_begins_beside_their_hands(tmp_path: Path) -> None:
    attended = Deed(at(100.0), Act.ATTENDED, "until Sun 13:00", "anna", WALL_S + 6 * HOUR_S, seconds=7200.0)
    memory = restart(tmp_path, [attended], LATER_BOOT)

    until_s = about(40.0 + WALL_S + 6 * HOUR_S - LATER_BOOT.wall_s)
    assert memory.guard.holds == (Hold(HoldKind.ATTENDED, until_s, "anna", 7200.0),)
    assert restart(tmp_path, [Deed(at(200.0), Act.ATTENDED_OVER, "over")], LATER_BOOT).guard.holds == ()


def test_a_cycle_that_an_edit_took_away_may_come_back_by_another(tmp_path: Path) -> None:
    away: list[Fact] = [intent(1, at(100.0)), RunResult(1, at(100.0), Outcome.TAKEN_AWAY, 0.0, "an edit")]

    memory = restart(tmp_path, away, SAME_BOOT)

    assert memory.done == ()
    assert memory.given == ()
    assert not memory.is_owed
