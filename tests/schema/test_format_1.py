"""Builds of format 1 are read as the program read them before sections of a build could be left out.

The files in `format_1` and what was read of them are those of the commit before; keys may have joined since.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from receiver_sim.schema import load_build, load_build_text

FOLDER = Path(__file__).parent / "format_1"


def _missing(before: Any, now: Any, place: str = "") -> list[str]:
    """Return the places at which something that was read before is another now."""
    if isinstance(before, dict):
        inside = now if isinstance(now, dict) else {}
        return [
            row for key, value in before.items() for row in _missing(value, inside.get(key), f"{place}.{key}")
        ]
    if isinstance(before, list):
        if not isinstance(now, list) or len(now) != len(before):
            return [place]
        return [
            row
            for i, (a, b) in enumerate(zip(before, now, strict=True))
            for row in _missing(a, b, f"{place}[{i}]")
        ]
    return [] if before == now else [f"{place}: {before} -> {now}"]


@pytest.mark.parametrize("name", ["demo", "mains_set"])
def test_every_value_is_read_as_before(name: str) -> None:
    before = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    now = load_build(FOLDER / f"{name}.yaml").model_dump(mode="json")
    assert _missing(before, now) == []
    # and the comparison does find a difference
    now["detector"]["grid_leak"] *= 2.0
    assert len(_missing(before, now)) == 1


SHORT = """
receiver_sim: 1
title: as short as can be
supply: {kind: dc, volts: 180 V}
regeneration: {pot: 50 kohm}
detector: {tube: 6J7, load: {kind: resistor, resistance: 100 kohm}}
phones: [{name: phones, at: plate, capacitor: 0.1 uF, drain: 220 kohm, resistance: 2 kohm}]
bands: [{name: 40 m, from: 7.0 MHz, to: 7.2 MHz, coil: {inductance: 5 uH, q: 150, tap: 10 %, coupling: 0.6}}]
"""


def test_what_is_left_out_has_the_value_that_the_readme_states() -> None:
    build = load_build_text(SHORT)
    detector, control = build.detector, build.regeneration
    assert build.audio is None and build.aerial is None and build.regulator is None
    assert (build.heater.volts, build.heater.supply, build.heater.hum_pot) == (6.3, "ac", 100.0)
    assert (build.tuning.minimum, build.tuning.maximum, build.tuning.stray) == (10e-12, 140e-12, 10e-12)
    assert (detector.grid_leak, detector.grid_capacitor, detector.grid_leak_to) == (2e6, 100e-12, "tank")
    filter_ = detector.rf_filter
    assert (filter_.choke, filter_.plate_capacitor, filter_.output_capacitor) == (2.5e-3, 100e-12, 100e-12)
    assert (control.law, control.rotation, control.bypass) == ("linear", 270.0, 0.1e-6)
