"""Onset of one set after another of a build: parts and tubes drawn, the circuit loaded once a set.

Bands that differ in values alone share the load: their coils are put in by `alter`. What a set gives depends
on its number and the seed only, as each begins from a fresh load.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.element import Law
from receiver_sim.circuit.element_map import ElementMap
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.sets import SetPlan, Start, laws_of, set_circuit
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, EngineError, NoSolution, Session
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.measure.onset import crossed, search
from receiver_sim.measure.set_onset import (
    LEAST_FARAD,
    NEAR,
    PLACES,
    Alike,
    Looked,
    crossing,
    figures_at,
    first_guess,
    gains_of,
    steps,
)
from receiver_sim.physics.tank import resonant_capacitance
from receiver_sim.results.base import Status
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Band

_FAR = 20.0
"""Half widths of the tank off within which the first zero phase of a set is believed, as the study's own trim
does: 1/T runs straight enough for a guess."""

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
    for whole in plan.groups:
        group = [index for index in whole if index in wanted]
        if not group:
            continue
        try:
            with _set(bench, plan, group, laws, by) as one:
                found |= one.onsets(approach)
                if also is not None:
                    also(one.on(group[-1]))
                    also = None
        except (EngineError, NoAnswer):
            # the session is over: the bands that are left get one each
            found |= {i: _alone(bench, plan, i, laws, by, approach) for i in group if i not in found}
    return found


def _alone(
    bench: Bench, plan: SetPlan, index: int, laws: tuple[Law, ...], by: Mapping[str, float], approach: bool
) -> SetOnset:
    try:
        with _set(bench, plan, (index,), laws, by, singly=True) as one:
            return one.onsets(approach)[index]
    except (NoSolution, NoAnswer):
        return SetOnset(Status.FAILED)


@contextmanager
def _set(
    bench: Bench,
    plan: SetPlan,
    group: Sequence[int],
    laws: tuple[Law, ...],
    by: Mapping[str, float],
    *,
    singly: bool = False,
) -> Iterator[_Set]:
    """Load a set for bands that share their elements, the first of them in; singly: for one analysis an
    exchange, which may climb the engine's ladder.
    """
    circuit = set_circuit(plan.maps[group[0]], laws, by)
    with bench.session(deck(circuit)) as session:
        yield _Set(plan, tuple(group), by, session, circuit, singly=singly)


class _Set:
    """A loaded set and its bands, whose values are put in by `alter`."""

    def __init__(
        self,
        plan: SetPlan,
        group: tuple[int, ...],
        by: Mapping[str, float],
        session: Session,
        circuit: Circuit,
        *,
        singly: bool,
    ) -> None:
        self._plan, self._group, self._by = plan, group, by
        self._session, self._circuit, self._singly = session, circuit, singly
        self._now = {e.name: e.value for e in circuit.elements if e.value is not None}
        followers = {one.element for one in circuit.control.followers}
        self._tuning = circuit.part(Role.TUNING)
        moved = {i: {**plan.maps[i].values, **plan.maps[i].moved(by)} for i in group}
        first = moved[group[0]]
        differ = {n for one in moved.values() for n, v in one.items() if v != first[n] and n in self._now}
        differ -= {*followers, self._tuning}
        self._own = {i: {n: one[n] for n in differ} for i, one in moved.items()}
        self._looked = {i: self._begun(i) for i in group}
        self._in = group[0]

    def on(self, index: int) -> _Drawn:
        """Return the set with a band's values in."""
        self._in = index
        for name, value in self._altered(self._own[index]).items():
            self._session.alter(name, value)
        return _Drawn(self._session, self._circuit, self._plan.maps[index], self._by)

    def _altered(self, values: Mapping[str, float]) -> dict[str, float]:
        """Return what of some values the loaded set does not have yet, and note it."""
        new = {name: value for name, value in values.items() if self._now[name] != value}
        self._now.update(new)
        return new

    def _begun(self, index: int) -> Looked:
        plan = self._plan
        band, start = plan.bands[index], plan.starts[index]
        off = self._by.get(f"bands[{_number(plan, band)}].coil.inductance", 0.0)
        inductance = band.coil.inductance * (1.0 + off)
        own = band.model_copy(update={"coil": band.coil.model_copy(update={"inductance": inductance})})
        on = _Drawn(self._session, self._circuit, plan.maps[index], self._by)
        probe = Probe(on, band=own, dial_hz=band.middle_hz)
        tuning = tuning_of(start, band, inductance)
        if tuning is None:
            tuning = plan.maps[index].values[self._tuning]
        probe.tuning = max(tuning, LEAST_FARAD)
        return Looked(probe, inductance)

    def onsets(self, approach: bool) -> dict[int, SetOnset]:
        """Return the onsets of all bands: each exchange with the engine measures each band once.

        One band goes ahead: how its share runs against that of the build as stated is much the same on the
        others, as tube and supply are.
        """
        found: dict[int, SetOnset] = {}
        under_way: dict[int, Generator[float, Sample, Status | None]] = {}

        def next_of(index: int, sample: Sample | None) -> dict[int, float]:
            try:
                one = under_way[index]
                return {index: next(one) if sample is None else one.send(sample)}
            except StopIteration as end:
                found[index] = self._ended(index, end.value)
                return {}

        def begun(index: int, slope: float) -> dict[int, float]:
            alike = _alike(self._plan.starts[index].gains)
            if alike is None:
                found[index] = self._ended(index, None)
                return {}
            looked = self._looked[index]
            under_way[index] = steps(looked, alike, slope=slope, approach=approach)
            return next_of(index, None)

        shares = {i: self._plan.starts[i].share for i in self._group}
        first = self._measured({i: 0.5 if share is None else share for i, share in shares.items()})
        for index, sample in first.items():
            self._looked[index].trim(sample)
        slope, asked = 1.0, dict[int, float]()
        ahead = max(first, key=lambda i: self._worth(i, first[i]))
        if asked := begun(ahead, slope):
            asked = next_of(ahead, self._measured(asked)[ahead])
            slope = self._looked[ahead].slope or slope
        for index in first:
            if index != ahead:
                asked |= begun(index, slope)
        while asked:
            samples, asked = self._measured(asked), {}
            for index, sample in samples.items():
                asked |= next_of(index, sample)
        return found

    def _worth(self, index: int, first: Sample) -> float:
        """Return what a band that goes ahead would show: the more, the farther off it lies on the control."""
        alike = _alike(self._plan.starts[index].gains)
        guess = None if alike is None else first_guess(self._looked[index], alike)
        return abs(first.gain - 1.0) if guess is not None and 0.0 < guess < 1.0 else -1.0

    def at_each(self, index: int, shares: Sequence[float]) -> list[Sample]:
        """Return what a band gives at each of some shares, tuned as it begins."""
        on, probe = self.on(index), self._looked[index].probe
        on.tune(probe.tuning or 0.0)
        return probe.measure_each(shares) or [self._one(index, share) for share in shares]

    def _measured(self, asked: Mapping[int, float]) -> dict[int, Sample]:
        """Return what each band gives at a share; one whose tank lies elsewhere is measured by itself."""
        if self._singly or not asked:
            return {index: self._one(index, share) for index, share in asked.items()}
        # the band that is in comes first: it is not put in again
        asked = {i: asked[i] for i in sorted(asked, key=lambda i: i != self._in)}
        sweeps = []
        for index, share in asked.items():
            probe, one = self._looked[index].probe, self._plan.maps[index]
            values = {**self._own[index], self._tuning: probe.tuning or 0.0, **one.turned(share, self._by)}
            sweeps.append((self._altered(values), *probe.ends))
            self._in = index
        probes = {index: self._looked[index].probe for index in asked}
        runs = self._session.ac_each(sweeps, 3, vectors=next(iter(probes.values())).vectors)
        if runs is None:
            if self._session.over:
                raise NoSolution("one of the bands found no solution")
            # nothing was sent: what counts as in the loaded set has to get there
            for setting, _, _ in sweeps:
                for name, value in setting.items():
                    self._session.alter(name, value)
        read = {
            index: None if run is None else probes[index].read(run, share, reach=self._reach(index))
            for (index, share), run in zip(asked.items(), runs or (None,) * len(asked), strict=True)
        }
        return {i: self._one(i, asked[i]) if sample is None else sample for i, sample in read.items()}

    def _reach(self, index: int) -> float:
        """Return how far off, in half widths, a zero phase is believed: the first is a guess."""
        return _FAR if self._looked[index].first is None else 3.0

    def _one(self, index: int, share: float) -> Sample:
        """Return what a band gives at a share of the control's travel, in an exchange of its own."""
        self.on(index)
        probe = self._looked[index].probe
        probe.tune(probe.tuning or 0.0)
        self._now[self._tuning] = probe.tuning or 0.0
        self._now.update(self._plan.maps[index].turned(share, self._by))
        return probe.measure(share)

    def _ended(self, index: int, status: Status | None) -> SetOnset:
        looked, control = self._looked[index], self._circuit.control
        alike = _alike(self._plan.starts[index].gains)
        if status not in (None, Status.OSCILLATES):
            return SetOnset(status)
        if status is not None and alike is not None and 0.0 <= crossing(looked, alike, 1.0) <= 1.0:
            return _reduced(looked, alike, control)
        status, samples, found = search(lambda share: self._one(index, share))
        return SetOnset(status) if found is None else _searched(samples, found, control)


