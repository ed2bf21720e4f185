"""What does a rectifier supply give at the load of its receiver? (runs over time)

`run` finds volts, ripple and regulation; `settled` turns them into the d.c. source with its filter behind it
that the studies of the receiver work with.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.rectifier import Taps, output_node, phases, rectifier_circuit, taps
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import Bench, EngineFailed, Vectors
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.physics.monotone_cubic import MonotoneCubic
from receiver_sim.results.base import FloatArray
from receiver_sim.results.supply import Capacitor, Rectified
from receiver_sim.schema import Build
from receiver_sim.schema.supply import RectifierSupply, SettledSection, SettledSupply

STEPS = 200
"""Steps in a line period; halved, the ripple moves by less than 1 % (a test holds that)."""

WINDOW = 10
"""Line periods that are analysed once the run is steady."""

LINES = 12
"""Lines of the ripple that are kept, by order of the line frequency."""

HIGHEST_MAINS = 1.1
"""Highest volts of the mains over the nominal ones (IEC 60038: 10 % up; from memory, high)."""


@dataclass(frozen=True)
class Steady:
    """The last line periods of a run on a uniform grid: mean and course of each vector by name."""

    time: FloatArray
    courses: dict[str, FloatArray]

    def mean(self, name: str) -> float:
        """Return the mean of a vector."""
        return float(self.courses[name].mean())

    def swing(self, name: str) -> float:
        """Return the peak-to-peak of a vector."""
        return float(np.ptp(self.courses[name]))

    def rms(self, name: str) -> float:
        """Return the r.m.s. of a vector without its mean."""
        return float(self.courses[name].std())


def _vectors(at: Taps) -> list[str]:
    return ["time", at.rectified, at.winding, at.ammeter, *at.sections, *at.inside]


def _on_grid(run: Vectors, *, frequency: float) -> Steady:
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - it takes long to load

    time = run["time"]
    stop = float(time[-1])
    grid = stop - WINDOW / frequency + np.arange(WINDOW * STEPS) / (frequency * STEPS)
    _, first = np.unique(time, return_index=True)
    courses = {
        name: np.asarray(CubicSpline(time[first], run[name][first])(grid)) for name in run if name != "time"
    }
    return Steady(grid, courses)


def steady(
    supply: RectifierSupply,
    bench: Bench,
    *,
    frequency: float,
    load_s: float,
    mains: float = 1.0,
    steps: int = STEPS,
) -> Steady:
    """Run until the output no longer moves (1e-4 of it in ten line periods), return the last ten periods.

    load_s: conductance (S) of the receiver. Raises EngineFailed if it never settles, or on failure.
    """
    start, span = 1.25 * supply.secondary.volts * mains, 40.0 / frequency
    out = output_node(supply)
    for _ in range(12):
        circuit = rectifier_circuit(supply, frequency=frequency, load_s=load_s, start_v=start, mains=mains)
        step = 1.0 / (frequency * steps)
        with loaded(bench, circuit) as on:
            run = on.session.tran(step, span, max_step=step, uic=True, vectors=_vectors(taps(supply)))
        last = _on_grid(run, frequency=frequency)
        # on the same kind of grid: the run's own points crowd where the rectifiers switch
        before = np.interp(last.time - WINDOW / frequency, run["time"], run[out]).mean()
        if abs(before - last.mean(out)) < 1e-4 * abs(last.mean(out)):
            return last
        # the next run starts where this one ended and lasts longer
        start, span = last.mean(out), min(2.0 * span, 800.0 / frequency)
    raise EngineFailed("the rectifier supply does not settle", None, ())


def spectrum(course: FloatArray) -> FloatArray:
    """Return complex r.m.s. lines at the orders 1..LINES of the line, of a course of WINDOW periods."""
    lines = np.fft.rfft(course) / course.size * math.sqrt(2.0)
    return np.asarray(lines[WINDOW : WINDOW * LINES + 1 : WINDOW])


def regulation(supply: RectifierSupply, bench: Bench, *, frequency: float, greatest_a: float) -> FloatArray:
    """Return rows of (receiver's current A, volts) from no load to about `greatest_a`."""
    guess = supply.secondary.volts * 1.2
    loads = [0.0, *(greatest_a * share / guess for share in (0.15, 0.4, 0.7, 1.0, 1.3))]

    def one(b: Bench, load: float) -> tuple[float, float]:
        volts = steady(supply, b, frequency=frequency, load_s=load).mean(output_node(supply))
        return load * volts, volts

    return np.array(bench.map(one, loads))


def run(
    build: Build, bench: Bench, *, current_at: Callable[[float], float]
) -> tuple[Rectified, SettledSupply]:
    """Find the working point where supply and receiver agree; return the result and the settled supply.

    current_at gives the receiver's current (A, bleeder apart) at a supply voltage. Raises EngineError.
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - it takes long to load

    supply = build.supply
    assert supply.kind == "rectifier"
    frequency = build.mains.frequency
    guess = current_at(1.2 * supply.secondary.volts)
    curve = regulation(supply, bench, frequency=frequency, greatest_a=1.2 * guess)
    volts_at = MonotoneCubic(curve[:, 0], curve[:, 1])

    def excess(load: float) -> float:
        """Return how much more (A) the receiver takes at the volts the supply has at `load` than that."""
        return current_at(float(volts_at(load))) - load

    # the curve ends at a third more than the receiver takes at volts above any it will have; a search between
    # bounds, as going from one to the other by turns runs away where a soft supply meets a steep receiver
    highest = float(curve[-1, 0])
    if not excess(0.0) > 0.0 > excess(highest):
        raise EngineFailed("supply and receiver have no working point in common", None, ())
    load = float(brentq(excess, 0.0, highest, xtol=1e-6 * guess, rtol=1e-6))
    result = _at(supply, bench, frequency=frequency, load_a=load, curve=curve)
    return result, settled(supply, result)


def at(build: Build, bench: Bench, *, load_a: float) -> Rectified:
    """Return the result at a given current (A) of the receiver. Raises EngineError."""
    supply, frequency = build.supply, build.mains.frequency
    assert supply.kind == "rectifier"
    curve = regulation(supply, bench, frequency=frequency, greatest_a=1.2 * load_a)
    return _at(supply, bench, frequency=frequency, load_a=load_a, curve=curve)


def _at(
    supply: RectifierSupply, bench: Bench, *, frequency: float, load_a: float, curve: FloatArray
) -> Rectified:
    volts_at = MonotoneCubic(curve[:, 0], curve[:, 1])
    load_s = load_a / float(volts_at(load_a))
    at_load = steady(supply, bench, frequency=frequency, load_s=load_s)
    highest = steady(supply, bench, frequency=frequency, load_s=0.0, mains=HIGHEST_MAINS)
    slope = -float(volts_at.slope(load_a))
    return _reduce(supply, at_load, highest, curve=curve, load_s=load_s, slope=slope, frequency=frequency)


def _reduce(
    supply: RectifierSupply,
    at_load: Steady,
    highest: Steady,
    *,
    curve: FloatArray,
    load_s: float,
    slope: float,
    frequency: float,
) -> Rectified:
    out, at = output_node(supply), taps(supply)
    volts = at_load.mean(out)
    lines = spectrum(at_load.courses[out])
    capacitors = []
    for i, part in enumerate(supply.filter):
        node = at.sections[i]
        series = max(part.series_resistance, 1e-3)
        inner = at_load.courses[at.inside[i]] / series
        capacitors.append(
            Capacitor(
                section=i + 1,
                farad=part.capacitor,
                highest_v=float(highest.courses[node].max()),
                rating_v=part.rating,
                ripple_v=at_load.swing(node),
                ripple_a=float(inner.std()),
            )
        )
    current = at_load.courses[at.ammeter]
    # a bridge's winding carries both halves
    share = math.sqrt(2.0) if supply.circuit == "bridge" else 1.0
    inverse = {"bridge": 1.0, "half_wave": 2.0, "full_wave": 2.0}[supply.circuit]
    return Rectified(
        circuit=supply.circuit,
        rectifier=supply.rectifier.kind,
        load_a=load_s * volts,
        bleeder_a=0.0 if supply.bleeder is None else volts / supply.bleeder,
        volts_v=volts,
        ripple_v=at_load.swing(out),
        ripple_hz=frequency * np.arange(1.0, LINES + 1.0),
        ripple_rms_v=np.abs(lines),
        ripple_phase_rad=np.angle(lines),
        slope_ohm=slope,
        regulation_a=curve[:, 0],
        regulation_v=curve[:, 1],
        no_load_v=float(curve[0, 1]),
        winding_a=share * float(np.sqrt(np.mean(current**2))),
        peak_a=float(current.max()),
        inverse_v=inverse * math.sqrt(2.0) * supply.secondary.volts * HIGHEST_MAINS,
        capacitors=tuple(capacitors),
    )


def settled(supply: RectifierSupply, result: Rectified) -> SettledSupply:
    """Return the supply as a d.c. source of the same volts and slope at this load, with its real filter."""
    sections = tuple(
        SettledSection(
            resistance=part.choke_resistance if part.choke is not None else part.resistor or 0.0,
            inductance=part.choke or 0.0,
            capacitor=part.capacitor,
            series_resistance=part.series_resistance,
        )
        for part in supply.filter
    )
    series = sum(section.resistance for section in sections)
    slope = max(result.slope_ohm, series)
    total = result.load_a + result.bleeder_a
    lines = zip(result.ripple_hz, result.ripple_rms_v, result.ripple_phase_rad, strict=True)
    return SettledSupply.model_construct(
        kind="dc",
        volts=result.volts_v + slope * total,
        resistance=slope - series,
        ripple=result.ripple_v,
        ripple_frequency=float(result.ripple_hz[0]) * phases(supply),
        bleeder=supply.bleeder,
        sections=sections,
        harmonics=tuple((float(f), float(v), float(p)) for f, v, p in lines),
        peak_volts=result.no_load_v,
    )


def warm_up_s(supply: RectifierSupply) -> float:
    """Return how long (s) the rectifier's own heater takes; 0 for one of silicon."""
    part = supply.rectifier
    return part.warm_up if part.kind == "vacuum" else 0.0


def let_warm(on: Loaded, supply: RectifierSupply) -> None:
    """Let the rectifier of a loaded supply warm up from the beginning of the next run."""
    warm = warm_up_s(supply)
    if warm > 0.0:
        on.course(Role.RECTIFIER_WARMTH, "pwl", (0.0, 0.0, 0.5 * warm, 0.0, warm, 1.0))


def from_cold(given: Build, bench: Bench, *, seconds: float) -> dict[str, FloatArray]:
    """Return the course of the rectifier and its capacitors after switching on: tubes cold, so no load, and
    the mains 10 % high. seconds: beyond a rectifier's own warm-up.
    """
    supply, frequency = given.supply, given.mains.frequency
    assert supply.kind == "rectifier"
    span, step = 1.2 * warm_up_s(supply) + seconds, 1.0 / (100.0 * frequency)
    circuit = rectifier_circuit(supply, frequency=frequency, load_s=0.0, start_v=0.0, mains=HIGHEST_MAINS)
    at = taps(supply)
    with loaded(bench, circuit) as on:
        let_warm(on, supply)
        names = ["time", at.rectified, at.ammeter, *at.sections]
        ran = on.session.tran(step, span, max_step=step, uic=True, vectors=names)
    return {name: np.asarray(ran[name], dtype=np.float64) for name in names}
