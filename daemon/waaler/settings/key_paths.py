"""The keys of the file by their paths: `limits.rest`, `plan[].water`, `layout.line.legs[].header.bore`."""

from collections.abc import Iterator
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from waaler.settings.section import Section

__all__ = ["is_list", "key_paths", "section_of", "walk"]


def key_paths(section: type[Section], path: str = "") -> Iterator[str]:
    """Every key below a section that holds a value; `[]` marks a list of sections."""
    for name, field in section.model_fields.items():
        here = f"{path}.{field.alias or name}".lstrip(".")
        inner = section_of(field)
        if inner is None:
            yield here
        else:
            yield from key_paths(inner, f"{here}[]" if is_list(field.annotation) else here)


def section_of(field: FieldInfo) -> type[Section] | None:
    """The section that a key holds, alone or in a list; None for a value."""
    found = (thing for thing in walk(field.annotation) if isinstance(thing, type) and issubclass(thing, Section))
    return next(found, None)


def walk(annotation: Any) -> Iterator[Any]:
    """The classes, values and marks that an annotation is made of."""
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *marks = get_args(annotation)
        yield from walk(inner)
        yield from marks
    elif origin is not None and origin is not Literal:
        for inner in get_args(annotation):
            yield from walk(inner)
    else:
        yield annotation


def is_list(annotation: Any) -> bool:
    origin = get_origin(annotation)
    if origin in (Union, UnionType, Annotated):
        return any(is_list(inner) for inner in get_args(annotation))
    return origin is list
