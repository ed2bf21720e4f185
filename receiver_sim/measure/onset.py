"""Where on the control, and how gently, does a band break into oscillation? (small signals, RF view)"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench, EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.measure.on_bench import AtDial
from receiver_sim.measure.rest_states import two_states
from receiver_sim.physics.monotone_cubic import MonotoneCubic
from receiver_sim.results.base import Figure, Status
from receiver_sim.results.onset import REVERSED, ControlSetting, Onset
from receiver_sim.schema import Band, Build

APPROACH_GAIN = 0.9
"""The approach to onset is counted from this loop gain (a choice; at 0.9 the tank's Q is multiplied by
ten).
"""

_CLOSE = 3e-4
"""|T - 1| at which the search stops; the last step is interpolated, so its error is a small part of this."""

_AGAINST = -0.05
"""Loop gain below which the feedback works against the swing, rather than being next to nothing."""

_MOST = 10
"""Engine evaluations a search may spend."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit of the search: the receiver tuned to `dial_hz`, the control half way."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def search(
    measure: Callable[[float], Sample], *, most: int = _MOST
) -> tuple[Status, list[Sample], float | None]:
    """Find the lowest wiper fraction at which the loop gain reaches one.

    Returns the status, all samples (sorted by wiper fraction) and the wiper fraction of onset or None. `most`
    bounds the calls of `measure`; the search itself needs five to seven, the last of them for the approach at
    T = 0.9.
    """
    samples = [measure(0.0), measure(1.0)]
    if samples[0].gain >= 1.0:
        return Status.NOT_IN_RANGE, samples, None
    if samples[1].gain < 1.0:
        # the gain may have a maximum within the range: a plate that bottoms as the screen rises
        samples += [measure(0.35), measure(0.7)]
        best = max(samples, key=lambda s: s.gain)
        if best.gain < 1.0:
            samples.append(measure(_vertex(samples)))
            best = max(samples, key=lambda s: s.gain)
        if best.gain < 1.0:
            return Status.DOES_NOT, sorted(samples, key=lambda s: s.wiper), None
    while len(samples) < most - 1:
        rising = _rising(samples)
        if min(abs(s.gain - 1.0) for s in rising) < _CLOSE:
            break
        samples.append(measure(_inverse(rising, 1.0)))
    rising = _rising(samples)
    if rising[0].gain < APPROACH_GAIN and min(abs(s.gain - APPROACH_GAIN) for s in rising) > 0.01:
        samples.append(measure(_inverse(rising, APPROACH_GAIN)))
    return Status.OSCILLATES, sorted(samples, key=lambda s: s.wiper), _inverse(_rising(samples), 1.0)


def _vertex(samples: list[Sample]) -> float:
    """Return the wiper fraction of the maximum of the parabola around the best sample."""
    ordered = sorted(samples, key=lambda s: s.wiper)
    best = max(range(len(ordered)), key=lambda i: ordered[i].gain)
    middle = min(max(best, 1), len(ordered) - 2)
    near = ordered[middle - 1 : middle + 2]
    _, b, a = np.polynomial.polynomial.polyfit([s.wiper for s in near], [s.gain for s in near], 2)
    vertex = -b / (2.0 * a) if a < 0.0 else ordered[best].wiper + 0.1
    return float(min(max(vertex, near[0].wiper + 0.01), near[2].wiper - 0.01))


def _rising(samples: list[Sample]) -> list[Sample]:
    """Return the samples up to the first one above onset, as far as their gain rises, and the next if it
    rises on.
    """
    ordered = sorted(samples, key=lambda s: s.wiper)
    first = next(i for i, s in enumerate(ordered) if s.gain >= 1.0)
    start = first
    while start > 0 and ordered[start - 1].gain < ordered[start].gain:
        start -= 1
    end = first + 1
    while end < len(ordered) and ordered[end].gain > ordered[end - 1].gain:
        end += 1
    return ordered[start:end]


