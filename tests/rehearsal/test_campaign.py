"""Days with random faults before a judge: the guard lets nothing pass, and the judge would see it if it did."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import chain

import pytest
from tests.campaign.__main__ import campaign_scene
from tests.guard.sabotages import SABOTAGES, Sabotage, sabotaged

from waaler.model.faults import Fault
from waaler.rehearsal.accounts import Diary, Row, judge_runs
from waaler.rehearsal.campaign import Story, shortest, stories, tell
from waaler.rehearsal.chances import equipped
from waaler.rehearsal.monitor import Monitor
from waaler.rehearsal.naive import Moment, Timetable, Window
from waaler.rehearsal.rules import Asked, Ran, Rules

DAY_S = 86_400.0
SCENE = campaign_scene()
SETTLE = {"sump_low": 1200.0, "tray_high": 1200.0}
RULES = Rules(600.0, 3600.0, 300.0, SETTLE, 120.0, 0.3, has_read_back=True, normal_l_per_min=12.0)


def test_the_stories_that_are_always_told_and_some_more_hold_the_safety_table() -> None:
    told = [tell(story) for story in stories(SCENE, 16, seed=3)]

    assert [violation for one in told for violation in one.violations] == []
    assert [one.number for one in told if one.starved_h > 0] == []
    assert sum(one.runs for one in told) > 50


def seen(*events: tuple[object, ...], rules: Rules = RULES) -> list[str]:
    """The rows that the judge names of a trace; both floats good from the beginning.

    `run` asks for a run, is granted it and energises: (at_s, seconds[, purse]).
    """
    monitor = Monitor(rules)
    for name in rules.settle_s:
        monitor.level(0.0, name, "good")
    number = 0
    for what, at_s, *values in events:
        assert isinstance(at_s, int | float)
        if what == "run":
            number += 1
            seconds, purse = float(str(values[0])), str((*values, "plan")[1])
            monitor.asked(at_s, Asked(number, seconds, purse, valid_until_s=at_s + 5, intended_s=at_s))
            monitor.granted(at_s, number, at_s + seconds)
            monitor.relay(at_s, True)
        elif what == "off":
            monitor.relay(at_s, False)
        elif what in ("sump_low", "tray_high"):
            monitor.level(at_s, str(what), str(values[0]))
        else:
            getattr(monitor, str(what))(at_s, *values)
    return [violation.what.split(":")[0] for violation in monitor.violations]


GONE = ("off", 320.0)


@pytest.mark.parametrize(
    ("events", "rows"),
    [
        ([("run", 200, 120), GONE], []),
        # S1, S2: a run, its deadline, its grant
        ([("run", 200, 120), ("time", 320.3)], ["S1/S2"]),
        ([("run", 200, 120), ("off", 320.15)], []),
        ([("relay", 200, True), ("off", 200.1)], ["S1"]),
        ([("granted", 200, 7, 320)], ["S1"]),
        ([("asked", 200, Asked(1, 60, "plan", 205.0)), ("granted", 206, 1, 266.0)], ["S1"]),
        ([("asked", 200, Asked(1, 60, "plan")), ("granted", 200, 1, 261.0)], ["S2"]),
        ([("asked", 200, Asked(1, 60, "plan")), ("granted", 200, 1, 230.0)], ["granted only 30.0 s of 60.0 asked"]),
        ([("asked", 200, Asked(1, 900, "plan")), ("granted", 200, 1, 1100.0)], ["S2"]),
        ([("run", 200, 120), GONE, ("asked", 700, Asked(1, 9, "plan")), ("granted", 700, 1, 709.0)], ["run ids repeat"]),
        ([("run", 200, 120), ("flow", 201, 12.0), ("off", 260)], ["cut without cause, 60.0 s early"]),
        ([("run", 200, 120), ("told_to_cut", 260), ("off", 260)], []),
        # S3
        ([("run", 200, 60, "soak"), ("off", 260)], ["S3"]),
        # S4, S5: debounce, settle, start delay, a float that nobody reads
        ([("run", 100, 120), ("off", 220)], ["S4/S5", "S4/S5"]),
        ([("run", 200, 120), ("sump_low", 250, "bad"), ("off", 250.35)], []),
        ([("run", 200, 120), ("sump_low", 250, "bad"), ("time", 250.41)], ["S4/S5"]),
        ([("run", 200, 120), ("flow", 201, 12.0), ("sump_low", 250, "bad"), ("off", 250.2)],
         ["cut without cause, 69.8 s early"]),
        ([("run", 200, 120), ("tray_high", 250, "not read"), ("time", 250.2)], ["S4/S5"]),
        ([("sump_low", 250, "bad"), ("sump_low", 260, "good"), ("run", 1300, 9), ("off", 1309)], ["S4/S5"]),
        ([("sump_low", 250, "bad"), ("sump_low", 260, "good"), ("run", 1461, 9), ("off", 1470)], []),
        ([("power", 500, False), ("power", 510, True), ("run", 900, 1), ("off", 901)], ["S4/S5"] * 2),
        # S6
        ([("run", 200, 120), GONE, ("run", 600, 60), ("off", 660)], ["S6"]),
        ([("run", 200, 120), GONE, ("run", 620, 60), ("off", 680)], []),
        # S7: supply, line, overrun, flow; a lock, and what ends it
        ([("supply", 100, True), ("time", 100.4)], ["S7"]),
        ([("supply", 100, True), ("supply", 100.1, False), ("time", 101)], []),
        ([("line", 100, True), ("time", 100.4)], ["S7"]),
        ([("run", 200, 120), ("supply", 200, True), ("off", 320), ("supply", 320.1, False), ("time", 700)], []),
        ([("supply", 100, True), ("locked", 100.2, "overrun"), ("supply", 101, False), ("run", 200, 9), ("off", 209)],
         ["S7", "S7"]),
        ([("supply", 100, True), ("locked", 100.2, "overrun"), ("supply", 101, False), ("cleared", 150),
          ("lifted", 150, "overrun"), ("run", 200, 9), ("off", 209)], []),
        ([("supply", 100, True), ("locked", 100.2, "overrun"), ("cleared", 150), ("lifted", 150, "overrun")], ["S7"]),
        ([("locked", 100, "overrun"), ("cleared", 150), ("stays", 150, "overrun")], ["S7"]),
        ([("locked", 100, "overrun"), ("lifted", 150, "overrun")], ["S7"]),
        ([("flow", 100, 5.0), ("flow", 129, 5.0), ("time", 130.2)], ["S7"]),
        ([("flow", 100, 5.0), ("flow", 129, 0.0), ("time", 140)], []),
        ([("run", 200, 120), ("flow", 201, 12.0), GONE, ("flow", 370, 5.0), ("flow", 379, 0.0), ("time", 420)], []),
        # a guard that stands still
        ([("run", 200, 60), ("stall", 210, True), ("stall", 300, False), ("off", 300), ("time", 300.2)], ["S7"]),
        ([("run", 200, 60), ("stall", 210, True), ("stall", 300, False), ("off", 300), ("locked", 300, "overrun")], []),
        ([("run", 200, 120), ("stall", 210, True), ("stall", 230, False), ("time", 231)], []),
        ([("run", 200, 120), ("flow", 201, 9.0), ("time", 231)], []),
        ([("run", 200, 120), ("flow", 201, 0.0), ("time", 231)], ["nothing flows, and the pump goes on"]),
        # S10, S14
        ([("asked", 200, Asked(1, 60, "plan", intended_s=190))], ["S10"]),
        ([("held", 200, "service", 900.0, 0.0), ("run", 300, 9), ("off", 309)], ["S14", "S14"]),
        ([("run", 200, 120), ("held", 250, "pause", 900.0, 0.0), ("time", 250.2)], ["S14"]),
        ([("held", 200, "soak", 900.0, 500.0), ("run", 300, 9, "spare"), ("off", 309)], []),
        ([("held", 200, "pause", 900.0, 0.0), ("held", 300, "pause", 400.0, 0.0)], ["S14"]),
        ([("held", 200, "pause", 900.0, 0.0), ("hold_over", 500, "pause")], ["S14"]),
        ([("stopped", 200), ("asked", 201, Asked(1, 9, "plan", intended_s=199)), ("granted", 201, 1, 210.0)], ["S14"]),
        # refused for ever
        ([("asked", 200, Asked(1, 60, "plan")), ("refused", 200, 1, "no")], ["refused without cause"]),
        ([("asked", 100, Asked(1, 60, "plan")), ("refused", 100, 1, "no")], []),
        ([("held", 200, "pause", 300.0, 0.0), ("asked", 400, Asked(1, 60, "plan")), ("refused", 400, 1, "pause")],
         ["refused without cause"]),
    ],
)  # fmt: skip
def test_the_judge_sees_what_the_table_forbids_and_nothing_else(
    events: list[tuple[object, ...]], rows: list[str]
) -> None:
    found = seen(*events)

    assert found[: len(rows)] == rows
    assert set(found) == set(rows)


def test_the_judge_counts_the_last_24_h_at_every_instant() -> None:
    events: list[tuple[object, ...]] = []
    for n in range(6):
        events += [("run", 200 + 1000 * n, 590), ("off", 790 + 1000 * n)]

    assert seen(*events) == []
    assert seen(*events, ("run", 6200, 70)) == ["S3"]
    assert seen(*events, ("run", 6200, 50), ("limits", 6220, replace(RULES, most_s=3000.0)), ("time", 6220.2)) == [
        "S3"
    ]


def test_s12_a_stricter_limit_holds_at_once_and_a_looser_one_from_the_next_run() -> None:
    stricter, looser = replace(RULES, longest_s=60.0), replace(RULES, longest_s=900.0)

    assert seen(("run", 200, 120), ("limits", 250, stricter), ("time", 260.3)) == ["S1/S2"]
    assert seen(("run", 200, 120), ("limits", 250, looser), ("time", 320.3)) == ["S1/S2"]


# --- what the history must tell ------------------------------------------------------------------


def history(*rows: tuple[int, float, str | None]) -> tuple[list[Row], dict[int, str | None]]:
    """Rows by run id, seconds and outcome."""
    return [Told(run_id, seconds) for run_id, seconds, _ in rows], {run_id: how for run_id, _, how in rows}


@dataclass(frozen=True)
class Told:
    run_id: int
    actual_s: float
    pulse: int = 1
    planned_at_s: float | None = None
    decided_at_s: float = 0.0


RAN = Ran(4, "plan", 100.0, 220.0, 100.0, off_s=160.0, counted_s=220.0)


@pytest.mark.parametrize(
    ("row", "is_right"),
    [
        ((4, 60.0, "cut short"), True),
        ((4, 60.3, "cut short"), False),
        ((4, 59.7, "done"), False),
        ((4, 120.0, "interrupted"), True),
        ((4, 59.0, "interrupted"), False),
        ((4, 121.0, "interrupted"), False),
        ((4, 60.0, None), False),
        ((5, 60.0, "done"), False),
    ],
)
def test_s16_every_run_stands_in_the_history_second_by_second(row: tuple[int, float, str], is_right: bool) -> None:
    rows, outcomes = history(row)

    assert (judge_runs([RAN], rows, outcomes, 0.0, 9000.0) == []) is is_right


@pytest.mark.parametrize(("seconds", "is_right"), [(120.0, True), (140.0, True), (119.0, False), (141.0, False)])
def test_s16_past_its_deadline_an_interrupted_run_counts_to_it_at_the_least(seconds: float, is_right: bool) -> None:
    rows, outcomes = history((4, seconds, "interrupted"))

    assert (judge_runs([replace(RAN, off_s=240.0)], rows, outcomes, 0.0, 9000.0) == []) is is_right


@pytest.mark.parametrize(("outcome", "wrong"), [("refused", 0), (None, 1)])
def test_s16_a_run_that_was_never_granted_is_told_of_too(outcome: str | None, wrong: int) -> None:
    spans = [RAN, replace(RAN, run_id=6, on_s=700.0, off_s=760.0)]
    rows, outcomes = history((4, 60.0, "done"), (5, 0.0, outcome), (6, 60.0, "done"))

    assert len(judge_runs(spans, rows, outcomes, 0.0, 9000.0)) == wrong


TABLE = Timetable("Europe/Lisbon", 38.72, -9.14, (Window("day", (Moment(360), Moment(1080)), count=5),))
"""06, 09, 12, 15 and 18 h."""

SIX_S = datetime(2026, 6, 21, 5, tzinfo=UTC).timestamp()


def vanished(diary: Diary, *hours: float) -> list[float]:
    """The hours of the cycles that no row tells of."""
    rows = [Told(n, 0.0, planned_at_s=SIX_S + 3600 * (hour - 6)) for n, hour in enumerate(hours)]
    wrong = diary.judge(rows, dict.fromkeys(range(len(rows)), "day"), SIX_S + DAY_S)
    return [6 + (violation.at_s - SIX_S) / 3600 for violation in wrong]


def test_s16_no_cycle_vanishes() -> None:
    diary = Diary(TABLE, SIX_S - 3600)
    diary.passes(SIX_S + 7 * 3600)
    assert vanished(diary, 6, 9, 12) == []
    assert vanished(diary, 6, 12) == [9]
    diary.begins(SIX_S + 10 * 3600)
    diary.passes(SIX_S + 13 * 3600)
    assert vanished(diary, 6, 9, 12) == [18]


def test_s16_what_an_edit_takes_away_of_today_must_be_told() -> None:
    diary = Diary(TABLE, SIX_S - 3600)
    evenings = replace(TABLE, windows=(Window("day", (Moment(540), Moment(1080)), count=2),))
    diary.edit(SIX_S + 7 * 3600, evenings, SIX_S + 17 * 3600)
    diary.passes(SIX_S + 17 * 3600)

    assert vanished(diary, 6, 9, 12, 18) == [15]
    assert vanished(diary, 6, 9, 12, 15, 18) == []


@pytest.mark.parametrize(
    ("after_s", "waited_s", "longest_gap_s", "is_right"),
    [
        (3600.0, 0.0, None, False),
        (4.4 * 3600, 0.0, None, False),
        (4.5 * 3600, 0.0, None, True),
        (7199.0, 0.0, 7200.0, False),
        (7200.0, 0.0, 7200.0, True),
        (7000.0, 300.0, 7200.0, True),
    ],
)
def test_s9_a_cycle_comes_again_only_once_the_longest_gap_has_passed(
    after_s: float, waited_s: float, longest_gap_s: float | None, is_right: bool
) -> None:
    diary = Diary(replace(TABLE, longest_gap_s=longest_gap_s), SIX_S)
    spans = [replace(RAN, run_id=n, on_s=on_s) for n, on_s in ((1, 100.0), (2, 100.0 + after_s))]
    rows = [Told(n, 120.0, planned_at_s=SIX_S, decided_at_s=SIX_S + waited_s * (n == 1)) for n in (1, 2)]

    wrong = diary.repeated(spans, rows, {1: "day", 2: "day"})

    assert [violation.what.split(":")[0] for violation in wrong] == ([] if is_right else ["S9"])


def test_s9_of_several_plans_the_least_gap_counts() -> None:
    diary = Diary(replace(TABLE, longest_gap_s=7200.0), SIX_S)
    diary.edit(SIX_S, TABLE, SIX_S)
    spans = [replace(RAN, run_id=n, on_s=7200.0 * n) for n in (1, 2)]
    rows = [Told(n, 120.0, planned_at_s=SIX_S, decided_at_s=SIX_S) for n in (1, 2)]

    assert diary.repeated(spans, rows, {1: "day", 2: "day"}) == []


def test_the_judges_sun_rises_and_sets_with_the_planners_to_some_minutes() -> None:
    """Ljubljana on the longest day: sunrise 05:11, sunset 20:57 local time. Source: NOAA's solar calculator."""
    table = Timetable(
        "Europe/Ljubljana", 46.05, 14.51, (Window("day", (Moment(0, "sunrise"), Moment(0, "sunset"))),)
    )
    midnight_s = datetime(2026, 6, 20, 22, tzinfo=UTC).timestamp()
    minutes = [(planned.at_s - midnight_s) / 60 for planned in table.between(midnight_s, midnight_s + DAY_S)]

    assert minutes == [pytest.approx(5 * 60 + 11, abs=4), pytest.approx(20 * 60 + 57, abs=4)]


