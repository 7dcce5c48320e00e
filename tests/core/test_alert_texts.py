"""What an alert says, line by line, and that nothing says refill while the water is elsewhere."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.core.bench import LIMITS, Bench

from waaler.bed.figures import Figures
from waaler.bed.ledger import SumpBook, full
from waaler.core import texts
from waaler.core.alert import Alert, AlertKind, OpenAlert, Severity, Words
from waaler.core.care import Care, Contact
from waaler.core.deduced import may_refill
from waaler.core.facts import AlertRaised, AlertReminded, AlertReworded, Cause
from waaler.core.memory import Memory
from waaler.core.messages import OrderKind
from waaler.core.state import Active, Stage, Wanted
from waaler.core.sump_state import SumpState
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Level, Purse, Trip

FIGURES = Figures()
BOOK = SumpBook(FIGURES, lambda _: (1.2,) * 14)
CARE = Care(BOOK, contacts=(Contact("Ann", "+386 40 111 222"),))
REFILL = "Unplug the pump, add 173 L of solution of 2 mS/cm up to the full mark, enter it with `waaler refill`, plug the pump in again."


def test_sump_low_says_each_thing_on_a_line_of_its_own() -> None:
    bench = Bench(care=CARE)
    bench.until("06:01")
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(2500)

    assert bench.alert_text("sump-low").splitlines() == [
        "Sump low at rest.",
        "Since Sun 21 Jun 06:41.",
        "No run starts until it reads good.",
        REFILL,
        "The plants have water until about Mon 22 Jun 06:05.",
        "Safe to touch with the pump unplugged; where mains may be wet: do not, switch off at the board.",
        "Starts again by itself once the level has been good for a while.",
        "Call Ann, +386 40 111 222.",
    ]


@pytest.mark.parametrize("stage", list(Stage))
def test_nothing_says_refill_while_a_run_is_on_its_way(stage: Stage) -> None:
    """What is told in the instant in which a run begins is read while the pump runs."""
    bench = Bench(care=CARE)
    bench.until("06:01")
    bench.pass_s(2500)
    state = bench.core.decisions
    wanted = Wanted(Cause.PLAN, Purse.PLAN, 120.0, "early 1")
    coming = replace(state, runs=replace(state.runs, active=Active(7, wanted, stage, state.at.long_s)))

    assert may_refill(state)
    assert not may_refill(coming)


def test_a_refill_begins_with_the_plug_out_and_ends_with_it_in() -> None:
    assert REFILL.startswith("Unplug the pump, ")
    assert REFILL.endswith(", plug the pump in again.")


def test_a_tray_that_fills_up_takes_back_the_word_of_a_refill() -> None:
    bench = Bench(care=CARE)
    bench.until("06:01")
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(2500)
    assert "add 173 L" in bench.alert_now("sump-low")

    bench.level(Input.TRAY_HIGH, Level.BAD)
    bench.pass_s(5)

    assert texts.STOPS[AlertKind.TRAY_HIGH].now.startswith("The water is in the tray. Do NOT add water;")
    assert "The water is in the tray. Do NOT add water; free the drain first" in bench.alert_now("sump-low")
    assert "add 173 L" not in bench.alert_now("sump-low")


def test_plain_water_where_the_ec_rose_since_the_last_mix() -> None:
    bench = Bench(care=CARE)
    bench.order(OrderKind.REFILL, litres=50.0, is_renewal=True)
    for ec in (2.0, 2.2):
        bench.order(OrderKind.MEASURE, amounts=(replace(ec_of(2.0), value=ec),))
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(60)

    assert "L of plain water, since the EC has risen up to" in bench.alert_text("sump-low")


def ec_of(value: float) -> Any:
    from waaler.core.facts import Amount

    return Amount("EC", value, "mS/cm")


def every_words() -> list[Words]:
    fixed = [value for value in vars(texts).values() if isinstance(value, Words)]
    made = [
        texts.soon_low("about Thu"),
        texts.cycle_missed(9.0),
        texts.not_valid("pot", "stuck", 1),
        texts.not_valid("pot", "stuck", 30),
        texts.not_read("sump_low"),
        texts.low_in_runs(2, 40.0),
        texts.no_sign("flow"),
        texts.pump_weaker(6.0, 12.0),
        texts.paused_long("Thu", "ann"),
        texts.outside("EC"),
        texts.not_commissioned("sump_low bad"),
        texts.loose("It.", "Did.", "Do.", "Again."),
    ]
    return [*fixed, *texts.FIXED.values(), *made]


@pytest.mark.parametrize("words", every_words(), ids=lambda words: words.what[:40])
def test_every_kind_says_what_was_done_what_to_do_whether_it_is_safe_and_whether_it_starts_again(
    words: Words,
) -> None:
    assert all((words.what, words.did, words.touch, words.again))
    assert words.refill or words.now
    assert not (words.refill and words.now)
    assert (
        "refill" not in (words.what + words.did + words.again).lower()
        or words is texts.REFILL_DUE
        or ("`waaler refill`" in words.again or "until a refill" in words.did)
    )


ACTS = st.lists(
    st.tuples(
        st.sampled_from(
            ["sump bad", "sump good", "tray bad", "tray good", "refill", "water", "hour", "minutes", "day"]
        ),
        st.integers(1, 50),
    ),
    max_size=25,
)


def act(bench: Bench, what: str, number: int) -> None:
    name, _, level = what.partition(" ")
    if level:
        bench.level(
            Input.SUMP_LOW if name == "sump" else Input.TRAY_HIGH, Level.BAD if level == "bad" else Level.GOOD
        )
    elif what == "refill":
        bench.order(OrderKind.REFILL, litres=float(number))
    elif what == "water":
        bench.order(OrderKind.WATER, 60.0)
    else:
        bench.pass_s({"hour": 3600, "minutes": 60, "day": 20_000}[what] * (1 + number / 25))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ACTS)
def test_no_text_that_stands_says_refill_while_the_tray_is_high_or_the_water_is_not_back(
    acts: list[tuple[str, int]],
) -> None:
    """Judged from the facts alone: a text that says `add N L` stands at no such moment."""
    thirsty = replace(CARE, book=replace(BOOK, drinks_l=lambda _: (60.0 / 14,) * 14))
    bench = Bench(care=thirsty, limits=replace(LIMITS, rest_s=60.0))
    for what, number in acts:
        act(bench, what, number)
        check(bench)


def check(bench: Bench) -> None:
    standing: dict[str, str] = {}
    for fact in bench.facts():
        if isinstance(fact, AlertRaised | AlertReminded | AlertReworded):
            standing[fact.kind] = fact.text
        elif type(fact).__name__ == "AlertResolved":
            standing.pop(fact.kind, None)  # type: ignore[attr-defined]
    is_high = Trip.HIGH_TRAY in bench.core.decisions.barriers.trips
    is_back = not bench.is_on and bench.long_s >= bench.core.decisions.account.last_stop_s + 1200.0
    if is_high or not is_back:
        assert not [text for text in standing.values() if "Unplug the pump, add" in text], (is_high, is_back)


def test_a_text_of_before_a_restart_is_composed_anew_and_a_moment_still_ends() -> None:
    alerts = (
        OpenAlert(Alert(AlertKind.SUMP_LOW, Severity.URGENT), 90_000.0, 99_000.0),
        OpenAlert(Alert(AlertKind.RESTARTED, Severity.SOON, Words("It ended.")), 99_000.0, 99_000.0),
    )
    guard = GuardMemory(last_stop_s=60_000.0, tripped=frozenset({(Input.SUMP_LOW, Trip.LOW_SUMP)}))
    memory = Memory(
        guard=guard,
        last_full_s=60_000.0,
        open_alerts=alerts,
        sump=SumpState(full(BOOK), 60_000.0, 220.0, 60_000.0, 60_000.0),
    )
    bench = Bench(care=CARE, memory=memory)
    bench.level(Input.SUMP_LOW, Level.BAD)
    bench.pass_s(61)

    assert "Unplug the pump, add " in bench.alert_now("sump-low")
    assert "Since Sun 21 Jun 02:13." in bench.alert_now("sump-low")
    bench.order(OrderKind.ACKNOWLEDGE, text="restarted")
    assert "restarted" not in bench.core.decisions.alerts.standing


def test_once_the_water_is_back_a_refill_is_spoken_of_again_without_a_knock() -> None:
    bench = Bench(care=replace(CARE, book=replace(BOOK, drinks_l=lambda _: (60.0 / 14,) * 14)))
    bench.order(OrderKind.REFILL, litres=1.0)
    bench.pass_s(2.2 * 86_400)
    assert bench.alerts() & {"sump-soon-low", "refill-due"}
    bench.until("06:01")
    kind = next(iter(bench.alerts() & {"sump-soon-low", "refill-due"}))
    assert "Wait until the water of the last run is back" in bench.alert_now(kind)
    bench.pass_s(60 + 1200 + 5)

    assert "Unplug the pump, add " in bench.alert_now(kind)
