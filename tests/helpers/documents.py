"""JSON documents against the branch of the shipped schema that is their verb's; the whole tries them all."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import jsonschema

from receiver_sim.results import json_schema


@cache
def validator(verb: str) -> jsonschema.Draft202012Validator:
    """Return the validator of a verb's documents. Raises if the shipped schema has not just one for it."""
    whole = json.loads(json_schema.PATH.read_text(encoding="utf-8"))
    (own,) = [one for one in whole["oneOf"] if one["properties"]["verb"] == {"const": verb}]
    return jsonschema.Draft202012Validator({**own, "$schema": whole["$schema"], "$defs": whole["$defs"]})


def conforming(text: str, verb: str) -> dict[str, Any]:
    """Return the one document that a text holds, after holding it against the schema of its verb."""
    document: dict[str, Any] = json.loads(text)
    assert document["verb"] == verb
    validator(verb).validate(document)
    return document