# --- stories --------------------------------------------------------------------------------------


FOUND_BY_STORIES = [s for s in SABOTAGES if s.what in {
    "an input is trusted again at once", "the tray float is not asked before a start",
}]  # fmt: skip


@pytest.mark.parametrize("sabotage", FOUND_BY_STORIES, ids=lambda s: f"{s.row} {s.what}")
def test_a_sabotage_is_seen_in_the_stories(sabotage: Sabotage) -> None:
    blocked = Story(0, replace(SCENE, faults=(Fault("blocked-drain", 0.0, 9e9),)))
    stuck = Story(1, replace(SCENE, faults=(Fault("tray-float-stuck-bad", 0.2 * DAY_S, 9e9),)))
    with sabotaged(sabotage):
        assert any(tell(story).violations for story in chain((blocked, stuck), stories(SCENE, 40, seed=1)))


def test_a_violation_is_told_with_the_fewest_faults_and_what_led_to_it() -> None:
    faults = (
        Fault("probe-dead", 0.0, 9e9),
        Fault("tray-float-stuck-bad", 0.2 * DAY_S, 9e9),
        Fault("puddle", 0.0, 9e9),
    )
    with sabotaged(next(s for s in SABOTAGES if s.what == "the tray float is not asked before a start")):
        least, trace = shortest(tell(Story(7, replace(SCENE, faults=faults))))

    assert [fault.name for fault in least.faults] == ["tray-float-stuck-bad"]
    assert any("tray_high bad" in line for line in trace)
    assert any("relay True" in line for line in trace)