def _inverse(rising: list[Sample], gain: float) -> float:
    """Return the wiper fraction of a gain by inverse interpolation.

    A parabola through the three samples nearest in gain converges fastest (Brent 1973, ch. 4); where it
    leaves the bracket, a monotone cubic through all samples (Fritsch and Carlson 1980) stands in.
    """
    below = [s for s in rising if s.gain < gain]
    above = [s for s in rising if s.gain >= gain]
    near = sorted(rising, key=lambda s: abs(s.gain - gain))[:3]
    if len(near) == 3 and below and above:
        x = np.array([s.gain - gain for s in near])
        y = np.array([s.wiper for s in near])
        guess = sum(y[i] * np.prod([x[j] / (x[j] - x[i]) for j in range(3) if j != i]) for i in range(3))
        if below[-1].wiper < guess < above[0].wiper:
            return float(guess)
    curve = MonotoneCubic([s.gain for s in rising], [s.wiper for s in rising])
    return float(curve(gain))


class Crossed(NamedTuple):
    """An onset between samples: what the control sets there (V or F), the frequency (Hz) of zero phase, and
    (wiper fraction, what the control sets) where the loop gain is 0.9, None if it is more all the way.
    """

    figure: float
    frequency: float
    low: tuple[float, float] | None


def crossed(samples: list[Sample], onset: float) -> Crossed:
    """Return what is known of an onset (wiper fraction) that a search found, from its samples."""
    rising = _rising(samples)
    wipers = [s.wiper for s in rising]
    figures = MonotoneCubic(wipers, [s.figure for s in rising])
    low = None
    if rising[0].gain < APPROACH_GAIN:
        wiper = _inverse(rising, APPROACH_GAIN)
        low = wiper, float(figures(wiper))
    frequency = MonotoneCubic(wipers, [s.frequency for s in rising])(onset)
    return Crossed(float(figures(onset)), float(frequency), low)


def reduce(
    found: tuple[Status, list[Sample], float | None], *, degrees: float, band: Band, probe: Probe
) -> Onset:
    """Turn the samples of a search into the result; degrees: the control turns from stop to stop."""
    status, samples, onset = found
    without = dataclasses.replace(
        _nothing(band, probe.dial_hz, status),
        gain_lowest=samples[0].gain,
        gain_highest=samples[-1].gain,
        tuning_farad=probe.tuning,
        evaluations=probe.evaluations,
    )
    if onset is None:
        # a triode's own capacitance works against it while a throttle carries little: more of it mends that
        against = status is Status.DOES_NOT and samples[-1].gain < min(_AGAINST, samples[0].gain)
        return dataclasses.replace(without, warnings=(REVERSED,)) if against else without
    there = crossed(samples, onset)
    in_volts = probe.sets["unit"] == "V"
    setting = _setting(probe, onset, there.figure)
    approach = None if there.low is None else _setting(probe, *there.low)
    slope = _slope(_rising(samples), setting.figure)
    return dataclasses.replace(
        without,
        onset=setting,
        oscillation_hz=there.frequency,
        slope_per_v=slope if in_volts else None,
        slope_in=None if in_volts else Figure(slope, f"1/{setting.unit}"),
        approach_v=setting.figure - approach.figure if in_volts and approach is not None else None,
        approach_deg=None if approach is None else (setting.rotation - approach.rotation) * degrees,
        at_nine_tenths=approach,
        stops_at=_stop(samples, probe),
    )


def _setting(probe: Probe, wiper: float, figure: float) -> ControlSetting:
    return ControlSetting.of(probe.rotation(wiper), figure, **probe.sets)


def _slope(rising: list[Sample], figure: float) -> float:
    """Return dT/dV at onset from the parabola through the three samples nearest to it that differ enough."""
    near = sorted(rising, key=lambda s: abs(s.gain - 1.0))
    chosen = [near[0]]
    for sample in near[1:]:
        if all(abs(sample.gain - other.gain) > 0.01 for other in chosen):
            chosen.append(sample)
        if len(chosen) == 3:
            break
    x = np.array([s.figure - figure for s in chosen])
    y = np.array([s.gain for s in chosen])
    coefficients = np.polynomial.polynomial.polyfit(x, y, len(chosen) - 1)
    return float(coefficients[1])


