"""An alert belongs to one input or sensor: it flaps with none, outlives none, and no advice outlives its sensor."""

from dataclasses import replace

import pytest
from tests.core.bench import PLAN, PROBE, Bench
from tests.core.test_sump_days import bed

from waaler.core.alert import Alert, AlertKind, OpenAlert, Severity
from waaler.core.facts import AlertRaised, AlertReworded, Outcome
from waaler.core.memory import Memory
from waaler.core.messages import Look, OrderKind
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Level, Trip
from waaler.plan.sensing import Adviser, AdviserKind, Reading, Sensing
from waaler.plan.types import HotDay

SENSING = Sensing(advisers=(PROBE,))
KINDS = {Input.SUMP_LOW: "sump-low-not-read", Input.TRAY_HIGH: "tray-high-not-read"}


# --- protective inputs ------------------------------------------------------------------------


@pytest.mark.parametrize("back", list(Input))
def test_of_two_inputs_that_cannot_be_read_each_is_told_until_it_reads_again(back: Input) -> None:
    bench = Bench()
    bench.until("07:00")
    for name in Input:
        bench.level(name, Level.NOT_READ)
    assert bench.alerts() == set(KINDS.values())
    bench.level(back, Level.GOOD)
    bench.pass_s(3600)

    (other,) = set(Input) - {back}
    assert bench.alerts() == {KINDS[other]}
    assert bench.core.decisions.barriers.trips == {Trip.NOT_READ}
    assert bench.alert_text(KINDS[other]).startswith(f"{other.value} cannot be read.\n")
    bench.level(other, Level.GOOD)
    bench.pass_s(1300)
    assert not bench.core.decisions.barriers.trips
    assert not bench.alerts() & set(KINDS.values())


def test_an_input_that_could_not_be_read_before_a_restart_is_told_until_it_reads_again() -> None:
    guard = GuardMemory(last_stop_s=60_000.0, tripped=frozenset({(Input.TRAY_HIGH, Trip.NOT_READ)}))
    bench = Bench(memory=Memory(guard, last_full_s=60_000.0))
    bench.level(Input.TRAY_HIGH, Level.NOT_READ)
    bench.pass_s(1300)
    assert bench.alerts() == {"tray-high-not-read"}
    bench.level(Input.TRAY_HIGH, Level.GOOD)
    bench.pass_s(1300)

    assert "tray-high-not-read" not in bench.alerts()


def test_the_alert_that_two_inputs_shared_in_an_earlier_version_is_over_at_the_first_look() -> None:
    old = OpenAlert(Alert(AlertKind.OF_ANOTHER_VERSION, Severity.URGENT, None, "input-not-read"), 9e4, 9e4)
    bench = Bench(memory=Memory(GuardMemory(last_stop_s=60_000.0), last_full_s=60_000.0, open_alerts=(old,)))

    assert "input-not-read" not in bench.core.decisions.alerts.standing


# --- sensors that come and go -----------------------------------------------------------------


def flap(bench: Bench, times: int) -> None:
    """The probe fails every other reading."""
    for n in range(times):
        bench.read(75.0 + (n % 7) * 0.2)
        bench.pass_s(10)
        bench.read(None)
        bench.pass_s(10)


def test_a_probe_that_fails_every_other_reading_is_one_alert_that_says_how_often() -> None:
    bench = Bench(sensing=SENSING)
    bench.pass_s(400)
    flap(bench, 432)

    raised = [fact for fact in bench.facts() if isinstance(fact, AlertRaised)]
    assert [alert.kind for alert in raised] == ["not-valid-pot-3"]
    assert "It has come and gone at least 300 times." in bench.alert_now("not-valid-pot-3")
    assert sum(isinstance(fact, AlertReworded) for fact in bench.facts()) == 5


def test_a_sensor_is_believed_at_once_and_its_alert_ends_after_an_hour_of_good_readings() -> None:
    bench = Bench(sensing=SENSING)
    bench.pass_s(400)
    bench.read(75.0)
    bench.read(None)
    bench.read(75.0)
    for _ in range(59):
        bench.pass_s(60)
        bench.read(75.0)
    assert bench.alerts() == {"not-valid-pot-3"}
    bench.pass_s(60)
    bench.read(75.0)

    assert bench.alerts() == set()


