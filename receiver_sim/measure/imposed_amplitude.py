"""The control held still, the amplitude imposed: where does the tube pay for the tank's losses? (envelope
view, d.c.)

A balance sweep follows one curve of settings, from vanishing amplitude up. Where that curve begins beyond an
end of the control, a part of it may still lie on the control; imposing all amplitudes at that end finds
where the curve crosses it, without having to get there along the curve. Newton's method is not asked for
the setting here, as it is in a balance sweep: it loses its way at the corners of the control's law at its
ends.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.envelope import LOWEST_V, imposed_circuit
from receiver_sim.engine import Bench, EngineFailed
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.on_bench import OnBench

FloatArray = npt.NDArray[np.float64]

HIGHEST_V = 22.0
"""Largest amplitude at the hot end looked at: no grid stands it without gross grid current."""

STEP_V = 0.05
_FINE = 25
"""A step is divided by so much, and again, where the tube just pays, or comes nearest to it."""

_REACHES = (HIGHEST_V, 7.0, 2.0)
"""Largest amplitudes to try: the next, should the circuit have no solution at the ones before."""

_INNER = (0.9, 0.8, 0.7, 0.5, 0.3)
"""Wiper fractions to look at where the top of the control sustains no amplitude: should the loop gain fall
towards the top, as with a plate that bottoms, it may be sustained further down."""

_GRID = 16
"""Steps in which the control is searched for a setting, and again the step that holds it; within 1/256 of
the travel the drive is linear."""

_NARROW = 1.01
"""Factor between the amplitudes that the top sustains below which its curve only touches the top: a range of
some millionths of the travel."""

_NEAR = 0.05
"""Wiper fraction either side of the setting before that is searched first for the next."""

_MET, _NEARLY_MET, _SECANTS = 5e-8, 1e-6, 6
"""Part of the loss that the drive may miss it by: that ends the search, that is accepted; steps to get there.
Newton's method leaves some 1e-8 of it open; 5e-8 are a false growth of a tenth of a second's e-fold.
"""

_SLOPE = "slope"

_FEWEST_FOUND = 8
"""Settings that must have been found for a curve to end where the circuit has no solution any more."""

_REST_POINTS = 20
_FAR = 1.0
"""Travels beyond either end of the control over which the model is asked for an onset."""


@dataclass(frozen=True)
class Surplus:
    """Power from the tube over the loss in the tank, less one, against amplitude (V), at one setting."""

    amplitude: FloatArray
    surplus: FloatArray

    def crossings(self, *, rising: bool) -> FloatArray:
        """Return the amplitudes at which the surplus turns positive (`rising`) or negative, in order."""
        y = self.surplus
        pays = y >= 0.0
        at = np.flatnonzero(pays[1:] != pays[:-1])
        at = at[pays[at + 1] == rising]
        x = self.amplitude
        return np.asarray(x[at] - y[at] * (x[at + 1] - x[at]) / (y[at + 1] - y[at]), dtype=np.float64)


@dataclass(frozen=True)
class Looked:
    """What an end of the control sustains.

    pays: surplus there; begins_v: amplitude (V) from which the settings that sustain it lead into the
    control, None if there is none; ends_v: largest amplitude that the top of the control sustains, None if
    there is none or it lies beyond those looked at; elsewhere: wiper fraction at which one is sustained
    where the top sustains none; floor: surplus at the bottom of the control; rest: wiper fractions over the
    control and screen volts there without oscillation.
    """

    pays: Surplus
    begins_v: float | None
    ends_v: float | None
    elsewhere: float | None
    floor: Surplus
    rest: tuple[FloatArray, FloatArray]


def look(receiver: OnBench, mode: Mode, *, end: float) -> Looked:
    """Impose all amplitudes with the control held at one end (0 or 1).

    Raises EngineFailed where not even small amplitudes have a solution.
    """
    circuit = imposed_circuit(receiver.build, receiver.cards, mode, amplitude=LOWEST_V, rotation=end)
    for highest in _REACHES:
        try:
            with loaded(receiver.bench, circuit) as on:
                pays = surplus(on, mode, wiper=end, highest=highest)
                other = surplus(on, mode, wiper=1.0 - end, highest=highest)
                at_top, floor = (pays, other) if end == 1.0 else (other, pays)
                dead = end == 1.0 and pays.surplus.max() < 0.0
                return Looked(
                    pays=pays,
                    begins_v=begins(pays, end=end),
                    ends_v=ends(at_top),
                    elsewhere=elsewhere(on, mode, highest=highest) if dead else None,
                    floor=floor,
                    rest=rest(on),
                )
        except EngineFailed:
            if highest == _REACHES[-1]:
                raise
    raise AssertionError("the last of them either returned or raised")


def begins(pays: Surplus, *, end: float) -> float | None:
    """Return the amplitude (V) from which the settings that sustain it lead from an end into the control.

    At the top that is the smallest at which the tube begins to pay, at the bottom the smallest at which it
    stops; LOWEST_V where onset lies at the very end.
    """
    at_top = end == 1.0
    if (pays.surplus[0] >= 0.0) == at_top:
        return LOWEST_V
    places = pays.crossings(rising=at_top)
    last = ends(pays)
    if not places.size or (at_top and last is not None and last < _NARROW * places[0]):
        return None
    return float(places[0])


def ends(pays: Surplus) -> float | None:
    """Return the largest amplitude (V) that the top of the control sustains, None if it is not in reach."""
    places = pays.crossings(rising=False)
    return float(places[-1]) if places.size and pays.surplus[-1] < 0.0 else None


def surplus(
    on: Loaded, mode: Mode, *, wiper: float, highest: float = HIGHEST_V, step: float = STEP_V
) -> Surplus:
    """Impose amplitudes from LOWEST_V to `highest` at a wiper fraction (0..1) on a loaded `imposed_circuit`.

    Around each crossing, and around the maximum, the sweep is repeated in fine steps. Raises EngineFailed.
    """
    on.set(Role.KNOB, wiper)
    found = _impose(on, mode, start=LOWEST_V, stop=highest, step=step)
    for part in (step / _FINE, step / _FINE**2):
        x, y = found.amplitude, found.surplus
        pays = y >= 0.0
        best = int(np.argmax(y))
        wanted = {int(i) for i in np.flatnonzero(pays[1:] != pays[:-1])} | {best - 1, best}
        for i in sorted(wanted & set(range(x.size - 1))):
            fine = _impose(
                on, mode, start=float(found.amplitude[i]), stop=float(found.amplitude[i + 1]), step=part
            )
            x, y = np.concatenate([x, fine.amplitude]), np.concatenate([y, fine.surplus])
        x, index = np.unique(x, return_index=True)
        found = Surplus(x, y[index])
    return found


def _impose(on: Loaded, mode: Mode, *, start: float, stop: float, step: float) -> Surplus:
    amplitude, drive = on.node(Place.AMPLITUDE), on.node(Place.DRIVE)
    run = on.session.dc(on.circuit.part(Role.AMPLITUDE), start, stop, step, vectors=[amplitude, drive])
    loss = 1e3 * mode.conductance
    return Surplus(run[amplitude], run[drive] / (loss * run[amplitude]) - 1.0)


class CurveEnd(enum.Enum):
    """Why a curve of settings against amplitude ends where it does."""

    TOP = "the top of the control sustains no more"
    FOLD = "no setting sustains more"
    NO_SOLUTION = "the circuit has no solution beyond"
    REACH = "no larger amplitude was looked at"


def curve(on: Loaded, mode: Mode, *, amplitudes: FloatArray, vectors: Sequence[str]) -> dict[str, FloatArray]:
    """Return `vectors` at the lowest setting that sustains each amplitude (V), on a loaded `imposed_circuit`.

    One value for each amplitude that some setting sustains; the others are left out. Raises EngineFailed.
    """
    wanted, knob = _with_drive(on, vectors), on.node(Place.KNOB)
    rows: list[dict[str, float]] = []
    for volts in amplitudes:
        row = _sustained(on, mode, float(volts), wanted, near=rows[-1][knob] if rows else None)
        if row is not None:
            rows.append(row)
    return _columns(rows, vectors)


def follow(
    on: Loaded, mode: Mode, *, step: float, vectors: Sequence[str]
) -> tuple[dict[str, FloatArray], CurveEnd]:
    """Return `vectors` at the lowest setting that sustains each amplitude, from LOWEST_V up in steps of
    ln(amplitude), until no setting does, and why it ends; on a loaded `imposed_circuit`.

    Where the top of the control ends it, its own largest amplitude is the last. A circuit that has no
    solution any more, which a starved tube need not have, ends it if some settings were found. Raises
    EngineFailed.
    """
    wanted, knob = _with_drive(on, vectors), on.node(Place.KNOB)
    rows: list[dict[str, float]] = []
    end = CurveEnd.REACH
    for volts in LOWEST_V * np.exp(np.arange(0.0, math.log(HIGHEST_V / LOWEST_V), step)):
        near = rows[-1][knob] if rows else None
        try:
            row = _sustained(on, mode, float(volts), wanted, near=near)
        except EngineFailed:
            if len(rows) < _FEWEST_FOUND:
                raise
            end = CurveEnd.NO_SOLUTION
            break
        if row is None and rows:
            last = _at_top(on, mode, wanted, low=rows[-1][on.node(Place.AMPLITUDE)], high=float(volts))
            end = CurveEnd.FOLD if last is None else CurveEnd.TOP
            rows += [] if last is None else [last]
            break
        if row is not None:
            rows.append(row)
    return _columns(rows, vectors), end


def _with_drive(on: Loaded, vectors: Sequence[str]) -> list[str]:
    needed = (on.node(Place.DRIVE), on.node(Place.AMPLITUDE), on.node(Place.KNOB))
    return list(dict.fromkeys([*vectors, *needed]))


def _columns(rows: Sequence[Mapping[str, float]], vectors: Sequence[str]) -> dict[str, FloatArray]:
    return {name: np.array([row[name] for row in rows], dtype=np.float64) for name in vectors}


def _read(on: Loaded, wiper: float, wanted: Sequence[str]) -> dict[str, float]:
    on.set(Role.KNOB, wiper)
    point = on.session.op(vectors=list(wanted))
    return {name: float(point[name].real[0]) for name in wanted}


def _at_top(
    on: Loaded, mode: Mode, wanted: Sequence[str], *, low: float, high: float
) -> dict[str, float] | None:
    """Return `wanted` at the top of the control with the amplitude between `low` and `high` (V) that it just
    sustains, None if it sustains not even the lower."""
    from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

    drive = on.node(Place.DRIVE)

    def excess(logarithm: float) -> float:
        volts = math.exp(logarithm)
        on.set(Role.AMPLITUDE, volts)
        return _read(on, 1.0, [drive])[drive] / (1e3 * mode.conductance * volts) - 1.0

    ends = math.log(low), math.log(high)
    if not excess(ends[0]) > 0.0 > excess(ends[1]):
        return None
    on.set(Role.AMPLITUDE, math.exp(float(brentq(excess, *ends, xtol=1e-9))))
    return _read(on, 1.0, wanted)


def _sustained(
    on: Loaded, mode: Mode, volts: float, wanted: Sequence[str], *, near: float | None = None
) -> dict[str, float] | None:
    """Return `wanted` at the lowest setting that sustains an amplitude, None if none does.

    near: the setting that sustained the amplitude before, about which is looked first. The setting is
    bettered by secants until the drive meets the loss, for what is left of it grows or dies as a false mode.
    """
    loss, drive = 1e3 * mode.conductance * volts, on.node(Place.DRIVE)
    on.set(Role.AMPLITUDE, volts)
    found = None
    if near is not None:
        found = _sustaining(on, loss=loss, low=max(near - _NEAR, 0.0), high=min(near + _NEAR, 1.0))
    found = found or _sustaining(on, loss=loss)
    if found is None:
        return None
    wiper, slope = found
    row = _read(on, wiper, wanted)
    for _ in range(_SECANTS):
        left = row[drive] - loss
        if abs(left) < _MET * loss:
            break
        at = min(max(wiper - left / slope, 0.0), 1.0)
        if at == wiper:
            break
        better = _read(on, at, wanted)
        slope = (better[drive] - row[drive]) / (at - wiper) or slope
        wiper, row = at, better
    # else the setting lies beyond a stop, or the circuit has two states there and a sweep saw the other
    return row if abs(row[drive] - loss) < _NEARLY_MET * loss else None


def _sustaining(
    on: Loaded, *, loss: float, low: float = 0.0, high: float = 1.0
) -> tuple[float, float] | None:
    """Return the lowest wiper fraction from `low` to `high` at which the drive (mA) reaches the loss, and
    the drive's slope there (mA for the whole travel); None if it reaches it nowhere."""
    knob, drive = on.node(Place.KNOB), on.node(Place.DRIVE)
    found = _crossing(on, low, high, vectors=(drive,), excess=lambda run: run[drive] - loss, which=0)
    return None if found is None else (found[knob], found[_SLOPE])


