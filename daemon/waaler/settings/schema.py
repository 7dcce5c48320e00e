"""The JSON Schema of a bed's file, so that editors complete and check it."""

import json
from typing import Any

from waaler.settings.meanings import MEANINGS
from waaler.settings.models import BedFile
from waaler.settings.section import Section

__all__ = ["schema", "schema_text"]


def schema() -> dict[str, Any]:
    for section in Section.__subclasses__():
        section.model_rebuild()  # the library before 2.14 cannot write down a default whose class waits to be built
    made = BedFile.model_json_schema(by_alias=True)
    _say(made, "BedFile")
    for name, section in made["$defs"].items():
        _say(section, name)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made, "title": "A bed's file"}


def schema_text() -> str:
    """As it stands in config/bed.schema.json."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


def _say(section: dict[str, Any], name: str) -> None:
    """What a key means stands before what kind of value it takes."""
    for key, found in section.get("properties", {}).items():
        meaning = MEANINGS.get(f"{name}.{key}")
        if meaning is not None:
            kind = found.get("description")
            found["description"] = meaning if kind is None else f"{meaning} ({kind})"
