"""What do readings of a working set say of its parts and tubes, and where does its onset lie then?

Whatever differs from set to set (`circuit.factors`) is pulled within its spread, the least that explains the
readings; what no reading touches stays as it was. Derivatives are taken once, about the build as stated, by
ngspice; what bends is made up for by running the set that was found, until it no longer moves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from receiver_sim.circuit.factors import PRINT, Factor, drawn
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import SetPlan
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Stand, shown_on
from receiver_sim.judge.reading_spread import middles
from receiver_sim.measure.loaded import Loaded
from receiver_sim.physics.estimation import gauss_newton_update, spread_through
from receiver_sim.schema import Build
from receiver_sim.studies.drawn_sets import look_at_bands
from receiver_sim.studies.pin_chart import with_meters
from receiver_sim.studies.spread import one_deviation

FloatArray = npt.NDArray[np.float64]

STEP = 0.5
"""Derivatives are taken over this share of a standard deviation: above ngspice's tolerance, and straight."""

ONSET_NOISE = 0.008
"""Of a reading of the knob against its scale, as a share of the travel (common practice, no source)."""

LEAST_V = 0.01

_STEPS = 4

_Figures = Callable[[Bench, FloatArray], FloatArray]

_FURTHEST = 0.9
"""Share of its value that no part is taken below by."""


@dataclass(frozen=True)
class Found:
    """What the readings say.

    factors: all that differs from set to set; by: deviation of each, as the factor has it; width: one
    standard deviation before; left: the share of it that is left after. shown_before, shown_after: readings
    in volts; onset_before, onset_after: of every band of the plan, with one standard deviation each; misfit:
    r.m.s. of what remains of the readings, in deviations. build, cards: of the set that was found.
    """

    factors: tuple[Factor, ...]
    by: FloatArray
    width: FloatArray
    left: FloatArray
    shown_before: FloatArray
    shown_after: FloatArray
    onset_before: tuple[float | None, ...]
    onset_after: tuple[float | None, ...]
    spread_before: tuple[float | None, ...]
    spread_after: tuple[float | None, ...]
    misfit: float
    build: Build
    cards: Cards


def deviation_of(factor: Factor, z: float) -> float:
    """Return the deviation of a factor that lies so many standard deviations off the value as stated."""
    above, below = one_deviation(factor)
    if factor.shape == "bell" and factor.kind != PRINT:
        return factor.deviation(float(ndtr(z)))
    moved = z * (above or -below)
    # volts, and what print leaves open, have no zero that they could fall below
    return moved if factor.volts or factor.kind == PRINT else max(moved, -_FURTHEST)


@dataclass(frozen=True)
class SetModel:
    """Readings and onsets of sets of a plan; z: deviations of the factors, in their standard deviations."""

    stand: Stand
    seen: Seen

    def by(self, z: Sequence[float]) -> dict[str, float]:
        """Return the deviations by name of factor."""
        factors = self.stand.plan.factors
        return {f.name: deviation_of(f, float(v)) for f, v in zip(factors, z, strict=True) if v}

    def look(
        self, bench: Bench, z: Sequence[float], bands: Sequence[int]
    ) -> tuple[FloatArray, list[float | None]]:
        """Return what `read` gives for a set that lies so many standard deviations off."""
        return self.read(bench, self.by(z), bands)

    def read(
        self, bench: Bench, by: Mapping[str, float], bands: Sequence[int]
    ) -> tuple[FloatArray, list[float | None]]:
        """Return the readings in volts, meters in the circuit, and the onsets of bands by number.

        by: deviations by name of factor. Raises NoAnswer where the set could not be simulated.
        """
        plan, nodes = self.stand.plan, [v.node for v in self.seen.volts]
        maps = tuple(replace(one, circuit=with_meters(one.circuit, nodes)) for one in plan.maps)
        share = maps[0].circuit.control.share(self.stand.rotation)
        volts: list[float] = []

        def also(on: Loaded) -> None:
            on.turn_to_share(share)
            volts.extend(shown_on(on, one) for one in self.seen.volts)

        metered = replace(plan, maps=maps)
        wanted = list(bands) or [0]
        found = look_at_bands(bench, metered, by, wanted, also=also, approach=False)
        if len(volts) != len(nodes):
            raise NoAnswer("a set so far from the build could not be simulated")
        return np.array(volts, dtype=np.float64), [found[i].rotation for i in bands]


