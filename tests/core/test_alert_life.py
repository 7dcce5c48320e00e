"""An alert's life: told once a cause, reminded ever more seldom, handed on, acknowledged, over."""

import pytest
from tests.core.bench import Bench

from waaler.core.alert import AlertKind, Severity, Words
from waaler.core.care import Care, Contact, Quiet
from waaler.core.facts import AlertAcknowledged, AlertRaised, AlertReminded, AlertReworded
from waaler.core.messages import Notice, OrderKind
from waaler.guard.messages import Input, Level, ReadBack

ANN, BOR, EVA = Contact("Ann", "+386 40 111 222"), Contact("Bor", "next door"), Contact("Eva", "")
NIGHT = Quiet(22 * 60, 6 * 60 + 30)
HOUR_S = 3600.0


def locked(care: Care | None = None, start: str = "2026-06-21T06:30:00+01:00") -> Bench:
    """A bed whose supply stays live with the relay off: an urgent alert that nothing ends by itself."""
    bench = Bench(care=care or Care(), start=start)
    bench.tell_guard(ReadBack(is_on=True))
    bench.pass_s(1)
    return bench


def hours_of_reminders(bench: Bench, kind: str) -> list[float]:
    """After its raising, rounded to a minute."""
    raised = next(f for f in bench.facts() if isinstance(f, AlertRaised) and f.kind == kind)
    told = [fact for fact in bench.reminders() if fact.kind == kind]
    return [round((fact.at.long_s - raised.at.long_s) / HOUR_S, 1) for fact in told]


def notice(severity: Severity) -> Notice:
    return Notice(AlertKind.PART_FAILED, severity, Words("The card is worn.", now="Replace it."), "card")


def test_however_often_a_cause_shows_it_is_raised_once() -> None:
    bench = Bench()
    for _ in range(5):
        bench.level(Input.TRAY_HIGH, Level.BAD)
        bench.pass_s(60)
        bench.level(Input.TRAY_HIGH, Level.GOOD)
        bench.pass_s(60)

    assert [f.kind for f in bench.facts() if isinstance(f, AlertRaised)] == ["tray-high"]


def test_an_urgent_alert_is_reminded_of_at_growing_intervals_day_and_night() -> None:
    bench = locked(Care(quiet=NIGHT))
    bench.pass_s(90 * HOUR_S)

    assert hours_of_reminders(bench, "overrun") == [1, 3, 7, 15, 39, 63, 87]


def test_a_note_is_told_once_and_what_is_soon_seldom() -> None:
    bench = Bench()
    bench.tell(notice(Severity.NOTE))
    bench.tell(Notice(AlertKind.PART_FAILED, Severity.SOON, Words("The fan is stuck."), "fan"))
    bench.pass_s(200 * HOUR_S)

    assert hours_of_reminders(bench, "part-failed-card") == []
    assert hours_of_reminders(bench, "part-failed-fan") == [24, 72, 168]


def test_in_quiet_hours_a_reminder_waits_for_their_end() -> None:
    bench = Bench(care=Care(quiet=NIGHT), start="2026-06-21T05:00:00+01:00")
    bench.tell(notice(Severity.SOON))
    bench.pass_s(26 * HOUR_S)

    assert hours_of_reminders(bench, "part-failed-card") == [25.5], "not at 05:00, but at 06:30"


@pytest.mark.parametrize(("minute", "wait_min"), [(22 * 60 - 1, 0), (22 * 60, 510), (0, 390), (389, 1), (390, 0)])
def test_quiet_hours_reach_over_midnight(minute: int, wait_min: float) -> None:
    assert NIGHT.wait_s(minute) == 60 * wait_min


def test_each_hour_that_nobody_acknowledged_it_is_the_next_persons_turn() -> None:
    bench = locked(Care(contacts=(ANN, BOR, EVA)))
    bench.pass_s(6 * HOUR_S)

    told = [(round((f.at.long_s - 100_000) / HOUR_S), f.person) for f in bench.reminders() if f.kind == "overrun"]
    assert told == [(1, 1), (2, 2), (4, 2)]
    assert (
        bench.alert_now("overrun").splitlines()[-1] == "Call Ann, +386 40 111 222; then Bor, next door; then Eva."
    )


def test_an_alert_that_somebody_took_on_calls_nobody_else_and_is_noted() -> None:
    bench = locked(Care(contacts=(ANN, BOR)))
    bench.pass_s(600)

    answer = bench.order(OrderKind.ACKNOWLEDGE, text="overrun")
    bench.pass_s(23 * HOUR_S)

    assert answer is not None
    assert (answer.is_done, answer.text) == (True, "acknowledged: overrun")
    assert [(f.kind, f.by) for f in bench.facts() if isinstance(f, AlertAcknowledged)] == [("overrun", "ann")]
    assert "acknowledge" in bench.deeds()
    assert hours_of_reminders(bench, "overrun") == []
    bench.pass_s(2 * HOUR_S)
    assert hours_of_reminders(bench, "overrun") == [24.2], "one that was forgotten comes back after a day"


@pytest.mark.parametrize("kind", ["sump-low", ""])
def test_what_does_not_stand_cannot_be_acknowledged(kind: str) -> None:
    answer = Bench().order(OrderKind.ACKNOWLEDGE, text=kind)

    assert answer is not None
    assert (answer.is_done, answer.text) == (False, "nothing acknowledged; alerts that stand: none")


def test_what_tells_of_a_moment_ends_with_a_persons_word_or_after_a_day() -> None:
    crash = Notice(AlertKind.RESTARTED, Severity.SOON, Words("It ended."))
    taken, left = Bench(), Bench()
    taken.tell(crash)
    left.tell(crash)
    taken.order(OrderKind.ACKNOWLEDGE)
    left.pass_s(24 * HOUR_S - 60)

    assert (taken.alerts(), left.alerts()) == (set(), {"restarted"})
    left.pass_s(120)
    assert left.alerts() == set()


def test_greater_severity_raises_it_again_and_less_does_not() -> None:
    bench = Bench()
    for severity in (Severity.SOON, Severity.NOTE, Severity.SOON, Severity.URGENT):
        bench.tell(notice(severity))

    raised = [f.severity for f in bench.facts() if isinstance(f, AlertRaised)]
    assert raised == [Severity.SOON, Severity.URGENT]


def test_a_text_without_a_refill_is_never_reworded() -> None:
    bench = locked()
    bench.pass_s(40 * HOUR_S)

    assert not [f for f in bench.facts() if isinstance(f, AlertReworded)]
    assert all(isinstance(f, AlertReminded) for f in bench.reminders())
