"""How long the water lasts: hand-computed cases, and what must hold for any bed."""

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.budget import Budget, Site, advice, budget, drink_l, ec_range, safe_gap_h
from waaler.bed.crops import Crop, Stages
from waaler.bed.evaporation import Method, Reference, reference_mm
from waaler.bed.figures import Figures
from waaler.bed.ledger import SumpBook, Tank
from waaler.bed.weather import DayWeather

FIRST = date(2026, 7, 1)
BED = Figures(
    pots=16, outlet_l_per_min=1.0, line_l=2.0, sump_full_l=160.0, sump_low_l=40.0, drink_l_per_pot_day=1.6,
    media_l_per_pot=18.0, capacity_fraction=0.3, wilting_fraction=0.1,
)  # fmt: skip
BARE = Site(45.0, 100.0, 0.7, ())
WARM = DayWeather(30.0, 16.0)


def of(
    site: Site,
    bed: Figures,
    days: int,
    weather: DayWeather = WARM,
    seconds: Sequence[float] = (),
    tank: Tank | None = None,
) -> Budget:
    """The budget of a bed under one weather, whose plan is looked at for what it gives alone."""

    def reference(day: date) -> Reference:
        return reference_mm(weather, site.latitude_deg, site.elevation_m, day.timetuple().tm_yday)

    drink: Callable[[date], float] = lambda day: drink_l(site, bed, day, reference(day).mm)  # noqa: E731
    book = SumpBook(bed, drink, tank)
    midnight = datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC)
    return budget(book, midnight, days, reference, lambda _: seconds)


def crop(**changes: object) -> Crop:
    fields = {
        "name": "beans", "pots": 16, "plants_per_pot": 2.0, "stages": Stages((1, 1, 400, 1), 0.5, 1.15, 0.3),
        "planted": date(2026, 5, 1), "canopy_m2": 0.35, "ec_low": 1.5, "ec_high": 2.5,
    } | changes  # fmt: skip
    return Crop(**fields)  # type: ignore[arg-type]


def test_the_sump_lasts_as_the_worked_case_says() -> None:
    """120 usable litres, 16 pots of 1.6 L a day: 4.69 days. Source: tests/reference/volumes.yaml, sump_days_case."""
    found = of(BARE, BED, 10)

    assert found.days[3].sump_l == pytest.approx(160 - 4 * 25.6)
    assert found.needs_water_on == FIRST + timedelta(days=4)
    assert advice(found, BED).refill_l == pytest.approx(4 * 25.6)
    assert advice(found, BED).refill_every_days == 4


def test_a_sump_that_would_be_low_is_filled_that_morning_and_as_fresh_as_it_was() -> None:
    found = of(BARE, BED, 10)
    before, refilled = found.days[3], found.days[4]

    assert refilled.refill_l == pytest.approx(160 - before.sump_l)
    salts = before.sump_l * before.ec + refilled.refill_l * refilled.refill_ec
    assert salts / 160 == pytest.approx(2.0)
    assert refilled.refill_ec < 2.0


def test_a_header_tank_keeps_the_sump_full_until_it_is_empty() -> None:
    found = of(BARE, BED, 10, tank=Tank(51.2, 0.3))

    assert [row.sump_l for row in found.days[:3]] == pytest.approx([160.0, 160.0, 134.4])
    assert found.days[0].ec < 2.0  # plain water in, salts out


def test_top_ups_of_one_sump_or_three_weeks_make_the_solution_due() -> None:
    assert of(BARE, BED, 5).renew_on == FIRST + timedelta(days=21)

    # 7 days of 25.6 L pass 160 L
    assert of(BARE, BED, 10, tank=Tank(1000.0, 0.3)).renew_on == FIRST + timedelta(days=6)


def test_a_crop_drinks_the_reference_on_its_canopy() -> None:
    site = Site(45.0, 100.0, 0.7, (crop(),))
    found = of(site, BED, 3, WARM, [120.0])
    reference = reference_mm(WARM, 45.0, 100.0, FIRST.timetuple().tm_yday)

    assert found.days[0].drink_l == pytest.approx(16 * 2 * reference.mm * 0.7 * 1.15 * 0.35)
    assert found.methods == {Method.HARGREAVES}
    assert found.days[0].given_l == pytest.approx(16 * 120 / 60 - 2.0)


def test_the_media_last_half_of_what_they_hold_at_the_days_peak() -> None:
    """18 L x 0.2 x 0.5 = 1.8 L; 1.6 L a day peak at 1.6 x pi / 28 an hour: 10.03 h, by hand."""
    assert safe_gap_h(BED, 1.6) == pytest.approx(1.8 / (1.6 * 3.14159265 / 28), rel=1e-6)
    assert safe_gap_h(BED, 0.0) == 24.0


def test_suggested_cycles_keep_the_gap_and_let_a_fifth_drain() -> None:
    thirsty = Site(45.0, 100.0, 1.0, (crop(plants_per_pot=6.0),))
    found = of(thirsty, BED, 5)
    told = advice(found, BED)
    per_pot_l = found.hottest.drink_l / 16

    assert told.cycles >= 14.0 / told.safe_gap_h
    given_l = told.cycles * 1.0 * (told.seconds / 60 - 2.0 / 16)
    assert given_l == pytest.approx(per_pot_l / 0.8)


def test_ranges_that_do_not_meet_are_none() -> None:
    assert ec_range((crop(ec_low=1.5, ec_high=2.5), crop(ec_low=2.0, ec_high=3.0))) == (2.0, 2.5)
    assert ec_range((crop(ec_low=1.0, ec_high=1.4), crop(ec_low=2.0, ec_high=3.0))) is None


@given(
    t_max=st.floats(15, 42), span=st.floats(2, 20), pots=st.integers(1, 60), cover=st.floats(0.2, 1.2),
    full=st.floats(60, 900), days=st.integers(1, 40),
)  # fmt: skip
def test_water_is_neither_made_nor_lost_and_no_level_is_below_nothing(
    t_max: float, span: float, pots: int, cover: float, full: float, days: int
) -> None:
    bed = Figures(pots=pots, sump_full_l=full, sump_low_l=45.0)
    site = Site(45.0, 100.0, cover, (crop(pots=pots),))
    found = of(site, bed, days, DayWeather(t_max, t_max - span), [120.0])
    level_l = full
    for row in found.days:
        level_l += row.refill_l - row.drink_l + row.dry_l
        assert row.sump_l == pytest.approx(level_l, abs=1e-6)
        assert row.sump_l >= 25.0 - 1e-9  # below that the pump lifts nothing
        assert row.drink_l >= 0
