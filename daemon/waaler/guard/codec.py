"""Frozen values to JSON and back, by their type hints: for the pipe between the processes, journal and status.

Dataclasses and mappings become objects, tuples and sets become lists, enums their values, moments RFC 3339 to the
second. What does not fit its type is refused.
"""

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

__all__ = ["Misfit", "packed", "unpacked"]


class Misfit(ValueError):
    """A value that does not fit the type it should have."""


def packed(value: Any) -> Any:
    """What `json.dumps` takes."""
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, tuple):
        return [packed(item) for item in value]
    if isinstance(value, frozenset):
        return sorted((packed(item) for item in value), key=repr)
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, Mapping):
        return {name: packed(item) for name, item in value.items()}
    return {name: packed(getattr(value, name)) for name in _names(value.__class__)}


def unpacked(kind: Any, data: Any, is_open: bool = False) -> Any:
    """The value of this type. A field that is missing takes its default. Raises Misfit.

    is_open: fields that this version does not know are left out, instead of refused.
    """
    return _reader(kind, is_open)(data)


@cache
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


@cache
def _reader(kind: Any, is_open: bool) -> Callable[[Any], Any]:
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (UnionType, Union):
        return _either([_reader(argument, is_open) for argument in arguments])
    if origin is tuple and arguments[-1] is ...:
        item = _reader(arguments[0], is_open)
        return lambda data: tuple(item(one) for one in _list(data))
    if origin is tuple:
        readers = [_reader(argument, is_open) for argument in arguments]
        return lambda data: tuple(read(one) for read, one in zip(readers, _list(data, len(readers)), strict=True))
    if origin is frozenset:
        member = _reader(arguments[0], is_open)
        return lambda data: frozenset(member(one) for one in _list(data))
    if origin is Mapping:
        value = _reader(arguments[1], is_open)
        return lambda data: {str(name): value(one) for name, one in _dict(data).items()}
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _enum(kind)
    if is_dataclass(kind):
        return _object(kind, is_open)
    return _moment if kind is datetime else _plain(kind)


def _list(data: Any, length: int | None = None) -> list[Any]:
    if not isinstance(data, list) or (length is not None and len(data) != length):
        raise Misfit(f"no list of its length: {data!r:.60}")
    return data


def _dict(data: Any) -> dict[Any, Any]:
    if not isinstance(data, dict):
        raise Misfit(f"no object: {data!r:.60}")
    return data


def _moment(data: Any) -> datetime:
    try:
        moment = datetime.fromisoformat(data)
    except (TypeError, ValueError):
        raise Misfit(f"no moment: {data!r:.60}") from None
    if moment.tzinfo is None:
        raise Misfit(f"a moment without offset: {data!r:.60}")
    return moment


def _plain(kind: Any) -> Callable[[Any], Any]:
    def read(data: Any) -> Any:
        if kind is NoneType and data is None:
            return None
        is_number = kind is float and type(data) in (int, float) and data == data
        if is_number:
            return float(data)
        if kind in (int, str, bool) and type(data) is kind:
            return data
        raise Misfit(f"not {kind.__name__}: {data!r:.60}")

    return read


def _enum(kind: type[Enum]) -> Callable[[Any], Any]:
    def read(data: Any) -> Any:
        try:
            return kind(data)
        except ValueError as problem:
            raise Misfit(str(problem)) from None

    return read


def _either(readers: list[Callable[[Any], Any]]) -> Callable[[Any], Any]:
    def read(data: Any) -> Any:
        for one in readers:
            try:
                return one(data)
            except Misfit:
                continue
        raise Misfit(f"none of its types: {data!r:.60}")

    return read


def _object(kind: Any, is_open: bool) -> Callable[[Any], Any]:
    hints: dict[str, Callable[[Any], Any]] = {}

    def read(data: Any) -> Any:
        if not hints:
            known = get_type_hints(kind)
            hints.update({name: _reader(known[name], is_open) for name in _names(kind)})
        if not isinstance(data, dict) or not (is_open or data.keys() <= hints.keys()):
            raise Misfit(f"no {kind.__name__}: {data!r:.60}")
        try:
            return kind(**{name: hints[name](value) for name, value in data.items() if name in hints})
        except TypeError as problem:
            raise Misfit(str(problem)) from None

    return read
