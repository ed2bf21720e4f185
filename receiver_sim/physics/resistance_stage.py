"""A resistance-coupled stage: the tube law on a supply through resistors, its rest and its gain in mid band.

What tube manuals print as 'resistance-coupled amplifier' charts: supply, plate and screen resistors, cathode
resistor, the grid resistor of the next stage, and the gain that was measured. Cathode and screen are
by-passed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.errors import NoAnswer
from receiver_sim.physics.checks import Real, require_positive
from receiver_sim.physics.tube_law import TubeLaw, currents

FloatArray = npt.NDArray[np.float64]

_LEAST_A = 1e-15
_MOST_STEPS = 80
_LONGEST = 0.7
"""Longest step of the search in the logarithm of a current: Newton's method overshoots where the plate
bottoms.
"""

_CLOSE = 1e-9
_HALVINGS = 12
_MOST_STUCK = 3
"""Steps that may end no nearer at all before the search is given up: such rows never came to rest in 80."""
_GRID_STEP_V = 1e-3


@dataclass(frozen=True)
class StageAtRest:
    """Electrode volts from the cathode (V), currents (A) and voltage gain (a positive number), an array
    each.
    """

    grid_v: FloatArray
    plate_v: FloatArray
    screen_v: FloatArray
    plate_a: FloatArray
    screen_a: FloatArray
    gain: FloatArray


def resistance_stage(
    law: TubeLaw,
    *,
    supply_v: Real,
    plate_ohm: Real,
    next_grid_ohm: Real,
    cathode_ohm: Real,
    screen_ohm: Real | None = None,
    near: StageAtRest | None = None,
) -> StageAtRest:
    """Return rest and gain of one stage or, with arrays of one length, of several; screen_ohm None for a
    triode.

    gain = gm / (1/rp + 1/plate_ohm + 1/next_grid_ohm), textbook, the coupling capacitor a short. A law whose
    parameters are columns gives arrays of (laws, stages). near: rests from which the search goes out, of laws
    that differ by little. Raises ValueError for a value that is not positive, and where no rest is found.
    """
    fed = law.kind != "triode"
    if fed != (screen_ohm is not None):
        raise ValueError("a tube with a screen needs screen_ohm, a triode has none")
    given = {
        "supply_v": supply_v,
        "plate_ohm": plate_ohm,
        "next_grid_ohm": next_grid_ohm,
        "cathode_ohm": cathode_ohm,
        "screen_ohm": 1.0 if screen_ohm is None else screen_ohm,
    }
    require_positive(**given)
    supply, plate_r, next_r, cathode_r, screen_r, _ = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in given.values()), law.perveance
    )

    def volts(logs: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        plate, screen = np.exp(np.minimum(logs, 0.0))
        screen = screen if fed else np.zeros_like(plate)
        lift = (plate + screen) * cathode_r
        return -lift, supply - plate * plate_r - lift, supply - screen * screen_r - lift

    def excess(logs: FloatArray) -> FloatArray:
        grid, plate, screen = volts(logs)
        out = currents(law, grid_v=grid, plate_v=plate, screen_v=screen)
        found = [out.plate, out.screen if fed else np.exp(logs[1])]
        return np.array([np.log(np.maximum(f, _LEAST_A)) for f in found]) - logs

    start = [0.5 * supply / plate_r, 0.5 * supply / screen_r]
    if near is not None:
        level = np.zeros_like(supply)
        start = [near.plate_a + level, near.screen_a + level if fed else start[1]]
    logs = _at_rest(excess, np.log(np.array(start)), fed=fed, highest_v=float(supply.max()))
    grid, plate, screen = volts(logs)
    plate_step = 1e-2 + 1e-4 * np.abs(plate)
    moves = np.stack([0.0 * grid, 0.0 * grid]) + np.reshape(
        [_GRID_STEP_V, -_GRID_STEP_V], (2, *[1] * grid.ndim)
    )
    out = currents(
        law,
        grid_v=grid + np.concatenate([moves, 0.0 * moves]),
        plate_v=plate + np.stack([0.0 * plate, 0.0 * plate, plate_step, -plate_step]),
        screen_v=screen,
    )
    gm = (out.plate[0] - out.plate[1]) / (2.0 * _GRID_STEP_V)
    conductance = (out.plate[2] - out.plate[3]) / (2.0 * plate_step)
    amps = np.exp(logs)
    return StageAtRest(
        grid_v=grid,
        plate_v=plate,
        screen_v=screen if fed else np.zeros_like(plate),
        plate_a=amps[0],
        screen_a=amps[1] if fed else np.zeros_like(plate),
        gain=gm / (conductance + 1.0 / plate_r + 1.0 / next_r),
    )


def _at_rest(
    excess: Callable[[FloatArray], FloatArray], logs: FloatArray, *, fed: bool, highest_v: float
) -> FloatArray:
    """Return the logarithms of the currents, (2, ...), at which `excess` is nil: Newton's method, damped.

    One step more than is needed to come close: laws that differ by little are compared with each other.
    """
    none_found = NoAnswer(f"no rest found for a stage on {highest_v:g} V")
    miss = excess(logs)
    step, stuck, last = 1e-6, 0, False
    # both slopes in one evaluation of the law: it costs hardly more for twice the points
    apart = step * np.eye(2).reshape(2, 2, *[1] * (logs.ndim - 1))
    for _ in range(_MOST_STEPS):
        # the shape of the slopes: current, by which logarithm, stages
        slopes = (excess(logs[:, None] + apart) - miss[:, None]) / step
        if not fed:
            slopes[1, 0], slopes[1, 1] = 0.0, -1.0
        det = slopes[0, 0] * slopes[1, 1] - slopes[0, 1] * slopes[1, 0]
        if not np.all(np.isfinite(det) & (det != 0.0)):
            raise none_found
        wanted = (
            -np.array(
                [
                    slopes[1, 1] * miss[0] - slopes[0, 1] * miss[1],
                    slopes[0, 0] * miss[1] - slopes[1, 0] * miss[0],
                ]
            )
            / det
        )
        move = np.clip(wanted, -_LONGEST, _LONGEST)
        if last:
            return np.asarray(logs + move)
        share = np.ones_like(det)
        for _ in range(_HALVINGS):  # each stage by itself goes no further than it comes nearer
            tried = excess(logs + share * move)
            worse = np.sum(tried**2, axis=0) > np.sum(miss**2, axis=0)
            if not (worse & (np.max(np.abs(miss), axis=0) > _CLOSE)).any():
                break
            share = np.where(worse, 0.5 * share, share)
        else:
            stuck += 1
            if stuck > _MOST_STUCK:
                raise none_found
            tried = excess(logs + share * move)
        logs = logs + share * move
        miss = tried
        last = bool(np.max(np.abs(miss)) < _CLOSE)
    raise none_found
