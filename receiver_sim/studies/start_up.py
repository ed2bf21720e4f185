"""How do the plate volts rise at switching on, and how long do they stay after switching off?"""

from __future__ import annotations

import math

import numpy as np

from receiver_sim.circuit.rectifier import output_node, rectifier_circuit, taps
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.rectifier import HIGHEST_MAINS, from_cold, let_warm, warm_up_s
from receiver_sim.physics.rectified import discharge_time
from receiver_sim.results.base import FloatArray
from receiver_sim.results.supply import Rectified, StartAndStop
from receiver_sim.schema import Build

SAFE_V = 60.0
"""Volts d.c. taken as safe to touch when dry (limit of extra-low voltage, IEC 61140; from memory)."""

TUBES_COLD_S, TUBES_WARM_S = 6.0, 12.0
"""The receiver's heaters: no plate current before the first, all of it from the second (common practice)."""

POINTS = 400

SURGE_S = 1.0
"""Length of the run for the surge: filters are full by then."""


def run(build: Build, bench: Bench, *, rectified: Rectified) -> StartAndStop:
    """Run the supply from cold, then from its no-load volts with the winding dead. Raises EngineError."""
    supply = build.supply
    assert supply.kind == "rectifier"
    frequency = build.mains.frequency
    load_s = rectified.load_a / rectified.volts_v
    out, at = output_node(supply), taps(supply)
    span = max(TUBES_WARM_S, 1.2 * warm_up_s(supply)) + 2.0
    step = 1.0 / (100.0 * frequency)
    names = ["time", out]
    cold = rectifier_circuit(supply, frequency=frequency, load_s=0.0, start_v=0.0)
    with loaded(bench, cold) as one:
        one.course(Role.RECTIFIER_LOAD, "pwl", (0.0, 0.0, TUBES_COLD_S, 0.0, TUBES_WARM_S, 1e3 * load_s))
        let_warm(one, supply)
        on = one.session.tran(step, span, max_step=step, uic=True, vectors=names)
    capacitance = sum(part.capacitor for part in supply.filter)
    closed = None
    if supply.bleeder is not None:
        closed = discharge_time(
            rectified.no_load_v, to=SAFE_V, resistance=supply.bleeder, capacitance=capacitance
        )
    off_span = 1.5 * closed + 1.0 if closed is not None else 600.0
    dead = rectifier_circuit(supply, frequency=frequency, load_s=0.0, start_v=rectified.no_load_v)
    with loaded(bench, dead) as one:
        for winding in at.windings:
            one.course(winding, "sin", (0.0, 0.0, frequency))
        off = one.session.tran(
            off_span / 2000.0, off_span, max_step=off_span / 2000.0, uic=True, vectors=["time", *at.sections]
        )
    first_pulse = float(from_cold(build, bench, seconds=SURGE_S)[at.ammeter].max())
    longest = np.max([off[name] for name in at.sections], axis=0)
    return reduce(
        (on["time"], on[out]),
        (off["time"], longest),
        surge_a=max(first_pulse, HIGHEST_MAINS * rectified.peak_a),
        closed=closed,
        bleeder=supply.bleeder,
    )


def reduce(
    on: tuple[FloatArray, FloatArray],
    off: tuple[FloatArray, FloatArray],
    *,
    surge_a: float,
    closed: float | None,
    bleeder: float | None,
) -> StartAndStop:
    """Turn the courses (time, volts) into the result; surge_a: highest of a rectifier, mains 10 % high."""
    grid = np.linspace(0.0, float(on[0][-1]), POINTS)
    off_grid = np.linspace(0.0, float(off[0][-1]), POINTS)
    below = np.nonzero(off[1] <= SAFE_V)[0]
    reached = None
    if below.size:
        i = int(below[0])
        reached = float(off[0][0])
        if i > 0:
            # exponential between the points of the run
            high, low = off[1][i - 1], max(off[1][i], 1e-9)
            share = math.log(high / SAFE_V) / math.log(high / low) if high > low else 0.0
            reached = float(off[0][i - 1] + share * (off[0][i] - off[0][i - 1]))
    if bleeder is None:
        text = "no bleeder: the capacitors stay charged for hours: discharge them by hand and measure"
    elif reached is None:
        text = "still above the safe volts at the end of the run: fit a lower bleeder"
    else:
        text = f"below {SAFE_V:.0f} V after {reached:.0f} s with the bleeder alone: wait, then measure"
    return StartAndStop(
        on_s=grid,
        on_v=np.interp(grid, on[0], on[1]),
        highest_v=float(on[1].max()),
        surge_a=surge_a,
        off_s=off_grid,
        off_v=np.interp(off_grid, off[0], off[1]),
        safe_v=SAFE_V,
        discharge_s=reached,
        closed_s=closed,
        text=text,
    )
