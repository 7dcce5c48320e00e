"""The choice on a cycle, at each of its limits and one step to each side."""

from dataclasses import replace

import pytest

from waaler.plan.advisers import AdviserState, Says, hear, invalid_because, says
from waaler.plan.decide import Choice, Day, choose, is_still_dry, valid
from waaler.plan.sensing import Adviser, AdviserKind, Reading, Sensing

NOW_S = 100_000.0
PROBE = Adviser("pot_3", AdviserKind.MOISTURE, wet_above=90.0, dry_below=60.0)
OTHER = replace(PROBE, name="pot_9")
AIR = Adviser("air", AdviserKind.TEMPERATURE)
SENSING = Sensing()
DAY = Day(
    now_s=NOW_S,
    is_first_of_day=False,
    skips_in_a_row=0,
    planned_s=480.0,
    given_s=480.0,
    since_full_run_s=3600.0,
    since_stop_s=3600.0,
    longest_gap_s=7200.0,
    longest_run_s=600.0,
)


def state(value: float | None, adviser: Adviser = PROBE, read_s: float = NOW_S) -> AdviserState:
    return AdviserState(adviser, value=value, read_s=read_s)


def choice(*states: AdviserState, sensing: Sensing = SENSING, planned_s: float = 120.0, **day: object) -> Choice:
    return choose(sensing, states, planned_s, replace(DAY, **day))  # type: ignore[arg-type]


def test_two_wet_probes_leave_the_cycle_out_and_are_both_named() -> None:
    assert choice(state(95.0), state(97.0, OTHER)) == Choice(
        0.0, "pot_3 reads 95 % and pot_9 reads 97 %: wet enough"
    )


def test_one_that_says_nothing_keeps_the_cycle() -> None:
    assert choice(state(95.0), state(80.0, OTHER)) == Choice(120.0, "as planned")


@pytest.mark.parametrize(
    ("value", "says_it"), [(90.0, Says.NEITHER), (90.1, Says.WET), (60.0, Says.NEITHER), (59.9, Says.DRY)]
)
def test_the_marks_themselves_are_neither_wet_nor_dry(value: float, says_it: Says) -> None:
    assert says(state(value)) is says_it


@pytest.mark.parametrize("dry_first", [True, False])
def test_of_two_dry_probes_the_driest_by_its_own_mark_decides(dry_first: bool) -> None:
    drier = state(45.0)
    less_dry = state(38.0, replace(OTHER, dry_below=40.0))
    states = (drier, less_dry) if dry_first else (less_dry, drier)

    assert choice(*states) == Choice(
        150.0, "pot_3 reads 45 %, below its dry mark 60 %: 30 s longer", is_extended=True
    )
    still = is_still_dry(SENSING, states, DAY)
    assert still is not None
    assert still.adviser.name == "pot_3"


def test_nobody_dry_is_nobody_still_dry() -> None:
    assert is_still_dry(SENSING, (state(80.0),), DAY) is None
    assert is_still_dry(SENSING, (), DAY) is None


@pytest.mark.parametrize(
    ("value", "seconds"), [(59.4, 121.2), (54.0, 132.0), (30.0, 180.0), (0.5, 180.0), (0.0, 180.0), (-3.0, 180.0)]
)
def test_a_cycle_grows_by_the_share_below_the_dry_mark_and_by_half_at_most(value: float, seconds: float) -> None:
    assert choice(state(value)).seconds == pytest.approx(seconds)


def test_a_tiny_reading_grows_by_its_own_share_where_more_than_half_is_allowed() -> None:
    assert choice(state(0.6), sensing=Sensing(extend_at_most=1.0)).seconds == pytest.approx(120 * 1.99)


def test_a_cycle_never_grows_past_the_longest_run_nor_shrinks_to_it() -> None:
    assert choice(state(30.0), longest_run_s=150.0).seconds == 150.0
    assert choice(state(30.0), longest_run_s=100.0).seconds == 120.0


@pytest.mark.parametrize(("since_stop_s", "is_skipped"), [(1200.0, True), (1199.9, False)])
def test_a_reading_counts_20_min_after_the_last_stop(since_stop_s: float, is_skipped: bool) -> None:
    assert (choice(state(95.0), since_stop_s=since_stop_s).seconds == 0.0) is is_skipped


