"""What no answer on a sane build may hold: figures that physics or the circuit rule out, and why.

The bounds ask whether a figure is possible, not whether it is good; each names what bounds it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

from receiver_sim.schema import Build

HIGHEST_SUPPLY_V = 600.0
"""Above the highest supply a build may have; no node exceeds it at rest."""


def numbers(node: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Yield every number of a JSON document with its key path."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield from numbers(value, f"{path}.{key}" if path else key)
    elif isinstance(node, list):
        for value in node:
            yield from numbers(value, f"{path}[]")
    elif isinstance(node, (int, float)) and not isinstance(node, bool):
        yield path, float(node)


_TANK_Q = r"tank_q$"

# (key path as a regular expression, least, most, what bounds it)
_LIMITS: tuple[tuple[str, float, float, str], ...] = (
    (r"(^|\.)rotation(\[\])?$", -1e-9, 1.0 + 1e-9, "the control ends at its stops"),
    (r"(screen_v|plate_v|cathode_v|supply_v|regulated_v)(\[\])?$", -HIGHEST_SUPPLY_V, HIGHEST_SUPPLY_V,
     "no node at rest lies beyond the supply"),
    (r"\.grid_v(\[\])?$", -HIGHEST_SUPPLY_V, 60.0, "grid current holds a grid near its cathode"),
    (r"(plate_a|screen_a|grid_a|regulator_a)$", -0.01, 1.0, "receiving tubes carry milliamperes"),
    (r"(plate_w|screen_w|dropper_w|regulator_w)$", -1.0, 200.0, "a supply of 600 V and 0.3 A gives no more"),
    (r"gain_(lowest|highest)$", -100.0, 100.0, "10 mA/V at a quarter of 50 kohm"),
    (r"against_screen\.gain\[\]$", -100.0, 100.0, "as the loop gain at the ends"),
    (r"amplitudes\.amplitude_v\[\]$", 0.0, 25.0, "the map ends at 22 V"),
    (r"energy_error\[\]$", -1e-3, 1e-3, "in balance the tube pays for the tank's losses"),
    (_TANK_Q, 0.5, 500.0, "a coil's Q bounds that of its tank"),
    (r"tank_ohm$", 1.0, 1e7, "Q times the reactance"),
    (r"outputs\[\]\.gain_1khz$", 0.0, 1e6, "three tubes give at most 1e6"),
    (r"outputs\[\]\.gain\[\]$", 0.0, 3e7,
     "100 of a detector, 200 of a first stage at 7 mA/V, 1500 of 5 mA/V into phones that resonate undamped"),
    (r"low_hz$|high_hz$", 0.0, 1e7, "audio ends below r.f."),
    (r"(source_ohm|load_ohm)$", 0.0, 1e9, "sockets insulate by 1 Gohm"),
    (r"hum\.outputs\[\].*_v(\[\])?$", 0.0, 400.0, "hum comes from the heater line and the supply's ripple"),
    (r"sum_error$", -1e-2, 1e-2, "the paths of hum add up to the whole"),
    (r"\.share$", -1e3, 1e3, "paths cancel, but not to a thousandth"),
    (r"(am|beat)(_transfer)?\.audio_v\[\]$", 0.0, HIGHEST_SUPPLY_V, "a plate swings by its supply at most"),
    (r"(am|beat)\.amplitude_v\[\]$", 0.0, 60.0, "the search for an amplitude ends at 50 V"),
    (r"lock_hz$", 0.0, 1e6, "locking ranges are a part of the tank's bandwidth"),
    (r"result\.bandwidth_hz$", 0.0, 3e7,
     "an aerial near its resonance damps a tank to a Q of a few (370 ohm across 117 ohm of reactance at 29 "
     "MHz), not below one"),
    (r"selectivity_db\[\]$", -300.0, 1.0, "the response falls off from the middle"),
    (r"rms_v$", 0.0, HIGHEST_SUPPLY_V, "a plate swings by its supply at most"),
    (r"peak_v$", 0.0, 5e3, "a choke whose tube is cut off kicks: 13 mA of 40 H into 210 pF have 6 kV"),
    (r"result\.level_db$", -400.0, 190.0, "above 190 dB air does not carry sound"),
    (r"listen.*amplitude_v\[\]$", 0.0, HIGHEST_SUPPLY_V,
     "a burst of squegging ends where the grid capacitor is charged or the plate bottoms: by every cycle 61 "
     "V of one set, where the envelope, rough within so few cycles, has 390 V and says so"),
)  # fmt: skip


def absurd(document: dict[str, Any], build: Build) -> list[str]:
    """Return a sentence for each figure of a verb's document that cannot be, at most one for each key."""
    found: dict[str, str] = {}
    verb = document.get("verb", "")
    dials = {band.name: (0.8 * band.from_, 1.25 * band.to) for band in build.bands}
    lowest = min(low for low, _ in dials.values())
    highest = max(high for _, high in dials.values())
    for path, value in numbers(document):
        whole = f"{verb} {path}"
        if not math.isfinite(value):
            found.setdefault(path, f"{whole}: {value} is no number")
            continue
        if re.search(r"(oscillation_hz|tank_hz|frame_hz\[\])$", path) and not lowest <= value <= highest:
            found.setdefault(path, f"{whole}: {value:g} Hz lies far off the dial")
        for pattern, least, most, reason in _LIMITS:
            if pattern == _TANK_Q and build.rf_stage is not None:
                continue  # it may feed power back, which the answer then says
            if re.search(pattern, whole) and not least <= value <= most:
                found.setdefault(path, f"{whole}: {value:g}, though {reason}")
    return list(found.values())


def bad_constants(text: str) -> list[str]:
    """Return a complaint if a JSON text holds what JSON has not: NaN, Infinity."""
    return ["the JSON holds NaN or Infinity"] if re.search(r"\b(NaN|Infinity)\b", text) else []
