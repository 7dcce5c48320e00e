"""A wall clock that somebody sets is noticed, one that is only steered is not."""

from waaler.devices.clock import WallSteps
from waaler.guard.messages import Instant

NOON_S = 1_782_900_000.0


def test_a_steered_clock_was_not_set() -> None:
    wall = WallSteps(Instant(0.0, NOON_S))

    assert wall.step_s(Instant(60.0, NOON_S + 60.4)) == 0.0


def test_a_clock_that_was_set_is_told_once_with_how_far() -> None:
    wall = WallSteps(Instant(0.0, NOON_S))

    assert wall.step_s(Instant(60.0, NOON_S + 60.0 + 3600.0)) == 3600.0
    assert wall.step_s(Instant(61.0, NOON_S + 61.0 + 3600.0)) == 0.0


def test_a_clock_that_was_set_back_is_told_as_negative() -> None:
    wall = WallSteps(Instant(0.0, NOON_S))

    assert wall.step_s(Instant(60.0, NOON_S - 86_340.0)) == -86_400.0
