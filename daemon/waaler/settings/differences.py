"""What an edit changed, in the file's own words: `plan.daylight.cycles: 5 -> 6`."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic.fields import FieldInfo

from waaler.settings.edit import written
from waaler.settings.key_paths import is_list, key_paths, section_of, walk
from waaler.settings.reference import bounds_of, default_text
from waaler.settings.section import Bounds, Section
from waaler.settings.settings import Settings
from waaler.settings.text import Path, Value

__all__ = ["Change", "differences"]

NAMES = ("window", "name", "outlet")
"""What the items of a list are known by; others by their place in it, counted from 1."""

NOT_GIVEN = "not given"
HIDDEN = "..."
SECRET = frozenset({"url"})
"""An address may hold a token: the history tells that it changed, not to what."""

LONGEST = 100


@dataclass(frozen=True, slots=True)
class Change:
    """path: as people read it, `plan.daylight.cycles`. keys: of the schema, those that the change is about.

    before, after: as the file writes the values.
    """

    path: str
    keys: tuple[str, ...]
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.path}: {self.before} -> {self.after}"


def differences(before: Settings, after: Settings) -> tuple[Change, ...]:
    """Every value that differs, defaults and what is worked out from others included; how it is written is not."""
    sides = _Side(before.source.values), _Side(after.source.values)
    return (
        *_of_section(before.file, after.file, sides, "", ""),
        *_limits(before, after),
        *_doses(before, after),
    )


@dataclass(frozen=True, slots=True)
class _Side:
    """The values of a file as they are written, and where in them we are."""

    values: Value
    path: Path = ()

    def below(self, *path: str | int) -> "_Side":
        return _Side(self.values, (*self.path, *path))

    @property
    def found(self) -> Value:
        value = self.values
        for part in self.path:
            if isinstance(value, dict):
                value = value.get(str(part))
            elif isinstance(value, list) and isinstance(part, int) and part < len(value):
                value = value[part]
            else:
                return None
        return value


Sides = tuple[_Side, _Side]


def _of_section(before: Section, after: Section, sides: Sides, path: str, key: str) -> Iterator[Change]:
    """path: the section's, as people read it; key: as the schema has it."""
    for name, field in type(after).model_fields.items():
        alias = field.alias or name
        here, key_here = f"{path}.{alias}".lstrip("."), f"{key}.{alias}".lstrip(".")
        inner_sides = sides[0].below(alias), sides[1].below(alias)
        yield from _of_value(getattr(before, name), getattr(after, name), inner_sides, here, key_here, field)


def _of_value(before: Any, after: Any, sides: Sides, path: str, key: str, field: FieldInfo) -> Iterator[Change]:
    inner = section_of(field)
    if before == after:
        return
    if inner is None:
        yield Change(path, (key,), *_told(before, after, sides, field))
    elif is_list(field.annotation):
        yield from _of_list(before, after, sides, path, f"{key}[]", inner)
    elif isinstance(before, Section) and isinstance(after, Section):
        yield from _of_section(before, after, sides, path, key)
    else:
        yield _whole(path, key, inner, sides[0].found, sides[1].found)


def _of_list(
    before: Sequence[Section], after: Sequence[Section], sides: Sides, path: str, key: str, inner: type[Section]
) -> Iterator[Change]:
    """Items of one name are the same thing, wherever they stand."""
    labels = _labels(before), _labels(after)
    for label, old, new in _pairs(*labels):
        here = f"{path}.{label}"
        if old is not None and new is not None:
            item_sides = sides[0].below(old), sides[1].below(new)
            yield from _of_section(before[old], after[new], item_sides, here, key)
        else:
            gone = None if old is None else sides[0].below(old).found
            come = None if new is None else sides[1].below(new).found
            yield _whole(here, key, inner, gone, come)
    kept = [[label for label in one if label in labels[0] and label in labels[1]] for one in labels]
    if kept[0] != kept[1]:
        yield Change(path, tuple(key_paths(inner, key)), ", ".join(kept[0]), ", ".join(kept[1]))


def _pairs(before: list[str], after: list[str]) -> Iterator[tuple[str, int | None, int | None]]:
    """Each item with its place before and after. One that has another name where it stood was given that name."""
    for n, label in enumerate(before):
        if label in after:
            yield label, n, after.index(label)
        else:
            is_renamed = n < len(after) and after[n] not in before
            yield label, n, n if is_renamed else None
    for n, label in enumerate(after):
        if label not in before and not (n < len(before) and before[n] not in after):
            yield label, None, n


def _labels(items: Sequence[Section]) -> list[str]:
    """What each item is called: its name where all have one of their own, else its place."""
    for name in NAMES:
        found = [str(getattr(item, name)) for item in items if hasattr(item, name)]
        if len(set(found)) == len(items):
            return found
    return [str(n + 1) for n in range(len(items))]


def _whole(path: str, key: str, inner: type[Section], before: Value, after: Value) -> Change:
    """A section that is there on one side alone."""
    return Change(path, tuple(key_paths(inner, key)), _shown(before), _shown(after))


def _told(before: Any, after: Any, sides: Sides, field: FieldInfo) -> tuple[str, str]:
    """Both values as written; where that is the same text, as what they mean: a depth in another sump."""
    if sides[0].path[-1] in SECRET:
        return HIDDEN, HIDDEN
    bounds = next((found for found in map(bounds_of, (*walk(field.annotation), *field.metadata)) if found), None)
    old, new = (_text(side.found, field, bounds) for side in sides)
    if old == new:
        return _meant(before, bounds), _meant(after, bounds)
    return old, new


def _text(found: Value, field: FieldInfo, bounds: Bounds | None) -> str:
    if found is None:
        return default_text(field.default, bounds) or NOT_GIVEN
    return _shown(found)


def _meant(value: Any, bounds: Bounds | None) -> str:
    return bounds.written(value) if bounds is not None and isinstance(value, int | float) else str(value)


def _shown(value: Value) -> str:
    """One line of the file, not endlessly long."""
    text = NOT_GIVEN if value is None else written(_without_secrets(value))
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def _without_secrets(value: Value) -> Value:
    if isinstance(value, dict):
        return {key: HIDDEN if key in SECRET else _without_secrets(inner) for key, inner in value.items()}
    return [_without_secrets(inner) for inner in value] if isinstance(value, list) else value


# --- what is worked out from other keys ------------------------------------------------------------


def _limits(before: Settings, after: Settings) -> Iterator[Change]:
    """The two limits that follow from the rest of the file where they are not given."""
    for key, old_s, new_s in (
        ("longest_run", before.limits.longest_run_s, after.limits.longest_run_s),
        ("most_per_day", before.limits.most_per_day_s, after.limits.most_per_day_s),
    ):
        is_given = [getattr(one.limits, key) is not None for one in (before.file, after.file)]
        if old_s != new_s and not all(is_given):
            path = f"limits.{key}"
            yield Change(f"{path}, worked out", (path,), _minutes(old_s), _minutes(new_s))


def _doses(before: Settings, after: Settings) -> Iterator[Change]:
    """A dose that is written by volume takes another time once the bed's flows are others."""
    old_s = {window.name: window.seconds for window in before.plan.windows}
    doses = {window.window: window.water for window in before.file.plan}
    for section, window in zip(after.file.plan, after.plan.windows, strict=True):
        is_same_dose = doses.get(window.name) == section.water
        if is_same_dose and old_s[window.name] != window.seconds:
            path = f"plan.{window.name}.water, worked out"
            yield Change(path, ("plan[].water",), f"{old_s[window.name]:g} s", f"{window.seconds:g} s")


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.3g} min"