@lru_cache(maxsize=64)
def _alike(gains: tuple[tuple[float, float, float], ...]) -> Alike | None:
    return Alike(gains) if gains else None


def with_gains(bench: Bench, plan: SetPlan) -> SetPlan:
    """Return the plan with the loop gain of the build as stated measured about each band's onset, from which
    the search in each set is led. A band for which it can't be had is searched from nothing.
    """

    def gains(b: Bench, index: int) -> Start:
        start = plan.starts[index]
        if start.share is None:
            return start
        shares = sorted({min(max(start.share + by, 0.0), 1.0) for by in PLACES})
        try:
            with _set(b, plan, (index,), laws_of(plan, {}), {}) as one:
                return dataclasses.replace(start, gains=gains_of(one.at_each(index, shares)))
        except (NoSolution, NoAnswer):
            return start

    return dataclasses.replace(plan, starts=tuple(bench.map(gains, range(len(plan.bands)))))


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
    return max(start.tuning + own - stated, LEAST_FARAD)


def _number(plan: SetPlan, band: Band) -> int:
    return [one.name for one in plan.build.bands].index(band.name)


def _reduced(looked: Looked, alike: Alike, control: Control) -> SetOnset:
    share = crossing(looked, alike, 1.0)
    figure, hertz = figures_at(looked, alike, share)
    rotation = control.rotation(share)
    found = SetOnset(Status.OSCILLATES, rotation, figure, oscillation_hz=hertz)
    low = crossing(looked, alike, NEAR)
    if min(s.gain for s in looked.samples) > NEAR + 0.05 or not 0.0 <= low < share:
        return found
    turn = (rotation - control.rotation(low)) * control.degrees
    return dataclasses.replace(found, approach=figure - figures_at(looked, alike, low)[0], approach_deg=turn)


def _searched(samples: list[Sample], share: float, control: Control) -> SetOnset:
    """Return the onset that a search from nothing found at a share of the control's travel."""
    there, rotation = crossed(samples, share), control.rotation(share)
    found = SetOnset(Status.OSCILLATES, rotation, there.figure, oscillation_hz=there.frequency)
    if there.low is None:
        return found
    low, figure = there.low
    turn = (rotation - control.rotation(low)) * control.degrees
    return dataclasses.replace(found, approach=there.figure - figure, approach_deg=turn)
