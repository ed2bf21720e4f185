"""What does each coil cover, where does its band lie on the dial, and what do all coils leave uncovered?"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.tank import Tank
from receiver_sim.physics.tuning import (
    capacitor_rotation,
    gaps,
    overlaps,
    padded_capacitance,
    unpadded_capacitance,
    variable_capacitance,
)
from receiver_sim.receiver import Receiver
from receiver_sim.results.coils import CoilRange, Coverage, DialMark, Overlap, ServiceCover, Span
from receiver_sim.schema import Band, Build
from receiver_sim.schema.band_table import SERVICES, bands_of
from receiver_sim.schema.coil import Bandspread, Tuning
from receiver_sim.schema.coil_figures import coil_figures, coil_q

MARKS = 13
"""Marks of a dial scale, ends included."""

LOW_END = 0.95
"""Rotation of the band-spread capacitor at which the low end of a band is put: a little overlap is left."""

_LOADED = 0.6
"""Part of the coil's Q with which the tank is looked for: aerial and tube load it."""


def _capacitance(capacitor: Tuning | Bandspread, rotation: float, *, series: float | None) -> float:
    variable = variable_capacitance(
        rotation, minimum=capacitor.minimum, maximum=capacitor.maximum, law=capacitor.law
    )
    return float(padded_capacitance(variable, series=np.inf if series is None else series))


def _rotation(capacitor: Tuning | Bandspread, capacitance: float, *, series: float | None) -> float | None:
    """Return the rotation that gives a capacitance after the padder, None where there is none."""
    try:
        variable = unpadded_capacitance(capacitance, series=np.inf if series is None else series)
        return float(
            capacitor_rotation(
                variable, minimum=capacitor.minimum, maximum=capacitor.maximum, law=capacitor.law
            )
        )
    except NoAnswer:  # beyond a stop, or beyond what the padder lets through: the dial does not reach it
        return None


class Dial:
    """The variable capacitors of one band: rotation to tuning capacitance and back."""

    def __init__(self, build: Build, band: Band) -> None:
        self._main, self._spread = build.tuning, build.tuning.bandspread
        padding = band.padding
        self._series = padding.series if padding else None
        self._spread_series = padding.bandspread_series if padding else None
        self._fixed = build.tuning.stray + (padding.parallel if padding else 0.0)

    @property
    def spread(self) -> bool:
        """Whether a band-spread capacitor is the dial."""
        return self._spread is not None

    @property
    def travel(self) -> float:
        """Degrees of the capacitor that is the dial."""
        return (self._spread or self._main).rotation

    def tuning(self, main: float, spread: float = 0.5) -> float:
        """Return the tuning capacitance (F) with both capacitors at rotations 0 to 1."""
        total = self._fixed + _capacitance(self._main, main, series=self._series)
        if self._spread is not None:
            total += _capacitance(self._spread, spread, series=self._spread_series)
        return total

    def main_for(self, tuning: float, spread: float = 0.5) -> float | None:
        """Return the main capacitor's rotation for a tuning capacitance (F), None where it does not reach."""
        rest = tuning - self._fixed
        if self._spread is not None:
            rest -= _capacitance(self._spread, spread, series=self._spread_series)
        return _rotation(self._main, rest, series=self._series)

    def spread_for(self, tuning: float, main: float) -> float | None:
        """Return the band-spread capacitor's rotation for a tuning capacitance, the main one at `main`."""
        assert self._spread is not None
        rest = tuning - self._fixed - _capacitance(self._main, main, series=self._series)
        return _rotation(self._spread, rest, series=self._spread_series)


def plan(build: Build, cards: Cards, *, band: Band) -> Circuit:
    """Return the circuit: the receiver tuned to the middle of the band."""
    return receiver_circuit(build, cards, band=band, dial_hz=band.middle_hz, rotation=0.0)


