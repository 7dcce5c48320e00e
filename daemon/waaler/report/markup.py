"""HTML and SVG, safe by construction: whatever is not Markup already is escaped, in text and in attributes."""

from html import escape

__all__ = ["Markup", "join", "tag"]

VOID = frozenset({"br", "hr", "input", "link", "meta"})


class Markup(str):
    """Text that is markup already. Only `tag`, `join` and constants of this package make it."""

    __slots__ = ()


def tag(name: str, /, *children: object, **attributes: object) -> Markup:
    """An element. Attributes: `class_` is class, `font_size` font-size; None and False are left out."""
    told = "".join(_attribute(key, value) for key, value in attributes.items())
    if name in VOID:
        return Markup(f"<{name}{told}>")
    return Markup(f"<{name}{told}>{join(*children)}</{name}>")


def join(*children: object) -> Markup:
    """Children in a row, lists flattened; None is left out."""
    return Markup("".join(_child(child) for child in children))


def _child(child: object) -> str:
    if child is None:
        return ""
    if isinstance(child, Markup):
        return child
    if isinstance(child, list | tuple):
        return join(*child)
    return escape(str(child))


def _attribute(key: str, value: object) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{escape(_number(value))}"'


def _number(value: object) -> str:
    """Short coordinates: a chart of a month has thousands."""
    return f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else str(value)
