"""Days with random faults before a judge: the guard lets nothing pass, and the judge would see it if it did."""

from dataclasses import replace
from itertools import chain

import pytest
from tests.campaign.__main__ import campaign_scene
from tests.guard.sabotages import SABOTAGES, Sabotage, sabotaged

from waaler.model.faults import Fault
from waaler.rehearsal.campaign import Story, equipped, shortest, stories, tell
from waaler.rehearsal.monitor import Monitor, Rules

DAY_S = 86_400.0
SCENE = campaign_scene()
RULES = Rules(600.0, 3600.0, 300.0, {"sump_low": 1200.0, "tray_high": 1200.0}, 120.0, 0.3, has_read_back=True)


def test_the_stories_that_are_always_told_and_some_more_hold_the_safety_table() -> None:
    told = [tell(story) for story in stories(SCENE, 16, seed=3)]

    assert [violation for one in told for violation in one.violations] == []
    assert [one.number for one in told if one.starved_h > 0] == []
    assert sum(one.runs for one in told) > 50


def seen(*events: tuple[str, float, object]) -> list[str]:
    """What the judge says of a trace; both floats good from the beginning."""
    monitor = Monitor(RULES)
    for name in RULES.settle_s:
        monitor.level(0.0, name, "good")
    for what, at_s, value in events:
        if what == "relay":
            monitor.relay(at_s, bool(value))
        elif what == "power":
            monitor.power(at_s, bool(value))
        elif what == "supply":
            monitor.supply(at_s, bool(value))
        else:
            monitor.level(at_s, what, str(value))
    return [violation.what.split(":")[0] for violation in monitor.violations]


@pytest.mark.parametrize(
    ("events", "rows"),
    [
        ([("relay", 200, 1), ("relay", 320, 0)], []),
        ([("relay", 100, 1), ("relay", 220, 0)], ["S4/S5", "S4/S5"]),
        ([("relay", 200, 1), ("relay", 801, 0)], ["S1/S2"]),
        ([("relay", 200, 1), ("relay", 320, 0), ("relay", 600, 1), ("relay", 700, 0)], ["S6"]),
        ([("relay", 200, 1), ("sump_low", 250, "bad"), ("relay", 250.35, 0)], []),
        ([("relay", 200, 1), ("sump_low", 250, "bad"), ("relay", 251, 0)], ["S4/S5"]),
        ([("relay", 200, 1), ("tray_high", 250, "not read"), ("relay", 250.2, 0)], ["S4/S5"]),
        ([("sump_low", 250, "bad"), ("sump_low", 260, "good"), ("relay", 1300, 1), ("relay", 1301, 0)], ["S4/S5"]),
        ([("sump_low", 250, "bad"), ("sump_low", 260, "good"), ("relay", 1461, 1), ("relay", 1462, 0)], []),
        ([("supply", 100, 1), ("supply", 100.3, 0), ("relay", 200, 1), ("relay", 320, 0)], ["S7"]),
        ([("supply", 100, 1), ("supply", 100.1, 0), ("relay", 200, 1), ("relay", 320, 0)], []),
        ([("relay", 200, 1), ("supply", 200, 1), ("relay", 320, 0), ("supply", 320.1, 0), ("relay", 700, 1)], []),
        ([("power", 500, 0), ("power", 510, 1), ("relay", 700, 1), ("relay", 701, 0)], ["S4/S5"] * 4),
    ],
)  # fmt: skip
def test_the_judge_sees_what_the_table_forbids_and_nothing_else(
    events: list[tuple[str, float, object]], rows: list[str]
) -> None:
    assert seen(*events) == rows


def test_the_judge_counts_the_last_24_h() -> None:
    events: list[tuple[str, float, object]] = []
    for n in range(7):
        events += [("relay", 200 + 1000 * n, 1), ("relay", 799 + 1000 * n, 0)]

    assert seen(*events) == ["S3"]


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
    assert any(line.endswith("relay on") for line in trace)


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
    events: list[tuple[str, float, object]] = [
        ("sump_low", 250, "bad"), ("sump_low", 260, "good"), ("power", 5000, 0), ("power", 5060, 1),
        ("sump_low", 5060, "good"), ("tray_high", 5060, "good"), ("relay", 5400, 1), ("relay", 5500, 0),
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
