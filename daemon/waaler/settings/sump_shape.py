"""A sump's marks written as depths: what volume each is, by the sump's shape."""

from typing import Any

from waaler.bed.sump import SumpShape, upright
from waaler.settings.units import LENGTH, VOLUME, UnitError, amount

__all__ = ["in_litres"]

MARKS = ("brim", "full", "low", "empty")


def in_litres(values: dict[str, Any]) -> dict[str, Any]:
    """The section as written, with every mark that is a depth told in litres.

    What cannot be read, or lies outside of the shape's points, stays as it is: the mark's own reader tells of it.
    """
    try:
        shape = _shape(values)
    except (UnitError, TypeError, ValueError):
        return values
    if shape is None:
        return values
    return {key: _mark(value, shape) if key in MARKS else value for key, value in values.items()}


def _shape(values: dict[str, Any]) -> SumpShape | None:
    if values.get("floor") is not None:
        length_m, width_m = (amount(str(text), LENGTH) for text in values["floor"])
        return upright(length_m, width_m)
    if values.get("points") is None:
        return None
    points = sorted((amount(str(depth), LENGTH), amount(str(volume), VOLUME)) for depth, volume in values["points"])
    return SumpShape(tuple(points))


def _mark(value: Any, shape: SumpShape) -> Any:
    try:
        litres = shape.litres(amount(str(value), LENGTH))
    except UnitError:
        return value
    return value if litres is None else f"{litres:.4f} L"
