"""The JSON document that every verb prints with `--json`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from receiver_sim import __version__
from receiver_sim.results import cautions
from receiver_sim.results.base import Provenance, plain

FORMAT = 1

UNITS = {
    "_v": "V",
    "_a": "A",
    "_w": "W",
    "_hz": "Hz",
    "_ohm": "ohm",
    "_siemens": "S",
    "_farad": "F",
    "_henry": "H",
    "_deg": "deg",
    "_per_v": "1/V",
    "_hz_per_deg": "Hz/deg",
    "_v_per_m": "V/m",
    "_s": "s",
    "_m": "m",
    "_k": "K",
    "_db": "dB",
    "_pa": "Pa",
}
"""Unit of a field by the end of its name; fields without such an end are plain numbers, counts or fractions.
"""


def document(
    verb: str,
    result: Any,
    *,
    provenance: Provenance | None = None,
    warnings: Sequence[str] = (),
    files: Sequence[str] = (),
) -> dict[str, Any]:
    """Wrap a result in the document of a verb; its JSON Schema is shipped beside this file.

    Keys: format, receiver_sim (version), verb, units (by the end of a field's name), provenance (None for
    verbs that run no build), cautions (for the volts in it), warnings, files (written beside the document if
    it was written, by their names in its folder), result.
    """
    return {
        "format": FORMAT,
        "receiver_sim": __version__,
        "verb": verb,
        "units": UNITS,
        "provenance": plain(provenance),
        "cautions": list(cautions.ALL),
        "warnings": list(warnings),
        "files": list(files),
        "result": plain(result),
    }