def test_the_alert_of_a_probe_that_is_taken_out_of_the_file_is_over() -> None:
    bench = Bench(sensing=SENSING)
    bench.read(75.0)
    bench.pass_s(400)
    bench.read(None)
    assert bench.alerts() == {"not-valid-pot-3"}
    bench.sensing = Sensing()
    bench.new_plan(PLAN)

    assert bench.alerts() == set()


def test_the_alert_of_a_probe_that_the_file_has_no_longer_after_a_restart_is_over() -> None:
    old = OpenAlert(Alert(AlertKind.NOT_VALID, Severity.SOON, None, "pot-9"), 90_000.0, 90_000.0)
    guard = GuardMemory(last_stop_s=60_000.0)
    bench = Bench(sensing=SENSING, memory=Memory(guard, last_full_s=60_000.0, open_alerts=(old,)))
    bench.tell(Look())

    assert "not-valid-pot-9" not in bench.core.decisions.alerts.standing


# --- advice that outlives no sensor -----------------------------------------------------------


def leaking() -> Bench:
    gauge = Adviser("depth", AdviserKind.LEVEL, highest=300.0, most_change_per_min=float("inf"))
    bench = bed()
    bench.sensing = Sensing(advisers=(gauge,))
    bench.new_plan(PLAN)
    bench.until("05:50")
    bench.tell(Reading("depth", 219.0))
    bench.until("06:40")
    bench.tell(Reading("depth", 190.0))
    bench.until("09:05")
    assert bench.results()[-1].seconds == 60.0
    return bench


def test_a_gauge_that_dies_after_a_leak_alarm_halves_the_runs_for_hours_and_not_for_ever() -> None:
    bench = leaking()
    while "leak" in bench.alerts():
        bench.tell(Reading("depth", None))
        bench.pass_s(60)
    assert bench.long_s - bench.core.decisions.alerts.standing["leak-unseen"].raised_s < 600.0, "told anew"
    n = len(bench.results())
    bench.pass_s(86_400)

    done = [result.seconds for result in bench.results()[n:] if result.outcome is Outcome.DONE]
    assert done == [120.0] * 5
    assert bench.alert_now("leak-unseen").startswith(
        "A leak was suspected, and nobody has read the sump's level since.\n"
    )


def test_without_a_gauge_the_runs_stay_halved_for_a_day_after_the_last_level() -> None:
    bench = leaking()
    bench.sensing = Sensing()
    bench.new_plan(PLAN)
    bench.until("06:30")
    assert bench.results()[-1].seconds == 60.0
    bench.until("06:45")
    bench.until("09:05")

    assert bench.results()[-1].seconds == 120.0


def test_a_thermometer_out_of_its_range_makes_no_hot_day_and_a_hot_one_does() -> None:
    for value, cycles in ((500.0, 5), (36.0, 9)):
        air = Adviser("air", AdviserKind.TEMPERATURE, lowest=-30.0, highest=70.0, most_change_per_min=100.0)
        bench = Bench(plan=replace(PLAN, hot_day=HotDay(32.0, 4)), sensing=Sensing(advisers=(air,)))
        bench.read(18.0, "air")
        bench.pass_s(60)
        bench.read(value, "air")
        bench.until("20:00")

        assert len(bench.results()) == cycles


def test_low_in_runs_is_told_until_a_refill() -> None:
    bench = Bench()
    for clock in ("06:00", "09:00"):
        bench.until(clock)
        bench.pass_s(60)
        bench.level(Input.SUMP_LOW, Level.BAD)
        bench.pass_s(60)
        bench.level(Input.SUMP_LOW, Level.GOOD)
    bench.until("14:00")
    assert "sump-low-in-runs" in bench.alerts()
    bench.order(OrderKind.REFILL, litres=60.0)

    assert "sump-low-in-runs" not in bench.alerts()