def _stop(samples: list[Sample], probe: Probe) -> ControlSetting | None:
    """Return the setting above onset at which the gain falls below one again, by interpolation, or None."""
    if samples[-1].gain >= 1.0:
        return None
    last = max(i for i, s in enumerate(samples) if s.gain >= 1.0)
    above, below = samples[last], samples[last + 1]
    share = (above.gain - 1.0) / (above.gain - below.gain)
    wiper = above.wiper + share * (below.wiper - above.wiper)
    return _setting(probe, wiper, above.figure + share * (below.figure - above.figure))


def run(tuned: AtDial, *, mains: float = 1.0) -> Onset:
    """Find the onset of one band at one dial frequency in at most ten engine evaluations.

    mains scales the plate supply (1 = nominal). A simulation that fails gives a result of status FAILED that
    names the deck; nothing is guessed.
    """
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)
    try:
        with loaded(tuned.bench, circuit) as on:
            found = measured(on, band=tuned.band, dial_hz=tuned.dial_hz, mains=mains)
        if _doubtful(found, circuit) and _better_turned_round(tuned.bench, circuit, found, band=tuned.band):
            return dataclasses.replace(found, warnings=(REVERSED,))
    except (EngineError, NoAnswer) as error:
        return failed(tuned.band, tuned.dial_hz, str(error))
    if not math.isclose(tuned.dial_hz, tuned.band.middle_hz):
        return found
    try:
        twice = two_states(tuned.bench, circuit, tuned.cards)
    except EngineError as error:
        said = f"whether the plate can rest at two voltages was not found out: {error}"
    else:
        said = "" if twice is None else str(twice)
    return dataclasses.replace(found, warnings=(*found.warnings, said)) if said else found


def _doubtful(found: Onset, circuit: Circuit) -> bool:
    """Return whether a loop gain that stays negative may be the tube's capacitance or a reversed tickler."""
    gain = found.gain_highest
    negative = found.status is Status.DOES_NOT and gain is not None and gain < _AGAINST
    return negative and not found.warnings and circuit.find(Role.TICKLER) is not None


def _better_turned_round(bench: Bench, circuit: Circuit, found: Onset, *, band: Band) -> bool:
    """Return whether a tickler with its ends swapped gives more loop gain at the upper stop."""
    coupling = circuit.part(Role.TICKLER)
    turned = circuit.replace({coupling: -(circuit[coupling].value or 0.0)})
    with loaded(bench, turned) as on:
        probe = Probe(on, band=band, dial_hz=found.dial_hz)
        probe.trim()
        assert found.gain_highest is not None
        return probe.measure(1.0).gain > found.gain_highest


def measured(on: Loaded, *, band: Band, dial_hz: float, mains: float = 1.0) -> Onset:
    """Find the onset on the loaded circuit of `plan`. Raises EngineError, NoAnswer."""
    probe = Probe(on, band=band, dial_hz=dial_hz, mains=mains)
    probe.trim()
    # a trim that had to look wide leaves the search what it needs
    found = search(probe.measure, most=max(_MOST - probe.evaluations, _MOST - 2))
    return reduce(found, degrees=on.circuit.control.degrees, band=band, probe=probe)


def failed(band: Band, dial_hz: float, reason: str) -> Onset:
    """Return the result of a search whose simulation failed, with the reason as its warning."""
    return dataclasses.replace(_nothing(band, dial_hz, Status.FAILED), warnings=(reason,))


def _nothing(band: Band, dial_hz: float, status: Status) -> Onset:
    """Return a result that holds no figure yet."""
    return Onset(
        band=band.name,
        dial_hz=dial_hz,
        status=status,
        onset=None,
        oscillation_hz=None,
        slope_per_v=None,
        approach_v=None,
        approach_deg=None,
        at_nine_tenths=None,
        gain_lowest=None,
        gain_highest=None,
        stops_at=None,
        tuning_farad=None,
        evaluations=0,
    )
