"""What a person measures and notes is written down, and a value outside the file's range is told."""

from tests.core.bench import Bench

from waaler.core.facts import Amount, Deed
from waaler.core.messages import OrderKind
from waaler.plan.sensing import Range, Sensing

RANGES = Sensing(ranges=(Range("EC", "mS/cm", 1.4, 2.4), Range("pH", "", 5.5, 6.3)))


def test_a_measurement_outside_its_range_raises_an_alert_until_one_lies_inside() -> None:
    bench = Bench(sensing=RANGES)

    answer = bench.order(OrderKind.MEASURE, amounts=(Amount("EC", 2.9, "mS/cm"), Amount("pH", 5.9, "")))

    assert answer is not None
    assert answer.text == (
        "measurement entered: EC 2.9 mS/cm, pH 5.9; EC of the solution is 2.9 mS/cm, outside 1.4 to 2.4 mS/cm"
    )
    assert bench.alerts() == {"ec-outside"}
    assert "\nCorrect it, and measure again once a run has mixed it.\n" in bench.alert_text("ec-outside")
    bench.order(OrderKind.MEASURE, amounts=(Amount("pH", 6.0, ""),))
    assert bench.alerts() == {"ec-outside"}, "only its own measurement ends an alert"
    bench.order(OrderKind.MEASURE, amounts=(Amount("EC", 2.4, "mS/cm"),))
    assert bench.alerts() == set()


def test_without_a_range_a_measurement_is_only_written_down() -> None:
    bench = Bench()

    bench.order(OrderKind.MEASURE, amounts=(Amount("EC", 9.0, "mS/cm"),))

    (deed,) = [fact for fact in bench.facts() if isinstance(fact, Deed)]
    assert (deed.what, deed.text, deed.by, deed.amounts) == (
        "measure", "EC 9 mS/cm", "ann", (Amount("EC", 9.0, "mS/cm"),)
    )  # fmt: skip
    assert bench.alerts() == set()


def test_a_refill_tells_what_was_poured_in_and_a_note_its_text() -> None:
    bench = Bench()

    bench.order(OrderKind.REFILL, litres=60.0, amounts=(Amount("solution", 60.0, "L"),))
    bench.order(OrderKind.REFILL, litres=10.0)
    bench.order(OrderKind.NOTE, text="aphids on pot 3")

    told = [(fact.what, fact.text, fact.amounts) for fact in bench.facts() if isinstance(fact, Deed)]
    assert told == [
        ("refill", "60 L of solution", (Amount("solution", 60.0, "L"),)),
        ("refill", "10 L of water", (Amount("water", 10.0, "L"),)),
        ("note", "aphids on pot 3", ()),
    ]
