"""The balance of a band: which setting of the control sustains each amplitude? (envelope view, d.c.)"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.phases import KNOTS, harmonics, sample_vectors
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import LOWEST_V
from receiver_sim.engine import Bench, EngineFailed, Vectors
from receiver_sim.measure import imposed_amplitude as held
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.mode import HARMONICS

FloatArray = npt.NDArray[np.float64]

STEP = 1.0 / 16.0
"""Step of the sweep in ln(amplitude): 6 %, which a monotone cubic bridges to better than 1e-4."""

_COARSE = 1.0 / 4.0
"""Step of a sweep where backlash and the top alone are wanted: both agree with a fine one within 2 %."""

_STRIDE = 0.5
_FIRST_ENDS = (8.0, 6.0)
"""Ends in ln(amplitude/LOWEST_V) that the search for the end of the sweep begins with: 3 V, where most
controls have ended, then, if the circuit has no solution so far out, 0.4 V."""

_HIGHEST = 10.0
"""End of the sweep in ln(amplitude/LOWEST_V): 22 V at the hot end, more than any grid stands without gross
grid current."""

_INSIDE = 1.0 + 1e-5
"""Factor between amplitudes that the ends of the control sustain and those of a map of what lies between."""

_FEWEST = 12
"""Fewest steps of such a map."""

_REST_POINTS = 20
_BEYOND = 1.02
"""Wiper fraction at which a sweep has passed the top of the control for good."""

ONE_BY_ONE = "settings found one by one with the control held still: a sweep of amplitudes found no solution"
"""Told with a balance that took the second rung."""


@dataclass(frozen=True)
class Balance:
    """Raw balance of a band: wiper against amplitude (may lie beyond the control's ends), what the control
    sets, and that at rest.
    """

    amplitude: FloatArray
    wiper: FloatArray
    figure: FloatArray
    grid: FloatArray
    drive_ma: FloatArray
    cross_ma: FloatArray
    rest_wiper: FloatArray
    rest_figure: FloatArray
    harmonics_ma: FloatArray | None = None
    """Mean and components 1 to 5 of the cathode current, a row for each amplitude; None if not read."""
    end: held.CurveEnd = held.CurveEnd.REACH
    """Why it ends, if not beyond the top of the control."""


def sweep(
    bench: Bench,
    circuit: Circuit,
    *,
    guess: float,
    step: float = STEP,
    phases: int | None = None,
) -> Balance:
    """Run the sweeps of a balance circuit: amplitudes from LOWEST_V to beyond the top of the control.

    guess: share of the control's travel that the circuit was made with, where the sweeps begin; phases:
    number of samples of its tube, to read harmonics from (None: not). The sweep ends where even the top of
    the control no longer pays for the losses; that is found by going an e-fold further at a time from 3 V,
    else from 0.4 V, as the circuit beyond (a starved tube) need not have a solution. Raises EngineFailed
    where Newton's method loses its way; `setting_by_setting` asks less of it.
    """
    good = 0.0
    knob, amp = circuit.node(Place.KNOB), circuit.node(Place.AMPLITUDE)
    for first in _FIRST_ENDS:
        try:
            with loaded(bench, circuit, climb=False) as on:
                rest = _rest(on, guess)
                for end in np.arange(first, _HIGHEST + 1.0):
                    run = _sweep(on, float(end), _STRIDE)
                    good = float(end)
                    if run[knob][-1] > _BEYOND:
                        break
                beyond = run[knob] > _BEYOND
                end = math.log(float(run[amp][np.argmax(beyond)]) / LOWEST_V) if beyond.any() else good
                run = _sweep(on, math.ceil(end / step) * step, step, phases)
                return _balance(circuit, run, rest, phases, skip=round(1.0 / step))
        except EngineFailed:
            if good > 0.0 or first == _FIRST_ENDS[-1]:
                raise
    raise AssertionError("the last of them either returned or raised")


def coarse_sweep(bench: Bench, circuit: Circuit, *, guess: float, reach_v: float) -> Balance:
    """Run the sweep of a balance circuit where backlash and the top alone are wanted.

    reach_v: amplitude that a like set reaches; the sweep goes on by steps from two thirds of it, for as long
    as the top of the control pays for the losses. What the control sets at rest is taken to rise in
    proportion, which tells a millivolt of backlash to a factor of two or so. Raises EngineFailed.
    """
    knob = circuit.node(Place.KNOB)
    steps = max(math.floor((math.log(max(reach_v / LOWEST_V, 1.0)) - 0.4) / _COARSE), 16)
    # the first points lead to the curve, and may lie anywhere
    skip = round(1.0 / _COARSE)
    parts: list[Vectors] = []
    try:
        with loaded(bench, circuit, climb=False) as on:
            # each run begins with an operating point from nothing, which costs as much as ten points
            parts = [_sweep(on, steps * _COARSE, _COARSE)]
            while (
                parts[-1][knob][0 if len(parts) > 1 else skip :].max() <= _BEYOND
                and steps * _COARSE < _HIGHEST
            ):
                parts.append(_sweep(on, (steps + 3) * _COARSE, _COARSE, start=(steps + 1) * _COARSE))
                steps += 3
    except EngineFailed:
        if not parts:
            raise
        # far out Newton's method may find from the point before what it does not find from nothing
        with loaded(bench, circuit, climb=False) as on:
            parts = [_sweep(on, min((steps + 6) * _COARSE, _HIGHEST), _COARSE)]
    run = {name: np.concatenate([part[name] for part in parts]) for name in _nodes(circuit)}
    beyond = (run[knob] > _BEYOND) & (np.arange(run[knob].size) >= skip)
    last = int(np.argmax(beyond)) if beyond.any() else beyond.size - 1
    found = _balance(
        circuit, {name: v[: last + 1] for name, v in run.items()}, (np.zeros(2), np.zeros(2)), None,
        skip=skip,
    )  # fmt: skip
    first = max(float(found.wiper[0]), 1e-3)
    return replace(
        found, rest_wiper=np.array([0.0, first]), rest_figure=np.array([0.0, float(found.figure[0])])
    )


def setting_by_setting(
    bench: Bench, circuit: Circuit, mode: Mode, *, step: float = STEP, phases: int | None = None
) -> Balance:
    """Return the balance over the control with the control held still at each setting tried.

    circuit: with the amplitude imposed. Newton's method is not asked for the setting, so this finds a balance
    where the sweep of `sweep` strays; it takes some ten times as long. Raises EngineFailed.
    """
    with loaded(bench, circuit) as on:
        rest = held.rest(on)
        run, end = held.follow(on, mode, step=step, vectors=_vectors(circuit, phases))
    return replace(_balance(circuit, run, rest, phases), end=end)


def balance(
    bench: Bench, circuit: Circuit, imposed: Circuit, mode: Mode, *, guess: float, phases: int | None = None
) -> tuple[Balance, str | None]:
    """Return the balance by the first rung of a ladder that serves, and what to say if it is not the first.

    The rungs: the sweep of a balance `circuit`, in which Newton's method finds the setting together with all
    volts; the settings one by one, the control held still, with the amplitude of `imposed`. Both hold the
    same equations to the same tolerances. Raises EngineFailed where neither serves.
    """
    try:
        return sweep(bench, circuit, guess=guess, phases=phases), None
    except EngineFailed:
        return setting_by_setting(bench, imposed, mode, phases=phases), ONE_BY_ONE


def within_control(
    bench: Bench, circuit: Circuit, mode: Mode, *, looked: held.Looked, phases: int | None = None
) -> Balance:
    """Return the balance over the control where the curve comes in from beyond an end of it.

    circuit: with the amplitude imposed; looked: what that end sustains, from which to the largest amplitude
    that the top sustains the curve is followed. Raises EngineFailed.
    """
    assert looked.begins_v is not None
    first = looked.begins_v * _INSIDE
    last = float(looked.pays.amplitude[-1]) if looked.ends_v is None else looked.ends_v / _INSIDE
    count = max(math.ceil(math.log(last / first) / STEP), _FEWEST)
    with loaded(bench, circuit) as on:
        run = held.curve(
            on, mode, amplitudes=np.geomspace(first, last, count + 1), vectors=_vectors(circuit, phases)
        )
    return _balance(circuit, run, looked.rest, phases)


def _balance(
    circuit: Circuit,
    run: Mapping[str, FloatArray],
    rest: tuple[FloatArray, FloatArray],
    phases: int | None,
    *,
    skip: int = 0,
) -> Balance:
    keep = slice(skip, None)
    amplitude, wiper, figure, grid, drive, cross = (run[name][keep] for name in _nodes(circuit))
    components = components_of(circuit, run, phases)
    if components is not None:
        components = components[keep]
    return Balance(amplitude, wiper, figure, grid, drive, cross, *rest, components)


def components_of(circuit: Circuit, run: Mapping[str, FloatArray], phases: int | None) -> FloatArray | None:
    """Return mean and components 1 to 5 of the cathode current (mA) from a run that kept `vectors_of`; None
    without samples.
    """
    if phases is None:
        return None
    samples, factors = _sampled(circuit, phases)
    each = np.array([run[name] for name in samples])
    knots = np.array([sum(run[name] for name in pair) for pair in factors])
    components = harmonics(each, knots=knots, orders=(0, 1, *HARMONICS))
    components[:, 0] *= 0.5
    return components


def vectors_of(circuit: Circuit, phases: int | None) -> list[str]:
    """Return what a run must keep for `components_of`."""
    if phases is None:
        return []
    samples, factors = _sampled(circuit, phases)
    return [*samples, *(name for pair in factors for name in pair)]


def _nodes(circuit: Circuit) -> list[str]:
    """Return the nodes of amplitude, knob, control, grid, drive and cross-drive."""
    node, control = circuit.node, circuit.control.node
    assert control is not None
    return [
        node(Place.AMPLITUDE), node(Place.KNOB), control, node(Place.GRID), node(Place.DRIVE),
        node(Place.CROSS),
    ]  # fmt: skip


def _sampled(circuit: Circuit, phases: int) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return the vectors of the sampled tube: power at each phase, factors of plate and screen at each
    knot.
    """
    tube = next(e.name for e in circuit.elements if e.kind == "x" and circuit.law_of[e.tail].samples)
    screen = circuit.find_node(Place.SCREEN) is not None
    return sample_vectors(tube, phases=phases, knots=KNOTS, screen=screen)


def _vectors(circuit: Circuit, phases: int | None) -> list[str]:
    return [*_nodes(circuit), *vectors_of(circuit, phases)]


def _sweep(on: Loaded, end: float, step: float, phases: int | None = None, *, start: float = -1.0) -> Vectors:
    source = on.circuit.part(Role.SWEEP)
    return on.session.dc(source, start, end + 1e-9, step, vectors=_vectors(on.circuit, phases))


def _rest(on: Loaded, guess: float) -> tuple[FloatArray, FloatArray]:
    """Return the knob and what it sets without oscillation, both ways from the guess to the ends of the
    control."""
    on.set(Role.SWEEP, -1.0)
    knob, control = on.node(Place.KNOB), on.circuit.control.node
    assert control is not None
    shares, figures = [], []
    for end in (0.0, 1.0):
        if abs(end - guess) < 1e-3:
            continue
        run = on.session.dc(
            on.circuit.part(Role.GUESS), guess, end, (end - guess) / _REST_POINTS, vectors=[knob, control]
        )
        shares.append(run[knob])
        figures.append(run[control])
    on.set(Role.GUESS, guess)
    share, index = np.unique(np.concatenate(shares), return_index=True)
    return share, np.concatenate(figures)[index]