def _marks(dial: Dial, main: float | None, frequency: Callable[[float], float]) -> tuple[DialMark, ...]:
    """Measure the dial scale; the slope at a mark is that of a parabola through it and its neighbours."""
    rotations = np.linspace(0.0, 1.0, MARKS)
    found = np.array(
        [
            frequency(dial.tuning(main, r) if dial.spread and main is not None else dial.tuning(r))
            for r in rotations
        ]
    )
    slopes = np.gradient(found, rotations * dial.travel, edge_order=2)
    return tuple(
        DialMark(float(r), float(f), float(s)) for r, f, s in zip(rotations, found, slopes, strict=True)
    )


def run(receiver: Receiver, *, band: Band) -> CoilRange:
    """Measure one coil's range and dial.

    Raises EngineError when a simulation fails, ValueError where no resonance is found.
    """
    middle, coil = band.middle_hz, coil_figures(band.coil)
    q = coil_q(band.coil, middle)
    dial = Dial(receiver.build, band)
    with loaded(receiver.bench, plan(receiver.build, receiver.cards, band=band)) as on:
        tank = Tank(on, band=band)
        at_middle, mode = tank.tune(middle, q=_LOADED * q)
        low_tuning, _ = tank.tune(band.from_, q=_LOADED * q)
        high_tuning, _ = tank.tune(band.to, q=_LOADED * q)

        def frequency(tuning: float) -> float:
            guess = tank.guess(tuning, near=middle, near_tuning=at_middle)
            return tank.resonance(tuning, guess=guess, q=_LOADED * coil_q(band.coil, guess))

        low, high = frequency(dial.tuning(1.0)), frequency(dial.tuning(0.0))
        main = dial.main_for(low_tuning, LOW_END) if dial.spread else None
        if dial.spread:
            edges = (
                None if main is None else dial.spread_for(low_tuning, main),
                None if main is None else dial.spread_for(high_tuning, main),
            )
        else:
            edges = dial.main_for(low_tuning), dial.main_for(high_tuning)
        marks = () if dial.spread and main is None else _marks(dial, main, frequency)
    return CoilRange(
        band=band.name,
        from_hz=band.from_,
        to_hz=band.to,
        low_hz=low,
        high_hz=high,
        middle_hz=middle,
        coil_q=q,
        loaded_q=mode.q,
        rp_ohm=mode.rp,
        reactance_ohm=2.0 * np.pi * middle * coil.inductance,
        total_farad=mode.capacitance,
        dial="band spread" if dial.spread else "main",
        travel_deg=dial.travel,
        main_rotation=main,
        band_low=edges[0],
        band_high=edges[1],
        marks=marks,
    )


def coverage(
    ranges: Sequence[CoilRange], *, year: int, region: int, unmeasured: Sequence[str] = ()
) -> Coverage:
    """Hold the ranges against the amateur and shortwave broadcast bands of a year and ITU region.

    unmeasured: names of the coils that are missing among the ranges, since theirs were not found.

    Raises ValueError for a year or region without a table.
    """
    spans = [(r.low_hz, r.high_hz) for r in ranges]
    services = []
    for service in SERVICES:
        for band in bands_of(service, year=year, region=region):
            reach = tuple(r.band for r in ranges if r.low_hz < band.high and r.high_hz > band.low)
            missing = gaps(spans, wanted=(band.low, band.high))
            services.append(
                ServiceCover(
                    service, band.name, band.low, band.high, reach, tuple(Span(*gap) for gap in missing)
                )
            )
    whole = [(min(low for low, _ in spans), max(high for _, high in spans))] if spans else []
    shared = [Overlap(ranges[i].band, ranges[j].band, *common) for i, j, common in overlaps(spans)]
    return Coverage(
        year=year,
        region=region,
        services=tuple(services),
        gaps=tuple(Span(*gap) for span in whole for gap in gaps(spans, wanted=span)),
        overlaps=tuple(shared),
        unmeasured=tuple(unmeasured),
    )


def whole_dial(band: Band, coil: CoilRange | None, points: int) -> list[float]:
    """Return frequencies over a coil's whole dial in equal ratios, the middle of its band among them; over
    the band alone where the coil's range was not found.
    """
    low, high = (band.from_, band.to) if coil is None else (coil.low_hz, coil.high_hz)
    return sorted({*(float(f) for f in np.geomspace(low, high, points)), band.middle_hz})
