"""Writes a value into the text of a file, and leaves every other letter of it as it is: comments, order, quotes."""

from collections.abc import Mapping
from typing import Any

import yaml

from waaler.settings.text import Path

__all__ = ["with_value", "written"]


def with_value(text: str, path: Path, value: Any) -> str:
    """The text with this value at this path; the section that holds it must be there.

    A mapping sets its keys one by one and keeps the others.

    Raises: KeyError where the path leads to no section.
    """
    node = _find(yaml.compose(text, Loader=yaml.SafeLoader), path[:-1])
    if not isinstance(node, yaml.MappingNode):
        raise KeyError(path)
    old = _value_of(node, str(path[-1]))
    if old is None:
        return _inserted(text, node, f"{path[-1]}: {written(value)}")
    if isinstance(value, Mapping) and isinstance(old, yaml.MappingNode) and old.value:
        for key, inner in value.items():
            text = with_value(text, (*path, key), inner)
        return text
    start, end = old.start_mark.index, _end(old)
    return f"{text[:start]}{written(value)}{text[end:]}"


def written(value: Any) -> str:
    """As it stands in one line of a file: `{dry: 820, wet: 380}`."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {written(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(written(inner) for inner in value) + "]"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _find(node: yaml.Node | None, path: Path) -> yaml.Node | None:
    for part in path:
        if isinstance(node, yaml.MappingNode):
            node = _value_of(node, str(part))
        elif isinstance(node, yaml.SequenceNode) and isinstance(part, int) and part < len(node.value):
            node = node.value[part]
        else:
            raise KeyError(path)
    return node


def _value_of(node: yaml.MappingNode, key: str) -> yaml.Node | None:
    found: yaml.Node | None = next((value for name, value in node.value if name.value == key), None)
    return found


def _end(node: yaml.Node) -> int:
    """Where its text ends; YAML lets a block end only where the next thing begins, comments included."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(node, yaml.MappingNode) else last)
    return int(node.end_mark.index)


def _inserted(text: str, node: yaml.MappingNode, entry: str) -> str:
    """Behind the last key of a section: in its braces, or as a line of its own with the same indent."""
    if node.flow_style:
        end = _end(node.value[-1][1]) if node.value else node.start_mark.index + 1
        return f"{text[:end]}{', ' if node.value else ''}{entry}{text[end:]}"
    end = _end(node)
    line_end = text.find("\n", end)
    line_end = len(text) if line_end < 0 else line_end
    return f"{text[:line_end]}\n{' ' * node.value[0][0].start_mark.column}{entry}{text[line_end:]}"
