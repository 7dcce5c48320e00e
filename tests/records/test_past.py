"""What a restart still knows of alerts, sump, solution and upkeep."""

import sqlite3
from pathlib import Path

import pytest
from tests.records.facts import at, whole_run
from tests.records.test_memory import LATER_BOOT, SAME_BOOT, restart

from waaler.core.facts import (
    AlertAcknowledged,
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Amount,
    Deed,
    Fact,
    Severity,
)
from waaler.core.level import Upkeep
from waaler.records.boots import End
from waaler.records.reader import Reader
from waaler.records.rows import Outgoing, Told
from waaler.records.schema import FIRST, SECOND, migrate
from waaler.records.store import Store

ALWAYS = (0.0, 4e9)
LOW = AlertRaised(at(100.0), "sump-low", Severity.URGENT, "Sump low at rest.\nRefill.")


@pytest.fixture(autouse=True)
def folders(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()


def litres(name: str, value: float) -> tuple[Amount, ...]:
    return (Amount(name, value, "L"),)


def test_a_standing_alert_comes_back_with_its_age_its_reminders_and_whose_turn_it_is(tmp_path: Path) -> None:
    facts: list[Fact] = [LOW, AlertReminded(at(3700.0), "sump-low", "Still low.", 1, person=1)]

    (alert,) = restart(tmp_path, facts, SAME_BOOT).open_alerts

    assert (alert.kind, alert.severity, alert.text) == ("sump-low", Severity.URGENT, "Still low.")
    assert (alert.raised_s, alert.told_s, alert.reminders, alert.acknowledged_by) == (100.0, 3700.0, 1, None)
    (later,) = restart(tmp_path / "a", facts, LATER_BOOT).open_alerts
    assert later.told_s - later.raised_s == pytest.approx(3600.0)
    assert LATER_BOOT.long_s - later.told_s == pytest.approx(10_000 + 7200 - 3700)


def test_who_took_it_on_is_known_until_it_is_told_again(tmp_path: Path) -> None:
    taken: list[Fact] = [LOW, AlertAcknowledged(at(200.0), "sump-low", "anna")]
    again: list[Fact] = [*taken, AlertReminded(at(90_000.0), "sump-low", "Still low.", 1)]

    assert restart(tmp_path / "a", taken, SAME_BOOT).open_alerts[0].acknowledged_by == "anna"
    assert restart(tmp_path / "b", again, SAME_BOOT).open_alerts[0].acknowledged_by is None


def test_every_turn_of_an_alert_stands_in_the_outbox_and_one_that_is_over_makes_none(tmp_path: Path) -> None:
    store = Store(tmp_path / "t.db", "boot-a")
    store.write(
        [
            LOW,
            AlertReworded(at(110.0), "sump-low", "Wait."),
            AlertReminded(at(3700.0), "sump-low", "Still low.", 1),
            AlertAcknowledged(at(3800.0), "sump-low", "anna"),
            AlertResolved(at(4000.0), "sump-low"),
            AlertReworded(at(4100.0), "sump-low", "Late."),
        ]
    )
    store.close()

    with Reader(tmp_path / "t.db") as reader:
        told = [one for one in reader.after(0, 20) if isinstance(one, Outgoing)]
    assert [one.what for one in told] == [
        Told.ALERT,
        Told.REWORDED,
        Told.REMINDER,
        Told.ACKNOWLEDGED,
        Told.RESOLVED,
    ]


def test_an_alert_that_became_more_severe_is_told_again(tmp_path: Path) -> None:
    store = Store(tmp_path / "t.db", "boot-a")
    soon = AlertRaised(at(1.0), "leak", Severity.SOON, "A slow loss.")
    store.write([soon, soon, AlertRaised(at(9.0), "leak", Severity.URGENT, "A leak.")])
    store.close()

    with Reader(tmp_path / "t.db") as reader:
        told = [one for one in reader.after(0, 20) if isinstance(one, Outgoing)]
        assert [one.what for one in told] == [Told.ALERT, Told.ALERT]
        (alert,) = reader.alerts(*ALWAYS)
    assert (alert.severity, alert.times, alert.headline) == (Severity.URGENT, 3, "A leak.")


def test_refills_levels_and_low_floats_since_the_solution_was_made_anew(tmp_path: Path) -> None:
    facts: list[Fact] = [
        Deed(at(0.0), "start", "the daemon started"),
        Deed(at(10.0), "refill", "20 L", "anna", amounts=litres("water", 20.0)),
        Deed(at(20.0), "renewal", "200 L", "anna", amounts=litres("solution", 200.0)),
        Deed(at(30.0), "refill", "both", "anna", amounts=(*litres("water", 5.0), *litres("solution", 7.0))),
        Deed(at(40.0), "measure", "", "anna", amounts=(*litres("sump", 150.0), Amount("EC", 1.9, "mS/cm"))),
        Deed(at(45.0), "measure", "pH", "anna", amounts=(Amount("pH", 5.9, ""),)),
        AlertRaised(at(50.0), "sump-low", Severity.URGENT, "Low."),
        Deed(at(60.0), "refill", "amount unknown", "anna"),
    ]

    tended = restart(tmp_path, facts, SAME_BOOT).tended

    assert [(one.at_s, one.what, one.value) for one in tended if one.what != "measure"] == [
        (20.0, "renewal", 200.0),
        (30.0, "refill", 12.0),
        (40.0, "EC", 1.9),
        (40.0, "sump", 150.0),
        (50.0, "low", None),
        (60.0, "refill", None),
    ]


def test_a_bed_whose_solution_was_never_made_anew_begins_full_at_its_first_start(tmp_path: Path) -> None:
    tended = restart(tmp_path, [Deed(at(5.0), "start", "the daemon started")], SAME_BOOT).tended

    assert [(one.at_s, one.what) for one in tended] == [(5.0, "began")]


def test_pump_time_and_starts_count_from_the_last_cleaning(tmp_path: Path) -> None:
    runs = [*whole_run(1, 100.0), *whole_run(2, 500.0, 90.0)]
    cleaned: list[Fact] = [Deed(at(300.0), "cleaned", "filter", "anna")]

    assert restart(tmp_path / "a", [*runs], SAME_BOOT).upkeep == Upkeep(210.0, 2)
    assert restart(tmp_path / "b", [*runs, *cleaned], SAME_BOOT).upkeep == Upkeep(90.0, 1)


@pytest.mark.parametrize(
    ("deeds", "boot", "end"),
    [
        ([], "boot-a", None),
        (["start"], "boot-a", End.CRASHED),
        (["start"], "boot-b", End.POWER),
        (["start", "stop"], "boot-a", End.STOPPED),
        (["start", "stop", "start"], "boot-a", End.CRASHED),
    ],
)
def test_how_the_last_daemon_ended(tmp_path: Path, deeds: list[str], boot: str, end: End | None) -> None:
    first = Store(tmp_path / "t.db", "boot-a")
    first.write([Deed(at(float(n)), what, what) for n, what in enumerate(deeds)])
    first.close()

    second = Store(tmp_path / "t.db", boot)

    assert second.last_end() is end
    second.close()


def test_messages_that_wait_in_older_records_keep_their_numbers(tmp_path: Path) -> None:
    path = tmp_path / "t.db"
    with sqlite3.connect(path, isolation_level=None) as db:
        migrate(db, path, (FIRST, SECOND))
        db.execute("INSERT INTO boot VALUES (1, 'boot-a', 9.0, NULL)")
        db.execute(
            "INSERT INTO alert (kind, severity, text, raised_boot, raised_long_s, raised_wall_s, raised_is_sure)"
            " VALUES ('overrun', 'urgent', 'Ran too long.', 1, 5.0, 5.0, 1)"
        )
        db.execute("INSERT INTO outbox VALUES (41, 'alert', 1, 5.0)")
    db.close()

    store = Store(path, "boot-a")
    store.write([AlertReminded(at(3700.0), "overrun", "Still.", 1)])
    store.close()

    with Reader(path) as reader:
        told = [one for one in reader.after(0, 20) if isinstance(one, Outgoing)]
    assert [(one.number, one.what) for one in told] == [(41, Told.ALERT), (42, Told.REMINDER)]
