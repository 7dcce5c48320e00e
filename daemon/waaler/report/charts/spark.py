"""A line of text that rises and falls, for terminals."""

from collections.abc import Sequence

__all__ = ["spark_text"]

STEPS = "▁▂▃▄▅▆▇█"
NOTHING = "·"


def spark_text(values: Sequence[float | None], least: float, most: float) -> str:
    """One character a value; a dot where there is none."""
    return "".join(NOTHING if value is None else _step(value, least, most) for value in values)


def _step(value: float, least: float, most: float) -> str:
    share = 0.0 if most <= least else (value - least) / (most - least)
    return STEPS[min(len(STEPS) - 1, max(0, int(share * len(STEPS))))]
