"""How long the water lasts: hand-computed cases, and what must hold for any bed."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.budget import Budget, advice, budget, ec_range, safe_gap_h
from waaler.bed.crops import Crop, Stages
from waaler.bed.demand import Shelter, Site, drinks_l
from waaler.bed.evaporation import Method, Reference, reference_mm
from waaler.bed.figures import Figures
from waaler.bed.ledger import SumpBook, Tank, used_up_at
from waaler.bed.pots import Pot, alike
from waaler.bed.weather import DayWeather

FIRST = date(2026, 7, 1)
POT = Pot(capacity_l=5.4, dry_l=3.6, wilting_l=1.8, flow_l_per_min=1.0, drink_l_per_day=1.6)
BED = Figures(alike(16, POT), line_l=2.0, sump_full_l=160.0, sump_low_l=40.0)
SITE = Site(45.0, 100.0, Shelter(0.7, False))
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

    book = SumpBook(bed, lambda day: drinks_l(site, bed.pots, day, weather), tank)
    midnight = datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC)
    return budget(book, midnight, days, reference, lambda _: seconds)


def crop(**changes: object) -> Crop:
    fields = {
        "name": "beans", "stages": Stages((1, 1, 400, 1), 1.15, 0.3),
        "planted": date(2026, 5, 1), "canopy_m2": 0.35, "ec_low": 1.5, "ec_high": 2.5,
    } | changes  # fmt: skip
    return Crop(**fields)  # type: ignore[arg-type]


def test_the_sump_lasts_as_the_worked_case_says() -> None:
    """120 usable litres, 16 pots of 1.6 L a day: 4.69 days. Source: tests/reference/volumes.yaml, sump_days_case."""
    found = of(SITE, BED, 10)

    assert found.days[3].sump_l == pytest.approx(160 - 4 * 25.6)
    assert found.needs_water_on == FIRST + timedelta(days=4)
    assert advice(found, BED).refill_l == pytest.approx(4 * 25.6)
    assert advice(found, BED).refill_every_days == 4


def test_a_sump_that_would_be_low_is_filled_that_morning_and_as_fresh_as_it_was() -> None:
    found = of(SITE, BED, 10)
    before, refilled = found.days[3], found.days[4]

    assert refilled.refill_l == pytest.approx(160 - before.sump_l)
    salts = before.sump_l * before.ec + refilled.refill_l * refilled.refill_ec
    assert salts / 160 == pytest.approx(2.0)
    assert refilled.refill_ec < 2.0


def test_a_header_tank_keeps_the_sump_full_until_it_is_empty() -> None:
    found = of(SITE, BED, 10, tank=Tank(51.2, 0.3))

    assert [row.sump_l for row in found.days[:3]] == pytest.approx([160.0, 160.0, 134.4])
    assert found.days[0].ec < 2.0  # plain water in, salts out


def test_top_ups_of_one_sump_or_three_weeks_make_the_solution_due() -> None:
    assert of(SITE, BED, 5).renew_on == FIRST + timedelta(days=21)

    # 7 days of 25.6 L pass 160 L
    assert of(SITE, BED, 10, tank=Tank(1000.0, 0.3)).renew_on == FIRST + timedelta(days=6)


def test_a_crop_drinks_the_reference_on_its_canopy() -> None:
    bed = replace(BED, pots=alike(16, replace(POT, crop=crop(), plants=2.0)))
    found = of(SITE, bed, 3, WARM, [120.0])
    reference = reference_mm(WARM, 45.0, 100.0, FIRST.timetuple().tm_yday)

    assert found.days[0].drink_l == pytest.approx(16 * 2 * reference.mm * 0.7 * 1.15 * 0.35)
    assert found.methods == {Method.HARGREAVES}
    assert found.days[0].given_l == pytest.approx(16 * 120 / 60 - 2.0)


def test_the_media_last_half_of_what_they_hold_at_the_days_peak() -> None:
    """5.4 - 3.6 = 1.8 L; 1.6 L a day peak at 1.6 x pi / 28 an hour: 10.03 h, by hand."""
    assert safe_gap_h(POT, 1.6) == pytest.approx(1.8 / (1.6 * 3.14159265 / 28), rel=1e-6)
    assert safe_gap_h(POT, 0.0) == 24.0


def test_suggested_cycles_keep_the_gap_and_let_a_fifth_drain() -> None:
    bed = replace(BED, pots=alike(16, replace(POT, crop=crop(), plants=6.0)))
    found = of(replace(SITE, shelter=Shelter()), bed, 5)
    told = advice(found, bed)
    per_pot_l = found.hottest.drinks_l[0]

    assert told.cycles >= 14.0 / told.safe_gap_h
    given_l = told.cycles * 1.0 * (told.seconds / 60 - 2.0 / 16)
    assert given_l == pytest.approx(per_pot_l / 0.8)


# --- three thirsty pots among eleven ----------------------------------------------------------------

THREE = replace(POT, drink_l_per_day=4.0, flow_l_per_min=0.5)
ELEVEN = replace(POT, drink_l_per_day=0.2, capacity_l=3.0, dry_l=2.4)
MIXED = replace(BED, pots=alike(3, THREE) + alike(11, ELEVEN), line_l=2.5)


def test_advice_is_for_the_pot_that_suffers_first_on_its_own_outlet() -> None:
    """1.8 L at a peak of 4 pi / 28 = 0.449 L an hour last 4.01 h: four cycles in 14 h. 4 / 0.8 / 4 = 1.25 L a cycle at
    0.5 L/min: 150 s, and 2.5 L of line at 3 x 0.5 + 11 = 12.5 L/min: 12 s before.
    """
    told = advice(of(SITE, MIXED, 5), MIXED)

    assert told.pot == 0
    assert told.safe_gap_h == pytest.approx(1.8 / 0.44880, rel=1e-4)
    assert told.gaps_h[3:] == (24.0,) * 11
    assert told.cycles == 4
    assert told.seconds == pytest.approx(162.0)


def test_a_pot_that_gets_less_than_it_drinks_is_named_though_the_bed_gets_enough() -> None:
    """4 x 60 s: 48 s of giving each, 0.4 L at 0.5 L/min, 1.6 L a day where 4 L are drunk; the bed gets 40 L, drinks 14."""
    (row,) = of(SITE, MIXED, 1, seconds=[60.0] * 4).days

    assert row.short == (0, 1, 2)
    assert row.gives_l[0] == pytest.approx(1.6)
    assert row.given_l == pytest.approx(3 * 1.6 + 11 * 3.2)
    assert row.drink_l == pytest.approx(14.2)


def test_a_cycle_is_never_advised_that_ends_before_the_outlets_have_given_for_a_minute() -> None:
    still = replace(MIXED, pots=alike(14, replace(POT, drink_l_per_day=0.01)))

    assert advice(of(SITE, still, 2), still).seconds == pytest.approx(60.0 + 60 * 2.5 / 14)


def test_a_pot_whose_outlet_gives_nothing_lengthens_no_cycle() -> None:
    dry = replace(MIXED, pots=(*MIXED.pots[:-1], replace(ELEVEN, flow_l_per_min=0.0)))

    assert advice(of(SITE, dry, 2), dry).seconds == pytest.approx(150.0 + 60 * 2.5 / 11.5)


def test_the_plants_have_water_until_the_first_pot_has_used_what_is_easy_to_take() -> None:
    """From midnight: 5 % of a day's drink even over the ten dark hours, 95 % over 6 to 20 h. 1.8 of 4 L are 0.45 of
    the day: 0.03 by 6 h, then 0.42 / 0.95 x 14 h = 6.19 h. The mean pot would last for days.
    """
    book = SumpBook(MIXED, lambda _: (4.0,) * 3 + (0.2,) * 11)
    midnight = datetime(2026, 7, 1, tzinfo=UTC)

    assert used_up_at(book, midnight) == pytest.approx(
        midnight + timedelta(hours=6 + 0.42 / 0.95 * 14), abs=timedelta(seconds=1)
    )
    assert used_up_at(replace(book, drinks_l=None), midnight) is None


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
    bed = Figures(alike(pots, replace(POT, crop=crop(), plants=2.0)), sump_full_l=full, sump_low_l=45.0)
    found = of(Site(45.0, 100.0, Shelter(cover)), bed, days, DayWeather(t_max, t_max - span), [120.0])
    level_l = full
    for row in found.days:
        level_l += row.refill_l - row.drink_l + row.dry_l
        assert row.sump_l == pytest.approx(level_l, abs=1e-6)
        assert row.sump_l >= 25.0 - 1e-9  # below that the pump lifts nothing
        assert row.drink_l >= 0
