"""Makes the JSON Schema of the build file, by which editors complete keys and mark slips.

Run `python -m receiver_sim.schema.generate` after a change to the models; a test proves the shipped file up
to date.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from receiver_sim.schema.build import Build

SCHEMA_FILE = Path(__file__).with_name("build.schema.json")


def build_schema_text() -> str:
    """Return the JSON Schema (draft 2020-12) of the build file as text."""
    schema = _settled(Build.model_json_schema(by_alias=True))
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "receiver_sim build file"}
    return json.dumps({**schema, **head}, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def _settled(node: Any) -> Any:
    """Return the schema in one form whatever version of pydantic wrote it; titles and OpenAPI's tags go."""
    if isinstance(node, list):
        return [_settled(item) for item in node]
    if not isinstance(node, dict):
        return node
    drop = {"discriminator"} | ({"title"} if isinstance(node.get("title"), str) else set())
    plain = {key: _settled(value) for key, value in node.items() if key not in drop}
    if len(plain.get("allOf", ())) == 1:  # older: {"allOf": [{"$ref": ...}], ...}; newer: {"$ref": ..., ...}
        plain = {**plain.pop("allOf")[0], **plain}
    if plain.get("type") == "array":  # 2.5 writes the bounds of a tuple as those of a string
        for old, new in (("minLength", "minItems"), ("maxLength", "maxItems")):
            if old in plain:
                plain[new] = plain.pop(old)
    if "const" in plain:  # older: const alone; newer: with its type
        plain.pop("type", None)
        plain.pop("enum", None)
    return plain


def main() -> None:
    """Write the JSON Schema beside this module."""
    SCHEMA_FILE.write_text(build_schema_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
