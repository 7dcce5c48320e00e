"""The sump over the days: told before it is low, what is missing, what was poured in unseen."""

from dataclasses import replace

import pytest
from tests.core.bench import Bench

from waaler.bed.figures import Figures
from waaler.bed.ledger import Entry, SumpBook, full
from waaler.core.care import Care
from waaler.core.facts import AlertRaised, Amount, Cause, Deed, Outcome, Severity
from waaler.core.memory import Memory
from waaler.core.messages import OrderKind
from waaler.core.sump_state import SumpState, to_add
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input
from waaler.guard.messages import Level as FloatLevel
from waaler.plan.sensing import Adviser, AdviserKind, Reading, Sensing

FIGURES = Figures(sump_full_l=220.0, sump_low_l=45.0, line_l=1.5)
BOOK = SumpBook(FIGURES, lambda _: (20.0 / 14,) * 14)
CARE = Care(BOOK)
LONG_S = 100_000.0


GAUGED = Sensing(
    advisers=(Adviser("depth", AdviserKind.LEVEL, highest=260.0, most_change_per_min=1e9, stale_after_s=1e9),)
)


def bed(litres: float = 220.0, care: Care = CARE, start: str = "2026-06-21T05:00:00+01:00") -> Bench:
    """A bench whose sump held so much at its start; the last run was eleven hours ago."""
    memory = Memory(
        guard=GuardMemory(last_stop_s=LONG_S - 11 * 3600),
        last_full_s=LONG_S - 11 * 3600,
        sump=SumpState(Entry(litres, 2.0), LONG_S, litres, LONG_S, LONG_S),
    )
    return Bench(care=care, memory=memory, start=start, sensing=GAUGED)


def sump(bench: Bench, litres: float) -> str:
    answer = bench.order(OrderKind.MEASURE, amounts=(Amount("sump", litres, "L"),))
    assert answer is not None
    return answer.text


# --- what to add --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "last", "what"),
    [
        (None, None, "solution of 2 mS/cm"),
        (2.0, 2.1, "solution of 2 mS/cm"),
        (2.0, 2.11, "plain water, since the EC has risen"),
    ],
)
def test_what_to_add_follows_the_ec_since_the_last_mix(first: float | None, last: float | None, what: str) -> None:
    assert to_add(BOOK, SumpState(full(BOOK), 0.0, first_ec=first, last_ec=last)) == what


# --- the forecast -------------------------------------------------------------------------------


def test_a_low_sump_is_told_two_days_before_with_its_hour_and_litres() -> None:
    bench = bed(litres=120.0)
    bench.pass_s(3600)
    assert bench.alerts() == set()
    bench.until("16:20")
    bench.pass_s(24 * 3600)
    assert bench.alerts() == set()
    bench.pass_s(3600)

    assert bench.alerts() == {"sump-soon-low"}
    first, *_ = bench.alert_text("sump-soon-low").splitlines()
    assert first == "The sump needs water about Wednesday 24 Jun 17:00."
    # 75 L above the mark at 20 L a day: 3 days take 60; of the rest 1 L went from 5 to 6 h and 13.9 L by day
    assert pytest.approx(75.0, abs=0.2) == 60 + 20 * (0.05 / 10 + 0.95 * 11 / 14)
    assert "Unplug the pump, add 133 L of solution of 2 mS/cm up to the full mark" in bench.alert_now(
        "sump-soon-low"
    )


def test_on_the_last_day_it_becomes_urgent_and_stays_one_alert_a_cause() -> None:
    bench = bed(litres=60.0)
    bench.until("23:50")
    bench.pass_s(12 * 3600)

    assert bench.alerts() == {"refill-due"}
    bench.level(Input.SUMP_LOW, FloatLevel.BAD)
    bench.pass_s(7200)
    assert bench.alerts() - {"cycle-missed"} == {"sump-low"}


def test_a_refill_ends_the_forecast() -> None:
    bench = bed(litres=70.0)
    bench.pass_s(3600)
    assert bench.alerts() == {"sump-soon-low"}

    bench.order(OrderKind.REFILL, litres=140.0, amounts=(Amount("solution", 140.0, "L"),))

    assert bench.alerts() == set()
    sump = bench.core.decisions.water.sump
    assert sump is not None
    assert sump.entry.litres == pytest.approx(70.0 - 20 * 1 / 24 + 140.0, abs=1.0)


