"""The JSON Schema of a bed's file, so that editors complete and check it."""

import json
from typing import Any

from waaler.settings.models import BedFile

__all__ = ["schema", "schema_text"]


def schema() -> dict[str, Any]:
    made = BedFile.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made, "title": "A bed's file"}


def schema_text() -> str:
    """As it stands in config/bed.schema.json."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"
