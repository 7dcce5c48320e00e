"""Reads YAML into plain values and keeps the place of every one.

Scalars stay the text that stands in the file: YAML itself would read `6:30` as 390 and `off` as false. What a file
of settings has no use for is refused: aliases, merge keys, keys that are not text, a key given twice, several
documents, great depth and great size.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from waaler.settings.faults import Fault, SettingsError
from waaler.settings.outside_file import MOST_SETTINGS_BYTES

__all__ = ["Path", "Source", "Value", "read"]

LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
MOST_DEPTH = 20

Value = dict[str, "Value"] | list["Value"] | str | None
Path = tuple[str | int, ...]
Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Source:
    """The values of a file and where each stands. keys: the place of a key itself."""

    name: str
    text: str
    values: Value
    places: dict[Path, Place] = field(default_factory=dict)
    keys: dict[Path, Place] = field(default_factory=dict)

    def place(self, path: Path, is_key: bool = False) -> Place:
        """Where this value (or key) stands; a missing one stands where its nearest parent does."""
        for length in range(len(path), -1, -1):
            found = self.keys.get(path[:length]) if is_key else None
            found = found or self.places.get(path[:length])
            if found is not None:
                return found
        return (1, 1)

    def fault(self, path: Path, what: str, remedy: str, is_key: bool = False) -> Fault:
        line, column = self.place(path, is_key)
        return Fault(self.name, line, column, what, remedy)


def read(text: str, name: str) -> Source:
    """The values of a YAML text; an empty one has no values. Raises SettingsError."""
    if len(text.encode("utf-8", "surrogatepass")) > MOST_SETTINGS_BYTES:
        raise SettingsError(
            (Fault(name, 1, 1, "the file is larger than 256 kB", "write only what differs from the defaults"),)
        )
    source = Source(name, text, None)
    faults: list[Fault] = []
    node = _compose(text, name)
    values = None if node is None else _Builder(source, faults).build(node, ())
    if faults:
        raise SettingsError(tuple(faults))
    return Source(name, text, values, source.places, source.keys)


class _Refused(yaml.YAMLError):
    """Something that YAML has and a file of settings has no use for."""

    def __init__(self, problem: str, mark: Any) -> None:
        self.problem, self.problem_mark, self.context_mark, self.context = problem, mark, None, None


def _compose(text: str, name: str) -> yaml.Node | None:
    try:
        if "\0" in text:
            raise yaml.reader.ReaderError(name, text.index("\0"), 0, "utf-8", "NUL character")
        _refuse_depth(text)
        node: yaml.Node | None = yaml.compose(text, Loader=LOADER)
        return node
    except (yaml.MarkedYAMLError, _Refused) as problem:
        mark = problem.problem_mark or problem.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        what = f"this is not YAML: {problem.problem or problem.context}"
        raise SettingsError(
            (Fault(name, line, column, what, "look at quotes, brackets and indents here"),)
        ) from None
    except yaml.YAMLError as problem:
        position = getattr(problem, "position", 0)
        line = text.count("\n", 0, position) + 1
        column = position - (text.rfind("\n", 0, position) + 1) + 1
        what = "a character that no YAML file may hold"
        raise SettingsError(
            (Fault(name, line, column, what, "remove it; save the file as plain UTF-8 text"),)
        ) from None


def _refuse_depth(text: str) -> None:
    """Walks the events, which do not recurse, before the nodes are composed, which do."""
    depth = 0
    for event in yaml.parse(text, Loader=LOADER):
        if isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            depth += 1
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            depth -= 1
        elif isinstance(event, yaml.AliasEvent):
            raise _Refused(f"an alias (*{event.anchor})", event.start_mark)
        if depth > MOST_DEPTH:
            raise _Refused(f"nested more than {MOST_DEPTH} deep", event.start_mark)


class _Builder:
    def __init__(self, source: Source, faults: list[Fault]) -> None:
        self._source, self._faults = source, faults

    def build(self, node: yaml.Node, path: Path) -> Value:
        self._source.places[path] = (node.start_mark.line + 1, node.start_mark.column + 1)
        if isinstance(node, yaml.MappingNode):
            return dict(self._entries(node, path))
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*path, n)) for n, item in enumerate(node.value)]
        assert isinstance(node, yaml.ScalarNode)
        is_plain_null = node.style is None and node.value in ("", "~", "null")
        return None if is_plain_null else str(node.value)

    def _entries(self, node: yaml.MappingNode, path: Path) -> Iterator[tuple[str, Value]]:
        seen: set[str] = set()
        for key, value in node.value:
            place = (key.start_mark.line + 1, key.start_mark.column + 1)
            if not isinstance(key, yaml.ScalarNode) or key.tag == "tag:yaml.org,2002:merge":
                self._refuse(place, "a key that is not plain text", "write a name and a colon")
                continue
            name = str(key.value)
            if name in seen:
                self._refuse(place, f"'{name}' is given twice", "keep one of them")
                continue
            seen.add(name)
            self._source.keys[(*path, name)] = place
            yield name, self.build(value, (*path, name))

    def _refuse(self, place: Place, what: str, remedy: str) -> None:
        self._faults.append(Fault(self._source.name, *place, what, remedy))
