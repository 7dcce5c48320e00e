"""A sump's marks written as depths: what volume each is, by the sump's shape."""

from bisect import bisect_left
from collections.abc import Callable
from typing import Any

from waaler.settings.units import LENGTH, VOLUME, UnitError, amount

__all__ = ["in_litres"]

MARKS = ("brim", "full", "low", "empty")


def in_litres(values: dict[str, Any]) -> dict[str, Any]:
    """The section as written, with every mark that is a depth told in litres.

    What cannot be read, or lies outside of the shape's points, stays as it is: the mark's own reader tells of it.
    """
    try:
        litres_at = _shape(values)
    except (UnitError, TypeError, ValueError):
        return values
    if litres_at is None:
        return values
    return {key: _mark(value, litres_at) if key in MARKS else value for key, value in values.items()}


def _shape(values: dict[str, Any]) -> Callable[[float], float | None] | None:
    """Litres by depth in metres; None outside of what is known."""
    if values.get("floor") is not None:
        length_m, width_m = (amount(str(text), LENGTH) for text in values["floor"])
        return lambda depth_m: 1000 * length_m * width_m * depth_m
    if values.get("points") is None:
        return None
    points = sorted((amount(str(depth), LENGTH), amount(str(volume), VOLUME)) for depth, volume in values["points"])
    return lambda depth_m: _between(points, depth_m)


def _between(points: list[tuple[float, float]], depth_m: float) -> float | None:
    """Along straight lines between the points."""
    after = bisect_left(points, (depth_m, 0.0))
    if after < len(points) and points[after][0] == depth_m:
        return points[after][1]
    if not 0 < after < len(points):
        return None
    (low_m, low_l), (high_m, high_l) = points[after - 1], points[after]
    return low_l + (depth_m - low_m) / (high_m - low_m) * (high_l - low_l)


def _mark(value: Any, litres_at: Callable[[float], float | None]) -> Any:
    try:
        litres = litres_at(amount(str(value), LENGTH))
    except UnitError:
        return value
    return value if litres is None else f"{litres:.4f} L"