def test_messages_that_are_lost_late_and_double_hold_the_table_and_starve_nothing() -> None:
    for seed in range(5):
        names = ("messages-lost", "messages-late", "messages-double")
        faults = tuple(Fault(name, 0.0, 9e9) for name in names)
        told = tell(Story(0, replace(SCENE, days=2.0, seed=seed, faults=faults)))

        assert not told.violations
        assert told.starved_h == 0


def test_every_kind_of_trip_has_a_story_that_explains_it() -> None:
    """A trip whose cause is truly there is no false trip."""
    for name, reason in (("blocked-drain", "tray"), ("dead-pump", "nothing moves"), ("welded-relay", "locked")):
        faults = (Fault(name, 0.1 * DAY_S, 9e9),)
        told = tell(Story(0, replace(equipped(SCENE), days=2.0, faults=faults)))
        assert told.false_trips == (), (name, reason)
        assert told.trips, name
        assert any(reason in trip for trip in told.trips)


def test_the_judge_sees_an_input_settle_though_nothing_happens_before_the_power_fails() -> None:
    """Bad at 250 s, good again from 260 on: by 5000 s it owes nothing but the start delay."""
    events: list[tuple[object, ...]] = [
        ("sump_low", 250, "bad"), ("sump_low", 260, "good"), ("power", 5000, False), ("power", 5060, True),
        ("sump_low", 5060, "good"), ("tray_high", 5060, "good"), ("run", 5400, 100), ("off", 5500),
    ]  # fmt: skip

    assert seen(*events) == []


def test_a_run_whose_grant_got_lost_is_not_forgotten_when_the_power_flaps() -> None:
    faults = (Fault("power-flaps", 16_212.0, 189_012.0), Fault("messages-lost", 47_189.0, 90_389.0))
    told = tell(Story(1227, replace(SCENE, seed=192_080_207, faults=faults)))

    assert told.violations == ()


@pytest.mark.parametrize("is_equipped", [False, True])
def test_doubled_messages_and_flapping_power_forget_no_rest(is_equipped: bool) -> None:
    """The double of a granted run was refused, and its refusal written: after the power cut the run had never been."""
    faults = (Fault("messages-double", 15_506.0, 188_306.0), Fault("power-flaps", 51_314.0, 65_714.0))
    scene = replace(equipped(SCENE) if is_equipped else SCENE, faults=faults, seed=86_120_975)

    assert tell(Story(0, scene)).violations == ()
