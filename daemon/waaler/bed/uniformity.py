"""How alike the outlets are: the published figures, in per cent."""

from collections.abc import Sequence
from math import floor
from statistics import fmean, stdev

__all__ = ["christiansen_percent", "low_quarter_percent", "statistical_percent"]


def christiansen_percent(volumes: Sequence[float]) -> float:
    """Christiansen's coefficient, CU = 100 (1 - sum|x - m| / (n m)).

    Source: Christiansen 1942, Calif. Agr. Exp. Sta. Bull. 670.
    """
    mean = _mean(volumes)
    return 100 * (1 - sum(abs(x - mean) for x in volumes) / (len(volumes) * mean))


def low_quarter_percent(volumes: Sequence[float]) -> float:
    """Low-quarter distribution uniformity: mean of the lowest quarter by the mean of all.

    Of a count that four does not divide, the quarter is rounded, half up, and one at least. In a field evaluation
    this is the emission uniformity too. Source: Keller and Bliesner 2000.
    """
    mean = _mean(volumes)
    quarter = max(1, floor(len(volumes) / 4 + 0.5))
    return 100 * fmean(sorted(volumes)[:quarter]) / mean


def statistical_percent(volumes: Sequence[float]) -> float:
    """Statistical uniformity, 100 (1 - s/m) with the sample's standard deviation.

    Source: Bralts and others; ASAE EP458 (from memory).
    """
    mean = _mean(volumes)
    return 100 * (1 - stdev(volumes) / mean)


def _mean(volumes: Sequence[float]) -> float:
    """Raises ValueError where nothing was caught at all."""
    if len(volumes) < 2 or not sum(volumes) > 0:
        raise ValueError("uniformity wants two outlets or more and some water")
    return fmean(volumes)