def _crossing(
    on: Loaded,
    low: float,
    high: float,
    *,
    vectors: Sequence[str],
    excess: Callable[[Mapping[str, FloatArray]], FloatArray],
    which: int,
) -> dict[str, float] | None:
    """Return `vectors` where the `excess` over the loss turns positive between two wiper fractions, the first
    (`which` 0) or the last (-1) of such places, with its slope there; None if it does nowhere.

    The step of a coarse sweep that holds the place is swept again; in it all is linear. Raises EngineFailed.
    """
    found, knob = None, on.node(Place.KNOB)
    wanted = [knob, *vectors]
    for _ in range(2):
        run = on.session.dc(on.circuit.part(Role.KNOB), low, high, (high - low) / _GRID, vectors=wanted)
        y = excess(run)
        at = np.flatnonzero((y[:-1] < 0.0) & (y[1:] >= 0.0))
        if not at.size:
            return None
        i = int(at[which])
        low, high = float(run[knob][i]), float(run[knob][i + 1])
        share = float(y[i] / (y[i] - y[i + 1]))
        slope = float((y[i + 1] - y[i]) / (high - low))
        found = {name: float(run[name][i] + share * (run[name][i + 1] - run[name][i])) for name in wanted}
        found[_SLOPE] = slope
    return found


