"""The balance of a control that acts on the tank itself: which setting holds each amplitude? (envelope view)

Such a control (a throttle capacitor) moves the tank's mode, not the circuit at audio. At each of the settings
at which the mode was measured, all amplitudes are imposed in one sweep; what the tube then gives, over what
the tank loses, is a smooth function of the setting, and where it is one lies the setting that holds that
amplitude.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.control import Control
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.phases import PHASES
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import LOWEST_V, imposed_circuit, swept_circuit
from receiver_sim.engine import EngineFailed
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.amplitude_balance import STEP, Balance, components_of, vectors_of
from receiver_sim.measure.imposed_amplitude import CurveEnd, Looked, Surplus
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.on_bench import OnBench

FloatArray = npt.NDArray[np.float64]

HIGHEST_V = (22.0, 7.0, 2.0)
"""Largest amplitudes to impose: the next, should the circuit have no solution at the one before."""

_PROVED = 12
"""Points of the curve that are solved once more at their own setting, for what interpolation misses."""


@dataclass(frozen=True)
class Sheet:
    """What amplitudes at settings give: a row for each rotation (0..1), a column for each amplitude (V).

    surplus: power from the tube over the loss of the tank, less one; grid (V), drive and cross (mA);
    components: of the cathode current (mA), a further axis; None if they were not read.
    """

    rotation: FloatArray
    amplitude: FloatArray
    surplus: FloatArray
    grid: FloatArray
    drive: FloatArray
    cross: FloatArray
    components: FloatArray | None


def sheet(receiver: OnBench, mode: Mode, *, phases: int | None = PHASES) -> Sheet:
    """Impose amplitudes at the settings at which the mode was measured and feeds the swing.

    Towards the lower stop hardly any of the plate's current goes through the tickler, and what couples beside
    the resonance may outweigh it: nothing is sustained there. Raises EngineFailed, NoAnswer if that is so at
    nearly all settings.
    """
    settings = _feeding(mode)
    for highest in HIGHEST_V:
        steps = math.floor(math.log(highest / LOWEST_V) / STEP)
        try:
            rows = [
                _row(receiver, mode, rotation=rotation, end=steps * STEP, phases=phases)
                for rotation, _ in settings
            ]
        except EngineFailed:
            if highest == HIGHEST_V[-1]:
                raise
            continue
        places = np.array([rotation for rotation, _ in settings])
        amplitude = rows[0][0]
        grid, drive, cross = (np.array([row[i] for row in rows]) for i in (1, 2, 3))
        loss = np.array([[1e3 * one.conductance] for _, one in settings]) * amplitude
        components = None if phases is None else np.array([row[4] for row in rows])
        return Sheet(places, amplitude, drive / loss - 1.0, grid, drive, cross, components)
    raise AssertionError("the last of them either returned or raised")


_LEAST_SETTINGS = 5
"""Settings that a spline along the control needs."""


def _feeding(mode: Mode) -> tuple[tuple[float, Mode], ...]:
    """Return the settings, from the upper stop down, at which the resonance feeds the grid's swing."""
    for start in range(len(mode.along)):
        rest = mode.along[start:]
        try:
            for _, one in rest:
                _ = one.drive
        except NoAnswer:
            if len(rest) <= _LEAST_SETTINGS:
                raise
            continue
        return rest
    raise AssertionError("the last of them either returned or raised")


def _row(
    receiver: OnBench, mode: Mode, *, rotation: float, end: float, phases: int | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray | None]:
    circuit = swept_circuit(receiver.build, receiver.cards, mode, rotation=rotation)
    names = [circuit.node(place) for place in (Place.AMPLITUDE, Place.GRID, Place.DRIVE, Place.CROSS)]
    with loaded(receiver.bench, circuit) as on:
        run = on.session.dc(
            circuit.part(Role.SWEEP), 0.0, end + 1e-9, STEP, vectors=[*names, *vectors_of(circuit, phases)]
        )
    amplitude, grid, drive, cross = (run[name] for name in names)
    return amplitude, grid, drive, cross, components_of(circuit, run, phases)


def _spline(x: FloatArray, y: FloatArray) -> Any:
    """Return the cubic spline through points."""
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - it takes long to load

    return CubicSpline(x, y)


