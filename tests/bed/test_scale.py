"""Counts to values along straight lines."""

import pytest

from waaler.bed.scale import Scale


@pytest.mark.parametrize("points", [((1.0, 2.0),), ((1.0, 2.0), (1.0, 3.0)), ()])
def test_a_scale_without_two_different_counts_is_refused(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError):
        Scale.of(*points)


@pytest.mark.parametrize(
    ("counts", "percent"), [(820, 0), (600, 40), (380, 100), (710, 20), (490, 70), (842, -4), (369, 103)]
)
def test_values_lie_on_the_lines_between_points_and_beyond_them(counts: float, percent: float) -> None:
    assert Scale.of((820, 0), (600, 40), (380, 100)).value(counts) == pytest.approx(percent)


def test_a_scale_that_turns_back_is_known() -> None:
    assert Scale.of((820, 0), (600, 40), (380, 100)).is_monotonic
    assert not Scale.of((820, 0), (600, 110), (380, 100)).is_monotonic
    assert not Scale.of((820, 0), (600, 100), (380, 100)).is_monotonic
