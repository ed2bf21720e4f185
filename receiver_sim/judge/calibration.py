"""What do readings of a working set say of its parts and tubes, and where does its onset lie then?

Parts and tubes are pulled within their spread (Gauss-Newton on derivatives by ngspice), the least that
explains the readings; what no reading touches stays as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.moved_sets import Moving, moved, moving
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.errors import NoAnswer
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Stand
from receiver_sim.measure import onset as onset_study
from receiver_sim.measure.loaded import loaded
from receiver_sim.physics.estimation import gauss_newton_update, spread_through
from receiver_sim.schema import Build
from receiver_sim.studies.pin_chart import meter_element, with_meters

FloatArray = npt.NDArray[np.float64]

STEP = 0.25
"""Derivatives are taken over this share of a standard deviation: above ngspice's tolerance, and straight."""

ONSET_NOISE = 0.008
"""Of a reading of the knob against its scale, as a share of the travel (common practice, no source)."""

LEAST_V = 0.01


@dataclass(frozen=True)
class Found:
    """Deviations that were found, their covariance, and what all bands do.

    shown: readings before and after; onset_before, onset_after: of every band of the build; slopes: of the
    onsets by the deviations, at the found ones and before; misfit: r.m.s. of what remains, in deviations.
    """

    what: tuple[Moving, ...]
    by: FloatArray
    covariance: FloatArray
    shown_before: FloatArray
    shown_after: FloatArray
    onset_before: tuple[float | None, ...]
    onset_after: tuple[float | None, ...]
    spread_before: FloatArray
    spread_after: FloatArray
    misfit: float
    build: Build
    cards: Cards


@dataclass(frozen=True)
class _Model:
    """Readings and onsets of sets that lie off a build by deviations."""

    stand: Stand
    seen: Seen
    what: tuple[Moving, ...]
    bench: Bench

    def of(self, by: Sequence[float]) -> tuple[Build, Cards]:
        return moved(self.stand.build, self.stand.cards, self.what, by)

    def volts(self, by: FloatArray) -> FloatArray:
        build, cards = self.of(list(by))
        stand = self.stand
        circuit = receiver_circuit(
            build, cards, band=stand.band, dial_hz=stand.dial_hz, rotation=stand.rotation
        )
        out = []
        with loaded(self.bench, with_meters(circuit, [v.node for v in self.seen.volts])) as on:
            for one in self.seen.volts:
                on.set(meter_element(one.node), one.ohm)
                out.append(float(on.session.op(vectors=[one.node])[one.node].real[0]))
                on.set(meter_element(one.node), 1e15)
        return np.array(out, dtype=np.float64)

    def onsets(self, by: FloatArray, bands: Sequence[str]) -> list[float | None]:
        build, cards = self.of(list(by))
        out: list[float | None] = []
        for band in build.bands:
            if band.name not in bands:
                continue
            middle = float(np.sqrt(band.from_ * band.to))
            found = onset_study.run(build, cards, self.bench, band=band, dial_hz=middle)
            out.append(None if found.onset is None else found.onset.rotation)
        return out

    def readings(self, by: FloatArray, bands: Sequence[str]) -> FloatArray:
        """Return volts, then onsets of `bands`. Raises NoAnswer where a band has lost its onset."""
        places = self.onsets(by, bands)
        if any(place is None for place in places):
            raise NoAnswer("a band has no onset in a set that lies so far from the build")
        return np.concatenate([self.volts(by), np.array(places, dtype=np.float64)])

    def slopes(self, by: FloatArray, bands: Sequence[str]) -> tuple[FloatArray, FloatArray]:
        """Return readings and their derivatives by each deviation."""
        here = self.readings(by, bands)

        def column(bench: Bench, i: int) -> FloatArray:
            step = np.zeros_like(by)
            step[i] = STEP * self.what[i].deviation
            one = _Model(self.stand, self.seen, self.what, bench)
            return np.asarray((one.readings(by + step, bands) - here) / step[i])

        columns = self.bench.map(column, range(len(self.what)))
        return here, np.array(columns).T


def calibrate(stand: Stand, seen: Seen, bench: Bench, *, steps: int = 2) -> Found:
    """Return what the readings say of a set. Raises EngineError, NoAnswer."""
    circuit = receiver_circuit(
        stand.build, stand.cards, band=stand.band, dial_hz=stand.dial_hz, rotation=stand.rotation
    )
    what = moving(circuit, stand.build)
    model = _Model(stand, seen, what, bench)
    tried = [name for name, at in seen.onset.items() if at is not None]
    in_order = [band.name for band in stand.build.bands if band.name in tried]
    zero = np.zeros(len(what))
    all_bands = [
        band.name
        for band, place in zip(
            stand.build.bands, model.onsets(zero, [b.name for b in stand.build.bands]), strict=True
        )
        if place is not None
    ]
    if not set(in_order) <= set(all_bands):
        lost = ", ".join(sorted(set(in_order) - set(all_bands)))
        raise NoAnswer(f"the build has no onset on {lost}, where one was read: look for a fault first")
    count = len(seen.volts)
    rows = [*range(count), *(count + all_bands.index(name) for name in in_order)]
    read = np.array([v.seen for v in seen.volts] + [seen.onset[name] for name in in_order], dtype=np.float64)
    noise = np.concatenate(
        [
            np.hypot(seen.error * np.abs(read[:count]), LEAST_V),
            np.full(len(in_order), ONSET_NOISE),
        ]
    )
    prior = np.array([one.deviation for one in what])
    kept: list[tuple[FloatArray, FloatArray]] = []

    def forward(by: FloatArray) -> tuple[FloatArray, FloatArray]:
        here, slopes = model.slopes(by, all_bands)
        kept.append((here, slopes))
        return here[rows], slopes[rows]

    by, covariance = gauss_newton_update(read, forward=forward, prior=prior, noise=noise, steps=steps)
    after = model.readings(by, all_bands)
    before, slopes_before = kept[0]
    misfit = float(np.sqrt(np.mean(((read - after[rows]) / noise) ** 2)))
    build, cards = model.of(list(by))
    names = [band.name for band in stand.build.bands]
    onset_rows = slice(count, None)

    def placed(values: FloatArray) -> tuple[float | None, ...]:
        found = dict(zip(all_bands, values[onset_rows], strict=True))
        return tuple(None if name not in found else float(found[name]) for name in names)

    prior_slopes = spread_through(slopes_before[onset_rows], covariance=np.diag(prior**2))
    found_slopes = spread_through(kept[-1][1][onset_rows], covariance=covariance)
    return Found(
        what=what,
        by=by,
        covariance=covariance,
        shown_before=before[:count],
        shown_after=after[:count],
        onset_before=placed(before),
        onset_after=placed(after),
        spread_before=_all(prior_slopes, names, all_bands),
        spread_after=_all(found_slopes, names, all_bands),
        misfit=misfit,
        build=build,
        cards=cards,
    )


def _all(values: FloatArray, names: Sequence[str], found: Sequence[str]) -> FloatArray:
    there = dict(zip(found, values, strict=True))
    return np.array([there.get(name, 0.0) for name in names])
