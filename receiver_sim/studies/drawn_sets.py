"""Onset of one set after another of a build: parts and tubes drawn, the circuit loaded once a set.

Bands that differ in values alone share the load: their coils are put in by `alter`. What a set gives depends
on its number and the seed only, as each begins from a fresh load.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from receiver_sim.circuit.element import Law
from receiver_sim.circuit.element_map import ElementMap
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.sets import SetPlan, Start, laws_of, set_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, EngineError, EngineLost
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.results.base import Status
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Band

NEAR = 0.9
"""Loop gain from which the approach to onset counts."""

_CLOSE = 3e-3
"""|T - 1| at which the search in a set stops: a parabola through this point, the one before and that of the
approach leaves a small part of it."""

_LONGEST = 0.25
_LEAST_FARAD = 1e-14
_MOST = 7

# ---------------------------------------------------------------------------- one set


@dataclass(frozen=True)
class _Drawn(Loaded):
    """A loaded set on one of its bands: its control has the track of the set."""

    one: ElementMap
    by: Mapping[str, float]

    def turn_to_share(self, share: float) -> None:
        """Turn the regeneration control to a share (0..1) of its travel."""
        for element, value in self.one.turned(share, self.by).items():
            self.session.alter(element, value)


def look_at_set(bench: Bench, plan: SetPlan, by: Mapping[str, float]) -> tuple[SetOnset, ...]:
    """Return the onset of a set on each band; by: deviations by name of factor."""
    found = look_at_bands(bench, plan, by, range(len(plan.bands)))
    return tuple(found[index] for index in range(len(plan.bands)))


def volts_of_set(
    bench: Bench, plan: SetPlan, by: Mapping[str, float], shares: Sequence[float]
) -> list[dict[str, float]]:
    """Return the volts of a set at rest on the plan's first band, at each of some shares (0..1) of the
    control's travel. Raises EngineError.
    """
    one = plan.maps[0]
    circuit = set_circuit(one, laws_of(plan, by), by)
    with bench.session(deck(circuit)) as session:
        on = _Drawn(session, circuit, one, by)
        out = []
        for share in shares:
            on.turn_to_share(share)
            out.append(on.volts())
        return out


def look_at_bands(
    bench: Bench,
    plan: SetPlan,
    by: Mapping[str, float],
    wanted: Sequence[int],
    *,
    also: Callable[[Loaded], None] | None = None,
    approach: bool = True,
) -> dict[int, SetOnset]:
    """Return the onset of a set on some of the plan's bands, by their numbers.

    also: is given the loaded set once, after its onsets; not where a simulation failed. approach: whether
    the approach is wanted, too, which takes one analysis more.
    """
    found: dict[int, SetOnset] = {}
    laws = laws_of(plan, by)
    for whole in _groups(plan):
        group = [index for index in whole if index in wanted]
        try:
            for index, onset in _group(bench, plan, group, laws, by, also, approach) if group else ():
                found[index] = onset
            also = None
        except (EngineError, NoAnswer):
            # the session is over: the bands that are left get one each
            for index in group:
                if index not in found:
                    found[index] = _alone(bench, plan, index, laws, by)
    return found


def _alone(
    bench: Bench, plan: SetPlan, index: int, laws: tuple[Law, ...], by: Mapping[str, float]
) -> SetOnset:
    try:
        return next(onset for _, onset in _group(bench, plan, (index,), laws, by))
    except EngineLost:  # twice now: it says nothing about the set
        raise
    except (EngineError, NoAnswer):
        return SetOnset(Status.FAILED)


def _groups(plan: SetPlan) -> list[tuple[int, ...]]:
    """Return the bands that share their elements and nodes, by number."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, one in enumerate(plan.maps):
        shape = tuple((e.name, e.nodes, e.links, e.tail) for e in one.circuit.elements)
        groups.setdefault(shape, []).append(index)
    return [tuple(group) for group in groups.values()]


def _group(
    bench: Bench,
    plan: SetPlan,
    group: Sequence[int],
    laws: tuple[Law, ...],
    by: Mapping[str, float],
    also: Callable[[Loaded], None] | None = None,
    approach: bool = True,
) -> Iterator[tuple[int, SetOnset]]:
    first = plan.maps[group[0]]
    circuit = set_circuit(first, laws, by)
    now = {e.name: e.value for e in circuit.elements if e.value is not None}
    turned = _turned(first)
    with bench.session(deck(circuit)) as session:
        for index in group:
            one = plan.maps[index]
            for name, value in {**one.values, **one.moved(by)}.items():
                if name in now and now[name] != value and name not in turned:
                    session.alter(name, value)
                    now[name] = value
            on = _Drawn(session, circuit, one, by)
            yield index, _onset(on, plan, index, by, approach)
        if also is not None:
            also(on)


def _turned(one: ElementMap) -> set[str]:
    return {follower.element for follower in one.circuit.control.followers} | {one.circuit.part(Role.TUNING)}


