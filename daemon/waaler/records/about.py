"""What an alert knows, as text in the records and back."""

import json
from dataclasses import asdict, fields
from typing import get_args

from waaler.core.alert import About

__all__ = ["about_of", "as_text"]

KINDS = {kind.__name__: kind for kind in get_args(About) if kind is not type(None)}
PLAIN: dict[object, tuple[type, ...]] = {
    str: (str,),
    bool: (bool,),
    int: (int,),
    float: (int, float),
    tuple[str, ...]: (list,),
}


def as_text(about: About) -> str | None:
    return None if about is None else json.dumps({"is": type(about).__name__, **asdict(about)})


def about_of(text: str | None) -> About:
    """None too for what is damaged, or of another version."""
    try:
        values = json.loads(text or "null")
        kind = KINDS[values.pop("is")]
        known = {one.name: _taken(values[one.name], PLAIN[one.type]) for one in fields(kind)}
        made: About = kind(**known)
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
    return made


def _taken(value: object, kinds: tuple[type, ...]) -> object:
    """Raises TypeError for a value of another kind."""
    if type(value) not in kinds:
        raise TypeError(f"{value!r} is of another kind")
    return tuple(map(str, value)) if isinstance(value, list) else value
