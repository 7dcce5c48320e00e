"""From pydantic's findings to faults with a place and a remedy."""

from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from waaler.settings.faults import Fault
from waaler.settings.models import BedFile
from waaler.settings.moved import moved_to
from waaler.settings.text import Path, Source

__all__ = ["faults_of"]


def faults_of(problem: ValidationError, source: Source) -> tuple[Fault, ...]:
    """One fault for each finding; of the findings about one place only the first."""
    found: dict[tuple[int, int], Fault] = {}
    for error in problem.errors(include_url=False):
        fault = _fault(error, source)
        found.setdefault((fault.line, fault.column), fault)
    return tuple(found.values())


def _fault(error: Any, source: Source) -> Fault:
    path = _in_file(tuple(error["loc"]), source)
    kind, context = error["type"], error.get("ctx", {})
    if kind == "fault":
        return source.fault(path, _named(path, context["what"]), context["remedy"])
    if kind == "extra_forbidden":
        remedy = moved_to(path, source.values) or _nearest(path)
        return source.fault(path, f"'{path[-1]}' is no key here", remedy, is_key=True)
    if kind == "missing":
        missing = error["loc"][-1]
        return source.fault(path, f"'{missing}' is missing{_where(path)}", f"add `{missing}: ...`", is_key=True)
    if kind == "literal_error":
        return source.fault(path, _named(path, "this value is not known"), f"write {context['expected']}")
    if kind in ("too_short", "too_long"):
        return source.fault(path, _named(path, "this list has the wrong length"), _length(context))
    return source.fault(path, _named(path, "this is not what belongs here"), _expected(kind))


def _in_file(loc: tuple[Any, ...], source: Source) -> Path:
    """Without pydantic's own tags of unions; a missing key ends at its parent."""
    path: Path = ()
    for part in loc:
        if (*path, part) in source.places:
            path = (*path, part)
    return path


def _named(path: Path, what: str) -> str:
    name = ".".join(str(part) for part in path if isinstance(part, str))
    return f"{name}: {what}" if name else what


def _where(path: Path) -> str:
    name = ".".join(str(part) for part in path if isinstance(part, str))
    return f" in {name}" if name else ""


def _nearest(path: Path) -> str:
    known = sorted(_keys_at(path[:-1]))
    close = get_close_matches(str(path[-1]), known, n=1, cutoff=0.6)
    return f"write '{close[0]}'" if close else f"known here: {', '.join(known)}"


def _keys_at(path: Path) -> set[str]:
    """The keys that the section at this path knows."""
    models: list[type[BaseModel]] = [BedFile]
    for part in path:
        if isinstance(part, str):
            models = [inner for model in models for inner in _inner(model, part)]
    return {field.alias or name for model in models for name, field in model.model_fields.items()}


def _inner(model: type[BaseModel], key: str) -> list[type[BaseModel]]:
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    return [] if key not in fields else _models_in(fields[key].annotation)


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models_in(inner)]


def _length(context: dict[str, Any]) -> str:
    low, high = context.get("min_length"), context.get("max_length")
    if low is not None and high is None:
        return f"write at least {low}"
    return f"write at most {high}" if low is None else f"write {low} to {high}"


def _expected(kind: str) -> str:
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return "write keys and values here, indented"
    return (
        "write a list here: one entry a line after a hyphen, or [a, b]"
        if kind == "list_type"
        else "see the example"
    )
