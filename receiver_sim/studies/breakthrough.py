"""How much of a strong medium-wave station reaches the detector's grid, with and without the shield?

What arrives at the grid is rectified there whatever the dial says. A link with one end on the chassis is
nearly a short to medium wave, and what comes is induced by its current: a shield changes little. A link that
floats on a feeder follows the volts of the feeder, which as one wire is an aerial too: they come through the
capacitance to the hot end, and this is what a shield is for. The tube is held cold: regeneration sharpens
the tank at its own frequency only.
"""

from __future__ import annotations

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.aerial import by_link, floats
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.mode import silenced
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import FloatArray
from receiver_sim.results.coils import Breakthrough
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_figures import LinkFigures, coil_figures, coil_q

ASSUMED_LEFT = 0.05
"""Share of the capacitance that a shield leaves where the build has none: an assumption."""

SPAN = (0.5e6, 30e6)
PER_DECADE = 120
_PEAK_POINTS = 41
_NO_FARAD = 1e-18


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`, the control at its lowest."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.0)


def transfer(
    on: Loaded, start: float, stop: float, points: int, scale: str, *, common: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return (frequency in Hz, volts from grid to cathode per volt of e.m.f. in the aerial), the tube cold.

    common: volts that drive a floating link through its feeder besides, per volt of e.m.f. in the aerial.
    """
    grid, cathode = on.node(Place.GRID), on.node(Place.CATHODE)
    sources = {Role.AERIAL: 1.0} | ({Role.FEEDER: common} if common else {})
    with silenced(on):
        for source, volts in sources.items():
            on.drive(source, volts)
        run_ = on.session.ac(start, stop, points, scale=scale, vectors=["frequency", grid, cathode])
        for source in sources:
            on.drive(source, 0.0)
    return run_["frequency"].real, np.abs(run_[grid] - run_[cathode])


def _curve(on: Loaded, *, dial_hz: float, q: float, common: float) -> tuple[FloatArray, FloatArray]:
    """Sweep the whole span, and the tank's peak by itself, which a sweep in decades would miss."""
    wide = transfer(on, *SPAN, PER_DECADE, "dec", common=common)
    half = 4.0 * dial_hz / q
    near = transfer(on, dial_hz - half, dial_hz + half, _PEAK_POINTS, "lin", common=common)
    frequency = np.concatenate([wide[0], near[0]])
    order = np.argsort(frequency)
    return frequency[order], np.concatenate([wide[1], near[1]])[order]


def _shielded_farad(link: LinkFigures | None) -> tuple[float | None, str]:
    if link is None:
        return None, "none"
    if link.capacitance < link.unshielded:
        return link.capacitance, "as built"
    return ASSUMED_LEFT * link.unshielded, "assumed"


def run(tuned: Tuned) -> Breakthrough:
    """Measure one band at the dial of an onset search.

    Raises EngineError when a simulation fails, ValueError without an aerial or if the search failed.
    """
    aerial, dial = tuned.build.aerial, tuned.onset.dial_hz
    if aerial is None or tuned.onset.tuning_farad is None:
        raise NoAnswer("no aerial is connected" if aerial is None else "the onset search failed")
    link = coil_figures(tuned.band.coil).link if by_link(tuned.build) else None
    left, kind = _shielded_farad(link)
    q = coil_q(tuned.band.coil, dial)
    station = aerial.station
    common = (station.feeder_emf or station.emf) / station.emf if floats(tuned.build, tuned.band) else 0.0
    with loaded(tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=dial)) as on:
        on.tune(tuned.onset.tuning_farad)
        curves, at_station, wanted = [], [], []
        for farad in (None,) if link is None else (link.unshielded, left):
            if farad is not None:
                on.set(Role.LINK_CAPACITANCE, max(farad, _NO_FARAD))
            curves.append(_curve(on, dial_hz=dial, q=q, common=common))
            one = transfer(on, station.frequency, station.frequency * 1.001, 2, "lin", common=common)[1]
            at_station.append(float(one[0]) * station.emf)
            at_dial = transfer(on, dial, dial * 1.000001, 2, "lin")[1]
            wanted.append(float(at_dial[0]))
    built = 1 if kind == "as built" else 0
    return Breakthrough(
        band=tuned.band.name,
        dial_hz=dial,
        frequency_hz=curves[0][0],
        unshielded=curves[0][1],
        shielded=None if link is None else curves[1][1],
        shield=kind,
        station_hz=station.frequency,
        emf_v=station.emf,
        station_v=at_station[0],
        station_shielded_v=None if link is None else at_station[1],
        wanted=wanted[built],
        equal_v=at_station[built] / wanted[built],
    )
