"""What a sensor's counts mean: straight lines between measured points."""

from bisect import bisect_left
from dataclasses import dataclass

__all__ = ["Scale"]


@dataclass(frozen=True, slots=True)
class Scale:
    """points: (counts, value), two at least, in the order of their counts, which all differ."""

    points: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, *points: tuple[float, float]) -> "Scale":
        """From points in any order. Raises ValueError for fewer than two, and for two with the same counts."""
        ordered = tuple(sorted(points))
        if len({counts for counts, _ in ordered}) < max(2, len(ordered)):
            raise ValueError("a scale needs two points at least, each with its own counts")
        return cls(ordered)

    def value(self, counts: float) -> float:
        """By the line between the points around; beyond the last points their line goes on."""
        after = bisect_left(self.points, (counts, 0.0))
        after = min(max(after, 1), len(self.points) - 1)
        (low, low_value), (high, high_value) = self.points[after - 1], self.points[after]
        return low_value + (counts - low) * (high_value - low_value) / (high - low)

    @property
    def inverse(self) -> "Scale":
        """Counts by value, of a scale that is monotonic."""
        return Scale.of(*((value, counts) for counts, value in self.points))

    @property
    def is_monotonic(self) -> bool:
        """Whether its values only rise or only fall, so that each has one meaning."""
        values = [value for _, value in self.points]
        return values in (sorted(values), sorted(values, reverse=True)) and len(set(values)) == len(values)
