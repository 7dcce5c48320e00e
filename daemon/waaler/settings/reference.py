"""Every key of the file, as people read it: for the manual."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic import WithJsonSchema
from pydantic.fields import FieldInfo

from waaler.settings.key_paths import is_list, section_of, walk
from waaler.settings.meanings import MEANINGS
from waaler.settings.models import BedFile
from waaler.settings.section import Bounds, Section

__all__ = ["Key", "Part", "bounds_of", "default_text", "parts"]

KINDS = {"integer": "a whole number", "number": "a number", "string": "text"}


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a section. default: as it would be written, None for none. below: the path that it leads to."""

    name: str
    kind: str
    limits: str
    default: str | None
    is_needed: bool
    meaning: str
    below: str | None


@dataclass(frozen=True, slots=True)
class Part:
    """A section of the file; path "" is the file itself, and `plan[].on_demand` one in each item of a list."""

    path: str
    about: str
    keys: tuple[Key, ...]


def parts() -> list[Part]:
    """The file and every section in it, each where it is first met."""
    return list(_parts(BedFile, "", {}))


def _parts(section: type[Section], path: str, places: dict[type[Section], str]) -> Iterator[Part]:
    """places: where each section that was met is told."""
    keys, new = [], []
    for name, field in section.model_fields.items():
        alias = field.alias or name
        inner = section_of(field)
        if inner is not None and inner not in places:
            places[inner] = f"{path}.{alias}{'[]' if is_list(field.annotation) else ''}".lstrip(".")
            new.append(inner)
        keys.append(_key(section, alias, field, None if inner is None else places[inner]))
    yield Part(path, " ".join((section.__doc__ or "").split()), tuple(keys))
    for inner in new:
        yield from _parts(inner, places[inner], places)


def _key(section: type[Section], alias: str, field: FieldInfo, below: str | None) -> Key:
    found = [*walk(field.annotation), *field.metadata]
    bounds = next((thing for thing in map(bounds_of, found) if thing is not None), None)
    return Key(
        alias,
        _kind(field, found),
        "" if bounds is None else bounds.told,
        default_text(field.default, bounds),
        field.is_required(),
        MEANINGS.get(f"{section.__name__}.{alias}", ""),
        below,
    )


def _kind(field: FieldInfo, found: list[Any]) -> str:
    choices = [choice for thing in found if get_origin(thing) is Literal for choice in get_args(thing)]
    schemas = [thing.json_schema or {} for thing in found if isinstance(thing, WithJsonSchema)]
    text = " or ".join(f"`{choice}`" for choice in choices) or _kind_of(schemas[0] if schemas else {})
    return f"a list: {text}" if is_list(field.annotation) and text else text or "a list"


def _kind_of(schema: dict[str, Any]) -> str:
    if "enum" in schema:
        return ", ".join(f"`{choice}`" for choice in schema["enum"])
    if schema.get("format") == "date":
        return "a date"
    if schema.get("description") == "free text":
        return "text"
    example = f", such as `{schema['examples'][0]}`" if "examples" in schema else ""
    return f"{schema.get('description') or KINDS.get(schema.get('type', ''), '')}{example}"


def bounds_of(thing: Any) -> Bounds | None:
    return getattr(getattr(thing, "func", None), "bounds", None)


def default_text(value: Any, bounds: Bounds | None) -> str | None:
    if isinstance(value, bool) or not isinstance(value, str | int | float | list) or value == []:
        return None
    if isinstance(value, int | float) and bounds is not None:
        return bounds.written(value)
    return str(value)