def _onset(on: _Drawn, plan: SetPlan, index: int, by: Mapping[str, float], approach: bool) -> SetOnset:
    band, start = plan.bands[index], plan.starts[index]
    dial = band.middle_hz
    inductance = band.coil.inductance * (1.0 + by.get(f"bands[{_number(plan, band)}].coil.inductance", 0.0))
    own = band.model_copy(update={"coil": band.coil.model_copy(update={"inductance": inductance})})
    probe = Probe(on, band=own, dial_hz=dial)
    share = 0.5 if start.share is None else start.share
    total = float(resonant_capacitance(inductance, frequency=dial))
    tuning = tuning_of(start, band, inductance)
    if tuning is None:
        tuning = plan.maps[index].values[on.circuit.part(Role.TUNING)]
    probe.tune(max(tuning, _LEAST_FARAD))
    first = probe.measure(share)
    probe.tune(max(tuning + total * ((first.frequency / dial) ** 2 - 1.0), _LEAST_FARAD))
    probe.frequency = dial
    samples = None if start.share is None else _quick(probe, first, start, approach)
    if samples is None:
        status, samples, found = plan.search(probe.measure)
        if found is None:
            return SetOnset(status)
    return _reduced(samples, on, NEAR)


def tuning_of(start: Start, band: Band, inductance: float) -> float | None:
    """Return the tuning capacitor (F) that puts a set with a coil of its own at the middle of a band, as far
    as the coil decides; None where that of the build as stated is not known.
    """
    if start.tuning is None:
        return None
    own, stated = (
        float(resonant_capacitance(henry, frequency=band.middle_hz))
        for henry in (inductance, band.coil.inductance)
    )
    return max(start.tuning + own - stated, _LEAST_FARAD)


def _number(plan: SetPlan, band: Band) -> int:
    return [one.name for one in plan.build.bands].index(band.name)


def _quick(probe: Probe, first: Sample, start: Start, approach: bool) -> list[Sample] | None:
    """Return samples about the onset and about the loop gain from which the approach counts, None if the
    onset does not lie where a rising gain leads.
    """
    samples = [first]  # taken before the dial was trimmed: good for a guess, no more
    slope = start.slope
    while len(samples) < _MOST:
        last = samples[-1]
        if len(samples) > 2 and abs(last.gain - 1.0) < _CLOSE:
            break
        guess = last.wiper + min(max((1.0 - last.gain) / slope, -_LONGEST), _LONGEST)
        if not 0.0 < guess < 1.0:
            return None
        samples.append(probe.measure(guess))
        a, b = sorted(samples[-2:], key=lambda s: s.wiper)
        if b.wiper - a.wiper < 1e-6:
            break
        if not b.gain > a.gain:
            return None
        slope = (b.gain - a.gain) / (b.wiper - a.wiper)
    else:
        return None
    samples = samples[1:]
    low = samples[-1].wiper - (samples[-1].gain - NEAR) / slope
    if approach and low > 0.0:
        samples.append(probe.measure(low))
    return samples


def crossing(samples: Sequence[Sample], gain: float) -> float:
    """Return the wiper share of a loop gain by inverse interpolation through the three nearest samples."""
    near = sorted(samples, key=lambda s: abs(s.gain - gain))[:3]
    return _through([(s.gain, s.wiper) for s in near], gain)


def _through(points: Sequence[tuple[float, float]], x: float) -> float:
    """Return Lagrange's polynomial through some points, at x."""
    total = 0.0
    for i, (xi, yi) in enumerate(points):
        weight = 1.0
        for j, (xj, _) in enumerate(points):
            if j != i:
                if xi == xj:
                    raise NoAnswer("two settings of the control give the same loop gain")
                weight *= (x - xj) / (xi - xj)
        total += weight * yi
    return total


def _reduced(samples: Sequence[Sample], on: Loaded, near: float) -> SetOnset:
    control = on.circuit.control
    share = crossing(samples, 1.0)
    figure = _through([(s.wiper, s.figure) for s in _nearest(samples, share)], share)
    hertz = _through([(s.wiper, s.frequency) for s in _nearest(samples, share)], share)
    rotation = control.rotation(min(max(share, 0.0), 1.0))
    found = SetOnset(Status.OSCILLATES, rotation, figure, oscillation_hz=hertz)
    if min(s.gain for s in samples) > near + 0.05:
        return found
    low = crossing(samples, near)
    if not 0.0 <= low < share:
        return found
    below = _through([(s.wiper, s.figure) for s in _nearest(samples, low)], low)
    turn = (rotation - control.rotation(low)) * control.degrees
    return dataclasses.replace(found, approach=figure - below, approach_deg=turn)


def _nearest(samples: Sequence[Sample], share: float) -> list[Sample]:
    return sorted(samples, key=lambda s: abs(s.wiper - share))[:3]