def calibrate(stand: Stand, seen: Seen, bench: Bench) -> Found:
    """Return what the readings say of a set. Raises EngineError, NoAnswer."""
    plan, model = stand.plan, SetModel(stand, seen)
    names = [band.name for band in plan.bands]
    zero = np.zeros(len(plan.factors))
    stated = model.look(bench, list(zero), range(len(names)))
    there = [i for i, place in enumerate(stated[1]) if place is not None]
    tried = [i for i, name in enumerate(names) if seen.onset.get(name) is not None]
    if lost := [names[i] for i in tried if i not in there]:
        raise NoAnswer(
            f"the build has no onset on {', '.join(lost)}, where one was read: look for a fault first"
        )
    count = len(seen.volts)
    rows = [*range(count), *(count + there.index(i) for i in tried)]
    places = [seen.onset[names[i]] for i in tried]
    read = np.array([*(v.seen for v in seen.volts), *places], dtype=np.float64)
    volts = np.abs(read[:count])
    noise = np.concatenate([np.hypot(seen.error * volts, LEAST_V), np.full(len(tried), ONSET_NOISE)])

    def figures(b: Bench, z: FloatArray) -> FloatArray:
        shown, onsets = model.look(b, list(z), there)
        if any(place is None for place in onsets):
            raise NoAnswer("a band has no onset in a set that lies so far from the build")
        return np.concatenate([shown, np.array(onsets, dtype=np.float64)])

    here = np.concatenate([stated[0], np.array([stated[1][i] for i in there], dtype=np.float64)])
    slopes = _slopes(bench, plan, figures, here)
    middle = middles(plan.factors)

    def forward(off: FloatArray) -> tuple[FloatArray, FloatArray]:
        at = figures(bench, middle + off) if np.any(off) else here + slopes @ middle
        return at[rows], slopes[rows]

    prior = np.array([1.0 if any(one_deviation(f)) else 1e-9 for f in plan.factors])
    off, covariance = gauss_newton_update(read, forward=forward, prior=prior, noise=noise, steps=_STEPS)
    z = middle + off
    after = figures(bench, z)
    build, cards = drawn(plan.build, plan.cards, plan.factors, model.by(list(z)))
    onset_rows = slopes[count:]

    def placed(values: FloatArray) -> tuple[float | None, ...]:
        known = dict(zip(there, map(float, values), strict=True))
        return tuple(known.get(i) for i in range(len(names)))

    return Found(
        factors=plan.factors,
        by=np.array([deviation_of(f, v) for f, v in zip(plan.factors, z, strict=True)]),
        width=np.array([max(map(abs, one_deviation(f))) for f in plan.factors]),
        left=np.sqrt(np.diag(covariance)) / prior,
        shown_before=here[:count],
        shown_after=after[:count],
        onset_before=placed(here[count:]),
        onset_after=placed(after[count:]),
        spread_before=placed(spread_through(onset_rows, covariance=np.diag(prior**2))),
        spread_after=placed(spread_through(onset_rows, covariance=covariance)),
        misfit=math.sqrt(float(np.mean(((read - after[rows]) / noise) ** 2))),
        build=build,
        cards=cards,
    )


def _slopes(bench: Bench, plan: SetPlan, figures: _Figures, here: FloatArray) -> FloatArray:
    """Return the derivatives of all figures by each factor (figures x factors), by the side on which the set
    still has its onsets.
    """

    def column(b: Bench, number: int) -> FloatArray:
        if not any(one_deviation(plan.factors[number])):
            return np.zeros_like(here)
        step = np.zeros(len(plan.factors))
        for side in (STEP, -STEP):
            step[number] = side
            try:
                found: FloatArray = (figures(b, step) - here) / side
                return found
            except NoAnswer:
                continue
        raise NoAnswer(f"'{plan.factors[number].word}' leaves a band without an onset to either side")

    columns = bench.map(column, range(len(plan.factors)))
    slopes: FloatArray = np.array(columns, dtype=np.float64).T
    return slopes