def elsewhere(on: Loaded, mode: Mode, *, highest: float) -> float | None:
    """Return a wiper fraction within the control that sustains some amplitude up to `highest`, else None."""
    for wiper in _INNER:
        if surplus(on, mode, wiper=wiper, highest=highest).surplus.max() >= 0.0:
            return wiper
    return None


def rest(on: Loaded) -> tuple[FloatArray, FloatArray]:
    """Return wiper fractions over the control and what it sets there, without oscillation."""
    on.set(Role.AMPLITUDE, LOWEST_V)
    knob, control = on.node(Place.KNOB), _control_node(on.circuit)
    run = on.session.dc(on.circuit.part(Role.KNOB), 0.0, 1.0, 1.0 / _REST_POINTS, vectors=[knob, control])
    return run[knob], run[control]


def _control_node(circuit: Circuit) -> str:
    node = circuit.control.node
    assert node is not None
    return node


def onset_beyond(bench: Bench, circuit: Circuit, mode: Mode, *, end: float) -> float | None:
    """Return the screen volts at which a vanishing amplitude is sustained, beyond one end (0 or 1).

    circuit: an `imposed_circuit`, its amplitude LOWEST_V; its control is stretched beyond its ends. None
    where there are none within one travel: the tube may not oscillate at any, and farther off its model is
    not to be trusted; also where the circuit has no solution.
    """
    loss = 1e3 * mode.conductance
    drive, amplitude = circuit.node(Place.DRIVE), circuit.node(Place.AMPLITUDE)
    control = _control_node(circuit)
    low, high = (end, end + _FAR) if end == 1.0 else (end - _FAR, end)
    try:
        with loaded(bench, circuit) as on:
            found = _crossing(
                on,
                low,
                high,
                vectors=(drive, control, amplitude),
                excess=lambda run: run[drive] - loss * run[amplitude],
                which=-1,
            )
    except EngineFailed:
        return None
    return None if found is None else found[control]
