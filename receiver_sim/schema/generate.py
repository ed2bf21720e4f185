"""Makes the JSON Schema of the build file, by which editors complete keys and mark slips.

Run `python -m receiver_sim.schema.generate` after a change to the models; a test proves the shipped file up
to date.
"""

from __future__ import annotations

import json
from pathlib import Path

from receiver_sim.schema.build import Build

SCHEMA_FILE = Path(__file__).with_name("build.schema.json")


def build_schema_text() -> str:
    """Return the JSON Schema (draft 2020-12) of the build file as text."""
    schema = Build.model_json_schema(by_alias=True)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "receiver_sim build file"}
    return json.dumps({**schema, **head}, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def main() -> None:
    """Write the JSON Schema beside this module."""
    SCHEMA_FILE.write_text(build_schema_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