def lowest_settings(known: Sheet) -> FloatArray:
    """Return for each amplitude the lowest rotation (0..1) at which the tube comes to pay for the losses; NaN
    where none does.
    """
    out = np.full(known.amplitude.size, np.nan)
    for j in range(known.amplitude.size):
        own = _spline(known.rotation, known.surplus[:, j])
        roots = [float(r) for r in own.roots(extrapolate=False) if float(own(r, 1)) > 0.0]
        if roots:
            out[j] = min(roots)
    return out


def balance(
    receiver: OnBench,
    mode: Mode,
    *,
    control: Control,
    known: Sheet,
    rotations: FloatArray,
) -> Balance:
    """Return the balance along settings (0..1) of all amplitudes that have one, the top's own amplitude last.

    known: what amplitudes give; rotations: see `lowest_settings`. Raises EngineFailed.
    """
    held = np.flatnonzero(~np.isnan(rotations))
    amplitude, places = known.amplitude[held], rotations[held]
    end = CurveEnd.FOLD
    top = _top(known, after=float(amplitude[-1]))
    if top is not None:
        amplitude, places, end = np.append(amplitude, top), np.append(places, 1.0), CurveEnd.TOP
    elif held[-1] == known.amplitude.size - 1:
        end = CurveEnd.REACH
    grid, drive, cross = (
        _at(known, one, amplitude, places) for one in (known.grid, known.drive, known.cross)
    )
    components = None
    if known.components is not None:
        orders = range(known.components.shape[2])
        columns = [_at(known, known.components[:, :, n], amplitude, places) for n in orders]
        components = np.array(columns).T
    drive = _proved(receiver, mode, amplitude=amplitude, places=places, drive=drive)
    shares = np.array([control.share(float(r)) for r in places])
    figure = np.array([control.figure({}, share=float(s)) for s in shares])
    ends = np.array([0.0, 1.0])
    at_ends = np.array([control.figure({}, share=float(s)) for s in ends])
    return Balance(
        amplitude, shares, figure, grid, drive, cross, ends, at_ends, harmonics_ma=components, end=end
    )


def looked_at(known: Sheet, raw: Balance) -> Looked:
    """Return what the stops sustain, as `imposed_amplitude.look` does for a control of volts."""
    top, floor = (Surplus(known.amplitude, known.surplus[row]) for row in (-1, 0))
    begins = top.crossings(rising=True)
    return Looked(
        pays=top,
        begins_v=float(begins[0]) if begins.size else float(raw.amplitude[0]),
        ends_v=_top(known, after=0.0),
        elsewhere=None,
        floor=floor,
        rest=(raw.rest_wiper, raw.rest_figure),
    )


def _top(known: Sheet, *, after: float) -> float | None:
    """Return the largest amplitude that the upper stop just sustains, None if there is none above `after`."""
    own = _spline(np.log(known.amplitude), known.surplus[-1])
    roots = [math.exp(float(r)) for r in own.roots(extrapolate=False) if float(own(r, 1)) < 0.0]
    return max((r for r in roots if r > after), default=None)


def _at(known: Sheet, values: FloatArray, amplitude: FloatArray, places: FloatArray) -> FloatArray:
    """Return values of the sheet at amplitudes and settings: cubic along the setting, then along the log
    of the amplitude where it lies between two columns.
    """
    along = _spline(known.rotation, values)
    rows = [
        float(_spline(np.log(known.amplitude), along(place))(math.log(volts)))
        for volts, place in zip(amplitude, places, strict=True)
    ]
    return np.array(rows)


def _proved(
    receiver: OnBench,
    mode: Mode,
    *,
    amplitude: FloatArray,
    places: FloatArray,
    drive: FloatArray,
) -> FloatArray:
    """Return the drive (mA) with what some points miss by, solved at their own setting, carried to all."""
    chosen = np.unique(np.linspace(0, amplitude.size - 1, min(_PROVED, amplitude.size)).astype(int))
    ratio = []
    for i in chosen:
        circuit = imposed_circuit(
            receiver.build, receiver.cards, mode, amplitude=float(amplitude[i]), rotation=float(places[i])
        )
        node = circuit.node(Place.DRIVE)
        with loaded(receiver.bench, circuit) as on:
            ratio.append(float(on.session.op(vectors=[node])[node][0].real) / drive[i])
    return np.asarray(drive * np.interp(np.arange(amplitude.size), chosen, ratio), dtype=np.float64)


__all__ = ["Sheet", "balance", "looked_at", "lowest_settings", "sheet"]
