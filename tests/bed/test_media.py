"""What drained media hold: by hand where the law can be summed, and within what any curve through the points allows."""

from math import log
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from waaler.bed.media import COARSE_PERLITE, FINE_PERLITE, Medium, usual_height_cm

RETENTION = yaml.safe_load((Path(__file__).parents[1] / "reference" / "perlite_retention.yaml").read_text())
ROOT = Medium(((0.0, 0.8), (4.0, 0.4), (16.0, 0.2), (64.0, 0.1)))
"""0.8 / sqrt(h) from 1 cm on."""


@pytest.mark.parametrize(
    ("suction_cm", "share"), [(0, 0.8), (0.5, 0.8), (1, 0.8), (4, 0.4), (9, 0.8 / 3), (100, 0.08)]
)
def test_between_its_points_and_beyond_a_medium_holds_what_the_law_says(suction_cm: float, share: float) -> None:
    assert ROOT.content(suction_cm) == pytest.approx(share)


@pytest.mark.parametrize(
    ("height_cm", "share"),
    [(0.5, 0.8), (1.0, 0.8), (9.0, (0.8 + 1.6 * 2) / 9), (25.0, 7.2 / 25), (100.0, (0.8 + 1.6 * 9) / 100)],
)
def test_a_drained_pot_holds_the_mean_over_its_height(height_cm: float, share: float) -> None:
    """The integral of 0.8 / sqrt(h) from 1 cm up is 1.6 (sqrt(h) - 1), and the lowest centimetre is full."""
    assert ROOT.drained(height_cm) == pytest.approx(share)


def test_a_law_whose_integral_is_a_logarithm_is_summed_as_one() -> None:
    """0.8 / h from 1 cm on: over 8 cm (0.8 + 0.8 ln 8) / 8."""
    assert Medium(((0.0, 0.8), (2.0, 0.4), (8.0, 0.1))).drained(8.0) == pytest.approx((0.8 + 0.8 * log(8)) / 8)


def test_a_pot_gives_up_what_it_holds_above_a_suction_and_its_top_may_have_that_at_once() -> None:
    """25 cm: 0.288 less 0.11314 to 50 cm of suction. 100 cm: of its lower half 0.21027 less 0.11314, and of the upper
    nothing; to 100 cm 0.152 less 0.08.
    """
    assert ROOT.released(25.0, 50.0) == pytest.approx(0.288 - 0.113137, rel=1e-5)
    assert ROOT.released(100.0, 50.0) == pytest.approx((0.210274 - 0.113137) / 2, rel=1e-4)
    assert ROOT.released(100.0, 100.0) == pytest.approx(0.152 - 0.08)
    assert ROOT.released(200.0, 50.0) > 0


def medium_of(percent: dict[str, float]) -> Medium:
    """Percent of the volume by suction, as in `10 cm`."""
    return Medium(tuple((float(at.split()[0]), share / 100) for at, share in percent.items()))


def grades() -> list[tuple[str, Medium, dict[str, Any]]]:
    """Each height of each grade. Source: tests/reference/perlite_retention.yaml; points as given there."""
    return [
        (grade["grade"], medium_of(grade["water_content_pct"]), row)
        for grade in RETENTION["grades"]
        for row in grade["drained_pot"]
    ]


@pytest.mark.parametrize(("grade", "medium", "row"), grades())
def test_what_a_pot_holds_lies_where_any_curve_through_its_points_must(
    grade: str, medium: Medium, row: dict[str, Any]
) -> None:
    """The bounds hold whatever the curve (arithmetic); the fit of another law to the same points is 0.04 away at most."""
    low, high = row["any_falling_curve"]
    held = medium.drained(row["height_cm"])

    assert low <= held <= high, grade
    assert held == pytest.approx(row["container_capacity"], abs=0.04)


@given(height=st.floats(3, 80), more=st.floats(0.5, 40))
def test_a_higher_pot_holds_a_smaller_share_and_never_less_than_its_top(height: float, more: float) -> None:
    for medium in (ROOT, COARSE_PERLITE, FINE_PERLITE):
        held = medium.drained(height)
        assert medium.drained(height + more) < held
        assert medium.content(height) < held <= medium.points[0][1]


def test_five_gallons_are_a_pot_of_a_foot_or_less() -> None:
    """A cylinder 0.82 as high as wide: 18.927 L are 30.86 cm wide and 25.30 cm high, by hand."""
    height_cm = usual_height_cm(18.927)

    assert height_cm == pytest.approx(25.30, abs=0.01)
    assert 3.14159265 / 4 * (height_cm / 0.82) ** 2 * height_cm / 1000 == pytest.approx(18.927, rel=1e-6)
