"""The JSON Schema of the documents that the verbs print, made from the result classes.

`python -m receiver_sim.results.json_schema` writes it beside this file; a test proves the shipped one is up
to date.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal

from pydantic import TypeAdapter

from receiver_sim.results.audio import AudioStudy
from receiver_sim.results.bands import BandReport
from receiver_sim.results.bench_sheet import BenchSheet
from receiver_sim.results.calibration import Calibration
from receiver_sim.results.check import CheckReport
from receiver_sim.results.coils import CoilsReport, TapFind, WindingDesign
from receiver_sim.results.document import FORMAT
from receiver_sim.results.drawing import SchematicReport
from receiver_sim.results.envelope import Detection, OscillationReport, Sound
from receiver_sim.results.faults import FaultReport
from receiver_sim.results.file_answers import DeckExport, GuidePage, StarterBuild
from receiver_sim.results.hum import HumStudy
from receiver_sim.results.live import LiveAddress
from receiver_sim.results.page import PageReport
from receiver_sim.results.spread import Spread
from receiver_sim.results.supply import SupplyStudy
from receiver_sim.results.swap import SwapReport
from receiver_sim.results.tube_curves import TubeCurves
from receiver_sim.results.tubes import FitCheck, FitSummary, LeaveOneOut, TubeTable

VERBS: dict[str, Any] = {
    "audio": AudioStudy,
    "calibrate": Calibration,
    "check": CheckReport,
    "coils": CoilsReport,
    "deck": DeckExport,
    "detect": Detection,
    "draw": SchematicReport,
    "guide": GuidePage,
    "faults": FaultReport,
    "hum": HumStudy,
    "listen": Sound,
    "live": LiveAddress,
    "loop": tuple[BandReport, ...],
    "new": StarterBuild,
    "onset": OscillationReport,
    "spread": Spread,
    "page": PageReport,
    "sheet": BenchSheet,
    "supply": SupplyStudy,
    "tap": tuple[TapFind, ...],
    "swap": SwapReport,
    "tubes check": TubeTable,
    "tubes curves": TubeCurves,
    "tubes fit": tuple[FitSummary, ...],
    "tubes fit --check": tuple[FitCheck, ...],
    "tubes list": tuple[str, ...],
    "tubes predict": tuple[LeaveOneOut, ...],
    "tubes show": dict[str, Any],
    "wind": WindingDesign,
}
"""The type of `result` for each verb."""

PATH = Path(__file__).with_name("document.schema.json")


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of all documents."""
    mode: Literal["serialization"] = "serialization"
    adapters = [(verb, mode, TypeAdapter(kind)) for verb, kind in VERBS.items()]
    parts, definitions = TypeAdapter.json_schemas(adapters, ref_template="#/$defs/{model}")
    documents = [
        {
            "type": "object",
            "properties": {
                "format": {"const": FORMAT},
                "receiver_sim": {"type": "string"},
                "verb": {"const": verb},
                "units": {"type": "object", "additionalProperties": {"type": "string"}},
                "provenance": {"anyOf": [{"$ref": "#/$defs/Provenance"}, {"type": "null"}]},
                "cautions": {"type": "array", "items": {"type": "string"}, "minItems": 1},
                "warnings": {"type": "array", "items": {"type": "string"}},
                "files": {"type": "array", "items": {"type": "string"}},
                "result": parts[(verb, mode)],
            },
            "required": [
                "format",
                "receiver_sim",
                "verb",
                "units",
                "provenance",
                "cautions",
                "warnings",
                "files",
                "result",
            ],
            "additionalProperties": False,
        }
        for verb in VERBS
    ]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Document printed by receiver-sim --json",
        "oneOf": documents,
        "$defs": definitions["$defs"],
    }


def text() -> str:
    """Return the schema as the text of the shipped file."""
    return json.dumps(schema(), indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8")