@pytest.mark.parametrize(("skips", "is_skipped"), [(0, True), (1, False), (2, False)])
def test_one_skip_in_a_row_and_no_second(skips: int, is_skipped: bool) -> None:
    assert (choice(state(95.0), skips_in_a_row=skips).seconds == 0.0) is is_skipped


def test_the_skips_in_a_row_are_told() -> None:
    assert (
        choice(state(95.0), skips_in_a_row=1).reason
        == "as planned: pot_3 reads 95 %, but 1 left out in a row already"
    )


@pytest.mark.parametrize(("since_s", "is_skipped"), [(7200.0, True), (7200.1, False)])
def test_no_skip_past_the_longest_gap(since_s: float, is_skipped: bool) -> None:
    found = choice(state(95.0), since_full_run_s=since_s)

    assert (found.seconds == 0.0) is is_skipped
    if not is_skipped:
        assert found.reason == "as planned: pot_3 reads 95 %, but the last full run is too long ago"


@pytest.mark.parametrize(("given_s", "is_skipped"), [(300.0, True), (299.9, False)])
def test_half_of_the_days_plan_runs(given_s: float, is_skipped: bool) -> None:
    found = choice(state(95.0), given_s=given_s)

    assert (found.seconds == 0.0) is is_skipped
    if not is_skipped:
        assert found.reason == "as planned: pot_3 reads 95 %, but less than 50 % of the day's plan would run"


def test_a_hot_reading_that_is_not_valid_forbids_no_skip() -> None:
    assert choice(state(95.0), state(40.0, AIR)).seconds == 120.0
    assert choice(state(95.0), state(40.0, AIR, read_s=NOW_S - 301)).seconds == 0.0


def test_an_adviser_is_found_by_name_only_while_it_is_valid() -> None:
    assert valid((state(50.0),), "pot_3", NOW_S) is not None
    assert valid((state(50.0),), "pot_4", NOW_S) is None
    assert valid((state(50.0, read_s=NOW_S - 301),), "pot_3", NOW_S) is None


@pytest.mark.parametrize(
    ("found", "reason"),
    [
        (AdviserState(PROBE), "no reading yet"),
        (state(None), "cannot be read"),
        (state(50.0, read_s=NOW_S - 301), "no reading for 5 min"),
        (state(121.0), "reads 121, outside -10 to 120"),
        (replace(state(50.0), unmoved_runs=3), "has not changed through 3 runs"),
        (replace(state(50.0), jumped_s=NOW_S - 599), "its reading jumped"),
        (replace(state(50.0), jumped_s=NOW_S - 600), None),
        (replace(state(50.0), unmoved_runs=2), None),
        (replace(state(20.0, AIR), unmoved_runs=9), None),
    ],
)
def test_why_an_adviser_is_not_valid(found: AdviserState, reason: str | None) -> None:
    assert invalid_because(found, NOW_S) == reason


@pytest.mark.parametrize(
    ("value", "after_s", "is_jump"), [(80.0, 10.0, False), (80.1, 10.0, True), (110.0, 120.0, False)]
)
def test_a_change_of_more_than_30_a_minute_is_a_jump(value: float, after_s: float, is_jump: bool) -> None:
    after = hear(state(50.0), Reading("pot_3", value), NOW_S + after_s)

    assert (invalid_because(after, NOW_S + after_s) == "its reading jumped") is is_jump


def test_a_dry_mark_of_zero_and_one_below_a_per_cent_are_taken_as_they_are() -> None:
    at_zero = replace(PROBE, dry_below=0.0, lowest=-5.0)
    assert choice(state(-0.5, at_zero)).seconds == 120.0
    tiny = replace(PROBE, dry_below=0.8, lowest=-5.0)

    assert choice(state(0.6, tiny)).seconds == pytest.approx(120 * 1.25)


def test_the_share_of_the_day_is_told_as_the_file_says_it() -> None:
    found = choice(state(95.0), sensing=replace(SENSING, least_share=0.6), planned_s=900.0)

    assert found.reason == "as planned: pot_3 reads 95 %, but less than 60 % of the day's plan would run"
