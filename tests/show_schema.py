"""The JSON schema of show files, from declared fields: `python tests/show_schema.py` puts it beside the houses."""

import json
import math
from pathlib import Path
from typing import Any

from kit import fields, reference, toml_file
from kit.answers.show import SHOW
from kit.fields import Many, Number, OneOf
from kit.source import projector
from kit.toml_file import Record
from kit.wall.house_file import Corner

FILE = Path(__file__).parents[1] / "notebooks" / "houses" / "show.schema.json"


def show_schema() -> dict[str, Any]:
    """Return the JSON schema (draft 2020-12) of show files and house files, for an editor that completes names."""
    found = _schema(Record(fields=SHOW)) | {"required": []}
    found["anyOf"] = [{"required": ["house"]}, {"required": ["name", "units", "patch"]}]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "show file or house file"} | found


def _schema(spec: Any) -> dict[str, Any]:
    def listed(of: Any, least: int, most: int | None = None) -> dict[str, Any]:
        return {"type": "array", "items": _schema(of), "minItems": least} | ({"maxItems": most} if most else {})

    found: dict[str, Any] = {"type": "string"}
    match spec:
        case Record():
            needed = [name for name, own in spec.fields.items() if own.default is fields.MISSING and not own.optional]
            inner = {name: _schema(own) for name, own in spec.fields.items()}
            if "surface" in inner:
                inner["surface"] = {"anyOf": [{"enum": list(reference.names("surfaces"))}, inner["surface"]]}
            found = {"type": "object", "properties": inner, "required": needed, "additionalProperties": False}
        case fields.Band():
            found = {"anyOf": [_schema(spec.of), listed(spec.of, 3, 3)]}
        case toml_file.Named():
            found = {"type": "object", "additionalProperties": _schema(spec.of)}
        case Many():
            found = listed(spec.of, spec.least)
        case Corner():
            found = listed(spec.of, 2, 3)
        case fields.Vector() | fields.Range():
            length = getattr(spec, "length", 2)
            found = listed(spec.of, length, length)
        case projector.NumberOrRange():
            found = {"anyOf": [_schema(fields.THROW_RATIO), listed(fields.THROW_RATIO, 2, 2)]}
        case Number(unit="m"):
            found = {"type": ["number", "string"]}
        case Number():
            limits = {"minimum": spec.low, "maximum": spec.high, "exclusiveMinimum": spec.above}
            known = {name: limit for name, limit in limits.items() if limit is not None and math.isfinite(limit)}
            found = {"type": "integer" if spec.whole else "number"} | known
        case OneOf():
            found = {"enum": [*spec.names(), *spec.former]}
        case fields.Flag():
            found = {"type": "boolean"}
    unit, words = getattr(toml_file.innermost(spec), "unit", ""), spec.meaning or spec.label
    return found | ({"description": f"{words} [{unit}]" if unit and unit != "m" else words} if words else {})


if __name__ == "__main__":
    FILE.write_text(json.dumps(show_schema(), indent=1) + "\n", encoding="utf-8")
