"""The detector's law sampled over a cycle of the carrier, as one merged ngspice subcircuit.

The tank swings grid and cathode along a cosine; sampling half a cycle at theta_j = pi (j + 1/2)/M is the
Gauss-Chebyshev rule, which converges geometrically for a smooth law. What follows the grid quickly (the
driving voltage and its power, the grid current) is computed at every phase. What only follows the swing of
the cathode, a small part of the screen's volts (field of plate and screen, width of the foot, parting of
the current), is computed by the same lines as in `models/pentode_law.cir` at a few knots of the swing and
carried between them by a polynomial. A test holds the sums against M separate subcircuits of the law.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit import reader
from receiver_sim.circuit.element import Law
from receiver_sim.circuit.laws import law_values
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.templates import render
from receiver_sim.data import folder
from receiver_sim.physics.tube_law import TubeLaw

PHASES = 8
"""Samples over half a cycle; 32 change no figure by more than the tests of the envelope allow."""

KNOTS = 3


@dataclass(frozen=True)
class Swings:
    """Volts that a 1 V swing of the hot end makes between electrodes: grid, plate, screen to the cathode.

    plate and screen are counted downwards, since the cathode rises with the tank while they stand still, and
    in phase with the grid, whose swing makes the current.
    """

    grid: float
    plate: float
    screen: float

    @classmethod
    def of(cls, mode: Mode) -> Swings:
        """Return the swings of a tank's mode."""
        grid = abs(mode.drive)
        phase = mode.drive / grid
        return cls(
            grid=grid,
            plate=((mode.cathode - mode.plate) / phase).real,
            screen=((mode.cathode - mode.screen) / phase).real,
        )


def cosines(phases: int) -> list[float]:
    """Return cos(theta_j) of the samples over half a cycle."""
    return [math.cos(math.pi * (j + 0.5) / phases) for j in range(phases)]


def knot_places(knots: int, *, phases: int) -> list[float]:
    """Return the places of the knots on the swing's cosine: even in phase, the outermost at the outermost
    samples.

    A large swing leaves current at the outermost samples alone. Knots further in would be extrapolated from
    there with weights of either sign, and where the plate bottoms that makes a negative resistance of the
    model's own, on which runs over time came to a stop.
    """
    reach = math.cos(0.5 * math.pi / phases)
    return [reach * math.cos(math.pi * t / (knots - 1)) for t in range(knots)]


def shares(cosine: float, knots: list[float]) -> list[float]:
    """Return the weights of the knots at one place (Lagrange)."""
    return [
        float(np.prod([(cosine - other) / (own - other) for other in knots if other != own])) for own in knots
    ]


def harmonics(
    samples: npt.NDArray[np.float64], *, knots: npt.NDArray[np.float64], orders: Sequence[int]
) -> npt.NDArray[np.float64]:
    """Return components (mA) of the cathode current from the samples of the merged tube and its knots'
    factors.

    samples: a row for each phase, knots: a row for each knot; columns are amplitudes. The result has a row
    for each amplitude and a column for each order.
    """
    phases = samples.shape[0]
    theta = np.pi * (np.arange(phases) + 0.5) / phases
    places = knot_places(knots.shape[0], phases=phases)
    factors = np.array([np.array(shares(c, places)) @ knots for c in np.cos(theta)])
    currents = samples * factors
    rows = [2.0 / phases * np.cos(n * theta) @ currents for n in orders]
    return np.asarray(np.array(rows).T, dtype=np.float64)


def sample_vectors(
    tube: str, *, phases: int, knots: int, screen: bool = True
) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return the vectors of a sampled tube for `harmonics`: power at each phase; plate's and, of a tube with
    one, screen's factor at each knot, which add up.
    """
    factors = [(f"{tube}.khp{t}", *((f"{tube}.khs{t}",) if screen else ())) for t in range(knots)]
    return [f"{tube}.fz{j}" for j in range(phases)], factors


@lru_cache(maxsize=32)
def phase_subcircuit(
    law: TubeLaw,
    name: str,
    swings: Swings,
    *,
    phases: int = PHASES,
    knots: int = KNOTS,
    split: bool = False,
) -> Law:
    """Return the subcircuit of a tube's law under the swing of the tank.

    split: the same law with its factors at nodes of their own, for runs over time: those take less, but in
    d.c. sweeps Newton's method strays beyond the end of a control.

    Pins: plate, screen (not of a triode), grid (mean volts from the cathode, which draw the mean currents),
    amplitude of the hot end (V), and as outputs the fundamental components of plate and screen current (1 V
    for 1 mA) and of the grid current (1 V for 1 uA), counted in phase with the tank.
    """
    places = knot_places(knots, phases=phases)
    share = [shares(c, places) for c in cosines(phases)]
    values: dict[str, Any] = law_values(law, name)
    triode = law.kind == "triode"
    field = swings.plate * values["plate_reach"]
    if not triode:
        field += swings.screen * values["screen_reach"]
    contact, slope = values.pop("contact"), values["grid_slope"]
    sections = [{**part, "offset": part["reach"] * contact} for part in values["sections"]]
    values["grid_scale_ua"] = 1e6 * values.pop("grid_perveance") * values.pop("grid_foot") ** 1.5
    samples = [
        {
            "share": weights,
            "drives": [(part["reach"] * swings.grid - field) * c for part in sections],
            "mean": [w / phases for w in weights],
            "fundamental": [2.0 * c * w / phases for w in weights],
            "grid_drive": slope * swings.grid * c,
            "grid_mean": 1e-6 / phases,
            "grid_fundamental": 2.0 * c / phases,
        }
        for c, weights in zip(cosines(phases), share, strict=True)
    ]
    values |= {
        "sections": sections,
        "knots": [
            {
                "field": field * c,
                "plate": swings.plate * c,
                **({} if triode else {"screen": swings.screen * c}),
            }
            for c in places
        ],
        "phases": samples,
        "split": split,
    }
    return replace(
        reader.law(render(folder("models"), f"{'triode' if triode else 'pentode'}_phases.cir", values)),
        samples=phases,
    )
