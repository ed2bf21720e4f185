"""Makes what ships ready-made: the JSON Schema of the build file, by which editors complete keys and mark
slips, and the scales of the units.

Run `python -m receiver_sim.schema.generate` after a change to the models; tests prove the shipped files up
to date.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pint

from receiver_sim.schema.build import Build
from receiver_sim.schema.quantity import UNITS_FILE, plain_units

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


def units_text() -> str:
    """Return the scales of the units that builds and cards are read in, as pint gives them."""
    registry: Any = pint.UnitRegistry(cache_folder=None)
    rows = []
    for unit, base in plain_units():
        worth = float(registry.Quantity(1, unit).to(base).magnitude)
        # pint's routes differ in the sixteenth figure: 15 settle it
        rows.append(f"{unit},{base},{Decimal(f'{worth:.15g}').normalize():f}")
    return "\n".join(["unit,base,scale", *rows, ""])


def main() -> None:
    """Write the JSON Schema and the table of units beside this module."""
    SCHEMA_FILE.write_text(build_schema_text(), encoding="utf-8")
    UNITS_FILE.write_text(units_text(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