def test_a_small_sump_that_lasts_three_days_is_not_always_soon_low() -> None:
    small = replace(CARE, book=replace(BOOK, figures=replace(FIGURES, sump_full_l=105.0)))
    bench = bed(litres=105.0, care=small)
    bench.pass_s(24 * 3600)

    assert bench.alerts() == set()


def test_a_float_that_says_low_sets_the_reckoning_right() -> None:
    bench = bed(litres=200.0)
    bench.level(Input.SUMP_LOW, FloatLevel.BAD)
    bench.pass_s(60)

    sump = bench.core.decisions.water.sump
    assert sump is not None
    assert sump.entry.litres == 45.0


def test_the_solution_is_due_by_age_or_by_what_was_topped_up_until_it_is_made_anew() -> None:
    old = bed()
    for _ in range(4):
        old.pass_s(5 * 86_400)
        old.order(OrderKind.REFILL, litres=50.0)
    assert "solution-due" not in old.alerts()
    old.pass_s(1.1 * 86_400)
    assert "solution-due" in old.alerts()
    old.order(OrderKind.REFILL, litres=200.0, is_renewal=True)
    assert "solution-due" not in old.alerts()

    topped = bed(litres=30.0)
    topped.order(OrderKind.REFILL, litres=185.0)
    sump(topped, 100.0)
    topped.order(OrderKind.REFILL, litres=34.0)
    assert "solution-due" not in topped.alerts()
    topped.order(OrderKind.REFILL, litres=1.0)
    assert "solution-due" in topped.alerts()


# --- what is missing, and what came unseen ------------------------------------------------------


def test_a_level_is_only_taken_at_rest() -> None:
    bench = bed()
    bench.until("06:01")
    bench.pass_s(30)

    assert sump(bench, 100.0).endswith("read it at rest, once the water of the last run is back")
    bench.pass_s(300)
    bench.tell(Reading("depth", 100.0))
    assert bench.alerts() == set()


@pytest.mark.parametrize(("litres", "alerts"), [(203.0, set()), (190.0, {"leak"})])
def test_less_after_a_run_than_pots_can_have_kept_is_urgent_at_once_and_halves_the_runs(
    litres: float, alerts: set[str]
) -> None:
    bench = bed()
    bench.until("05:50")
    bench.tell(Reading("depth", 219.0))
    bench.until("06:40")

    bench.tell(Reading("depth", litres))

    assert bench.alerts() == alerts
    bench.until("09:05")
    assert bench.results()[-1].seconds == (60.0 if alerts else 120.0)
    if alerts:
        assert bench.core.decisions.alerts.standing["leak"].severity is Severity.URGENT
        assert bench.intents()[-1].reason == "as planned; halved, since a leak is suspected"


def test_pots_that_went_without_water_for_a_day_keep_more_of_a_run_and_that_is_no_leak() -> None:
    bench = bed()
    bench.until("06:30")
    bench.order(OrderKind.PAUSE, 12 * 3600.0)
    bench.pass_s(12 * 3600.0)
    bench.order(OrderKind.PAUSE, 12 * 3600.0)
    bench.until("06:20")
    bench.tell(Reading("depth", 200.0))
    bench.until("07:10")
    assert bench.outcomes()[-1] == (Cause.CATCH_UP, Outcome.DONE, 120)
    run_l = FIGURES.pump_l_per_min * 2

    bench.tell(Reading("depth", 200.0 - run_l))

    assert bench.alerts() == set()
    bench.until("12:50")
    bench.tell(Reading("depth", 200.0 - run_l - 5.0))
    assert bench.alerts() == set(), "nor is it a slow one"


def test_whole_runs_come_back_with_a_level_that_fits_and_a_persons_order_stays_whole() -> None:
    bench = bed()
    bench.until("05:50")
    bench.tell(Reading("depth", 219.0))
    bench.until("06:40")
    bench.tell(Reading("depth", 190.0))
    bench.order(OrderKind.WATER, 90.0)
    bench.pass_s(100)
    assert bench.results()[-1].seconds == 90.0
    bench.until("08:30")

    bench.tell(Reading("depth", 187.0))

    assert bench.alerts() == set()
    bench.until("09:05")
    assert bench.results()[-1].seconds == 120.0


