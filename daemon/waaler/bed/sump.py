"""The shape of a sump: which depth holds how much."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["DRIP_MIN", "SumpShape", "upright"]

DEEPEST_M = 30.0
DRIP_MIN = 1.0
"""Time constant of what drips out of a pot above its capacity, as a share of what is left. Common practice, no
source."""


@dataclass(frozen=True, slots=True)
class SumpShape:
    """points: depth in metres and litres, both rising; straight lines between them."""

    points: tuple[tuple[float, float], ...]

    def litres(self, depth_m: float) -> float | None:
        """None outside of what is known."""
        return _between(self.points, depth_m)

    def depth_m(self, litres: float) -> float | None:
        """None outside of what is known."""
        return _between([(volume_l, depth_m) for depth_m, volume_l in self.points], litres)


def upright(length_m: float, width_m: float) -> SumpShape:
    """A sump with upright walls."""
    return SumpShape(((0.0, 0.0), (DEEPEST_M, 1000 * length_m * width_m * DEEPEST_M)))


def _between(points: Sequence[tuple[float, float]], x: float) -> float | None:
    after = bisect_left(points, (x, float("-inf")))
    if after < len(points) and points[after][0] == x:
        return points[after][1]
    if not 0 < after < len(points):
        return None
    (low, low_y), (high, high_y) = points[after - 1], points[after]
    return low_y + (x - low) / (high - low) * (high_y - low_y)
