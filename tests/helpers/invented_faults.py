"""A table of faults made by hand: every prediction known, nothing simulated."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from receiver_sim.circuit.possible_faults import PossibleFault, Severity
from receiver_sim.judge import fault_finder, fault_table
from receiver_sim.judge.fault_onset import SOUND, Key
from receiver_sim.judge.fault_predictions import Prediction, Volt
from receiver_sim.results.fault_table import FaultTable

POINTS = ("V1 plate", "V1 screen", "V2 cathode")
BANDS = ("80 m", "40 m")
RANGES = (2.0, 20.0, 200.0, 1000.0)


class Made(NamedTuple):
    """Faults with predictions, and the same as a table."""

    faults: tuple[PossibleFault, ...]
    found: dict[Key, Prediction]
    scatter: fault_finder.Scatter
    table: FaultTable


def fault(part: str, what: str, sizes: tuple[str, ...], weight: float, hazard: str = "") -> PossibleFault:
    return PossibleFault(
        part, "part & <b>", what, weight, tuple(Severity(words, {}) for words in sizes), hazard
    )


def says(volts: tuple[float, ...], onset: tuple[float | None, ...], gain: float, hum: float) -> Prediction:
    """A prediction; readings follow three factors, the second of which moves two of them together."""
    spread = np.array([[0.9, 0.5, 0.0], [0.1, 0.4, 0.3], [0.02, 0.0, 0.2]])
    curves = {
        band: ((0.0, 0.2), (0.9, 0.6)) if at is None else ((0.0, 0.2), (at, 1.0), (1.0, 2.3))
        for band, at in zip(BANDS, onset, strict=True)
    }
    return Prediction(
        np.array(volts),
        spread * (1.0 if gain > 0.0 else 0.3),
        dict(zip(("n0", "n1", "n2"), (1.01 * v for v in volts), strict=True)),
        dict(zip(BANDS, onset, strict=True)), curves, gain, hum,
    )  # fmt: skip


def made() -> Made:
    """A sound set and six faults: two that no reading separates, two that can hurt, one that hides."""
    faults = (
        fault("C7", "leaky", ("leak of 100 kohm", "leak of 1000 kohm"), 4.0),
        fault("R3", "open", ("open",), 1.0),
        fault("R4", "open", ("open",), 1.5),
        fault("C9", "short", ("short",), 0.2, "the lead may stand at plate volts"),
        fault("R13", "open", ("open",), 0.5, "the capacitors stay charged"),
        fault("C2", "off", ("half its value",), 1.0),
    )
    found = {
        SOUND: says((62.5, 21.3, 7.4), (0.37, 0.52), 31.0, -41.0),
        (0, 0): says((21.0, 20.6, 14.9), (0.41, 0.57), 4.0, -39.0),
        (0, 1): says((48.0, 21.0, 10.2), (0.38, 0.53), 24.0, -40.0),
        (1, 0): says((119.0, 2.2, 7.5), (None, None), -12.0, -60.0),
        (2, 0): says((118.4, 2.3, 7.5), (None, None), -13.0, -60.0),
        (3, 0): says((40.0, 20.9, 7.4), (0.375, 0.525), 29.5, -38.0),
        (4, 0): says((63.1, 21.5, 7.5), (0.368, 0.517), 31.0, -20.0),
        (5, 0): says((62.5, 21.3, 7.4), (0.371, None), 30.6, -41.0),
    }
    factors = 3
    scatter = fault_finder.Scatter(
        np.array([0.2, -0.4, 0.0]),
        {"80 m": np.linspace(0.02, 0.11, factors), "40 m": np.linspace(0.05, -0.09, factors)},
    )
    volts = tuple(Volt(words, f"n{k}", "10 Mohm", 1e7, 1000.0, 0.0) for k, words in enumerate(POINTS))
    table = fault_table.table(
        faults, found, volts, BANDS, scatter,
        title="a set", rotation=0.36, setting="control at 36 %", ranges=RANGES,
    )  # fmt: skip
    return Made(faults, found, scatter, table)


def ranked(
    one: Made, read: dict[int, float], onset: dict[str, float | None], heard: str | None
) -> fault_finder.Ranked:
    """Return what `faults` says of the same: readings by number of their point, onset by band."""
    rows = sorted(read)
    volts = tuple(
        Volt(
            POINTS[k], f"n{k}", "10 Mohm", 1e7,
            next((r for r in RANGES if abs(read[k]) < 0.95 * r), RANGES[-1]), read[k],
        )
        for k in rows
    )  # fmt: skip
    found = {key: replace(p, volts=p.volts[rows], spread=p.spread[rows]) for key, p in one.found.items()}
    seen = fault_finder.Seen(volts, 0.03, onset, heard)
    points = {f"n{k}": words for k, words in enumerate(POINTS)}
    return fault_finder.rank(one.faults, found, seen, points, one.scatter)