@pytest.mark.parametrize(("litres", "alerts"), [(207.2, set()), (207.1, {"leak"})])
def test_a_loss_at_night_when_nothing_drinks_is_a_leak(litres: float, alerts: set[str]) -> None:
    bench = bed(start="2026-06-21T20:00:00+01:00")
    bench.until("20:30")
    sump(bench, 219.5)
    bench.until("05:30")

    sump(bench, litres)

    assert bench.alerts() == alerts
    if alerts:
        assert bench.core.decisions.alerts.standing["leak"].severity is Severity.SOON


def gauge(bench: Bench, hours: float, litres_per_h: float, begin_l: float) -> float:
    """Reads every ten minutes while the level moves evenly; the last level."""
    steps = round(6 * hours)
    for n in range(1, steps + 1):
        bench.pass_s(600)
        bench.tell(Reading("depth", begin_l + litres_per_h * n / 6))
    return begin_l + litres_per_h * steps / 6


@pytest.mark.parametrize(("litres_per_h", "alerts"), [(-1.4, set()), (-4.0, {"leak"})])
def test_a_slow_loss_shows_to_a_gauge_that_reads_all_the_time(litres_per_h: float, alerts: set[str]) -> None:
    bench = bed()
    bench.until("06:30")
    gauge(bench, 14, litres_per_h, 219.0)

    assert bench.alerts() == alerts


def test_a_refill_poured_slowly_beside_a_gauge_is_noticed_once() -> None:
    bench = bed(litres=100.0)
    bench.until("06:30")
    full_l = gauge(bench, 1, 90.0, 100.0)
    gauge(bench, 12, -1.4, full_l)

    noticed = [f.text for f in bench.facts() if isinstance(f, Deed) and f.what == "refill"]
    assert noticed
    assert all(text.startswith("amount unknown; the level rose by ") for text in noticed)
    assert "leak" not in bench.alerts()


def test_a_refill_that_nobody_entered_is_entered_and_raises_nothing() -> None:
    bench = bed(litres=100.0)
    bench.until("08:00")

    sump(bench, 200.0)

    assert bench.alerts() == set()
    deed = next(f for f in bench.facts() if isinstance(f, Deed) and f.what == "refill")
    assert deed.text == "amount unknown; the level rose by 103 L"
    assert deed.by is None


def test_a_first_reading_against_a_level_that_was_only_assumed_is_no_leak() -> None:
    memory = Memory(guard=GuardMemory(last_stop_s=LONG_S - 11 * 3600), sump=SumpState(full(BOOK), LONG_S - 3600))
    bench = Bench(care=CARE, memory=memory)
    bench.pass_s(600)

    sump(bench, 90.0)

    assert "leak" not in bench.alerts()
    known = bench.core.decisions.water.sump
    assert known is not None
    assert known.entry.litres == 90.0


def test_a_gauge_that_trembles_about_a_limit_raises_the_forecast_once() -> None:
    bench = bed(litres=120.0)
    bench.until("06:30")
    for n in range(300):
        bench.pass_s(600)
        bench.tell(Reading("depth", 119.0 - 20.0 * n / 144 + (1.5 if n % 2 else -1.5)))

    raised = [f.kind for f in bench.facts() if isinstance(f, AlertRaised) and f.kind == "sump-soon-low"]
    assert raised == ["sump-soon-low"]


def test_a_dip_in_a_run_ends_no_forecast() -> None:
    bench = bed(litres=60.0)
    bench.pass_s(3600 - 10)
    assert bench.alerts() == {"refill-due"}
    bench.until("06:01")
    bench.level(Input.SUMP_LOW, FloatLevel.BAD)
    bench.pass_s(60)
    bench.level(Input.SUMP_LOW, FloatLevel.GOOD)
    bench.pass_s(3600)

    assert bench.alerts() == {"refill-due"}
    assert len([f for f in bench.facts() if isinstance(f, AlertRaised)]) == 1
