"""Keys that stand elsewhere now: what to write instead, in the values that the file has."""

from collections.abc import Iterator
from typing import Any

from waaler.settings.text import Path, Value

__all__ = ["moved_to"]

USUAL_POTS = 14
ALL_OF_IT = "100 %"


def moved_to(path: Path, values: Value) -> str | None:
    """What to write instead of a key that is no longer known; None where it never was."""
    match path:
        case ("crops", int(), "pots" | "plants_per_pot") | ("layout", "pot" | "media_per_pot"):
            if isinstance(values, dict) and "pots" in values:
                return "write it with the pots, under `pots:` at the top level"
            return f"take it out, and write at the top level `pots: [{', '.join(_groups(values))}]`"
        case ("weather", "cover"):
            return (
                "write `shelter: film` at the top level, or net or glass; a measured share is `transmission:` here"
            )
        case ("layout", "holds"):
            return (
                "take it out: what a pot holds follows from its medium and height; write `medium:` with the pots,"
                " or weigh one and write `drained: 9.1 kg, droops: 7.4 kg`"
            )
        case _:
            return None


def _groups(values: Any) -> Iterator[str]:
    """The pots of a file of before: the crops stood in them in their written order, and the rest were empty."""
    layout = _section(values.get("layout"))
    size, left = _size(layout), _count(layout.get("pots"), USUAL_POTS)
    crops = [crop for crop in values.get("crops") or [] if isinstance(crop, dict)]
    for crop in crops:
        count = min(_count(crop.get("pots"), left), left)
        left -= count
        words = [f"count: {count}", *size, f"crop: {crop.get('name', 'NAME')}"]
        if "plants_per_pot" in crop:
            words.append(f"plants_per_pot: {crop['plants_per_pot']}")
        if count:
            yield f"{{{', '.join(words)}}}"
    if left or not crops:
        yield f"{{{', '.join([f'count: {left}', *size])}}}"


def _size(layout: dict[str, Any]) -> list[str]:
    if layout.get("media_per_pot"):
        return [f"nominal: {layout['media_per_pot']}", f"filled: {ALL_OF_IT}"]
    pot = _section(layout.get("pot"))
    return [f"{key}: {pot[key]}" for key in ("nominal", "filled", "bag") if pot.get(key)]


def _section(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _count(value: Any, default: int) -> int:
    return int(value) if isinstance(value, str) and value.isdecimal() else default
