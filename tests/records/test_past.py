"""What a restart still knows of alerts, sump, solution and upkeep."""

import sqlite3
from pathlib import Path

import pytest
from tests.records.facts import at, whole_run
from tests.records.test_memory import LATER_BOOT, SAME_BOOT, restart

from waaler.bed.ledger import Entry
from waaler.bed.wear import Upkeep
from waaler.core.alert import Alert, AlertKind
from waaler.core.facts import (
    Act,
    AlertAcknowledged,
    AlertRaised,
    AlertReminded,
    AlertResolved,
    AlertReworded,
    Amount,
    Deed,
    Fact,
    Severity,
    SumpNoted,
)
from waaler.core.sump_state import SumpState
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

    assert alert.alert == Alert(AlertKind.SUMP_LOW, Severity.URGENT)
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


def test_the_ledgers_last_entry_is_known_again_with_the_ages_that_it_had(tmp_path: Path) -> None:
    assert restart(tmp_path / "a", [Deed(at(5.0), Act.START, "the daemon started")], SAME_BOOT).sump is None
    facts: list[Fact] = [
        SumpNoted(at(10.0), Entry(220.0, 2.0)),
        SumpNoted(at(60.0), Entry(150.0, 1.9, 40.0, 12.0), 148.0, 20.0, 50.0, 1.8, 1.9, is_read=True),
    ]

    found = restart(tmp_path / "b", facts, SAME_BOOT).sump

    assert found == SumpState(
        Entry(150.0, 1.9, 40.0, 12.0), at(60.0).long_s, 148.0, at(40.0).long_s, at(10.0).long_s, 1.8, 1.9
    )


def test_pump_time_and_starts_count_from_the_last_cleaning(tmp_path: Path) -> None:
    runs = [*whole_run(1, 100.0), *whole_run(2, 500.0, 90.0)]
    cleaned: list[Fact] = [Deed(at(300.0), Act.CLEANED, "filter", "anna")]

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
    first.write([Deed(at(float(n)), Act(what), what) for n, what in enumerate(deeds)])
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
