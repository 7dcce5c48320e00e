"""A day over the bed: what the plants drink, how that is spread over its hours, and how warm the air is."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate
from math import cos, pi

__all__ = ["MEAN_C", "SWING_C", "Sky", "air_by_hour", "shares_of_daylight"]

MEAN_C, SWING_C = 22.0, 6.0
"""An ordinary day in the tunnel. Common practice, no source."""

WARMEST_H = 15.0
DAWN_H, DUSK_H = 6.0, 20.0


@lru_cache(maxsize=1024)
def shares_of_daylight(dawn_h: float = DAWN_H, dusk_h: float = DUSK_H) -> tuple[float, ...]:
    """The share of a day's drink, or of its light, in each of the 24 hours: a half sine from dawn to dusk.

    Hours of the local day; a day without a night or without a sun is spread evenly. Source: common practice, none.
    """
    dawn_h, dusk_h = max(0.0, dawn_h), min(24.0, dusk_h)
    if not dusk_h > dawn_h:
        return (1 / 24,) * 24

    def until(hour: float) -> float:
        part = (min(max(hour, dawn_h), dusk_h) - dawn_h) / (dusk_h - dawn_h)
        return (1 - cos(pi * part)) / 2

    return tuple(until(hour + 1) - until(hour) for hour in range(24))


@lru_cache(maxsize=1024)
def air_by_hour(mean_c: float = MEAN_C, swing_c: float = SWING_C) -> tuple[float, ...]:
    """Air at each full hour, warmest at 15 h. Common practice, no source."""
    return tuple(mean_c + swing_c * cos(2 * pi * (hour - WARMEST_H) / 24) for hour in range(24))


@dataclass(frozen=True)
class Sky:
    """drinks_l: of each pot in the whole day. evaporates_l: of the open water. light_mj_per_m2: of the day, at the
    plants.

    shares: of all three in each hour; they add up to 1. air_c: at each full hour.
    """

    drinks_l: tuple[float, ...]
    evaporates_l: float = 0.0
    light_mj_per_m2: float = 0.0
    shares: tuple[float, ...] = shares_of_daylight()
    air_c: tuple[float, ...] = air_by_hour()
    _sums: Sequence[float] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_sums", (0.0, *accumulate(self.shares)))

    def share(self, hour: float, seconds: float) -> float:
        """Of the day's total, from this hour (0 to 24) on; what lies past midnight goes by the same day's hours."""
        end = hour + seconds / 3600
        days = int(end // 24)
        return days * self._sums[24] + self._until(end - 24 * days) - self._until(hour)

    def air_at(self, hour: float) -> float:
        """Degrees Celsius, between two hours on a straight line."""
        n = int(hour)
        part = hour - n
        return self.air_c[n] * (1 - part) + self.air_c[(n + 1) % 24] * part

    def light_w_per_m2(self, hour: float) -> float:
        """At the plants, the mean of the hour."""
        return self.light_mj_per_m2 * self.shares[min(int(hour), 23)] * 1e6 / 3600

    def _until(self, hour: float) -> float:
        n = min(int(hour), 23)
        return self._sums[n] + (hour - n) * self.shares[n]
