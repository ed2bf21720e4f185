"""What a meter reads, what the audio gains and how it hums, in one drawn set of a build."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.roles import Role
from receiver_sim.circuit.sets import SetPlan
from receiver_sim.measure.loaded import Loaded

REFERENCE_HZ = 1000.0


@dataclass(frozen=True)
class SetFigures:
    """Figures of one set with the control at a share of its travel, not oscillating.

    circuit, volts: of its operating point. gain: from the detector's grid to each output at 1 kHz (V/V).
    hum_here_v, hum_best_v, hum_position: volts r.m.s. at the line frequency of the heaters at each output, at
    the hum pot's own place and at its null, and that null (0..1); empty where heaters have d.c.
    """

    circuit: Circuit
    volts: Mapping[str, float]
    gain: tuple[float, ...]
    hum_here_v: tuple[float, ...]
    hum_best_v: tuple[float, ...]
    hum_position: tuple[float, ...]


def figures_of_set(on: Loaded, plan: SetPlan, by: Mapping[str, float], *, share: float) -> SetFigures:
    """Return the figures of a set that is loaded, whatever coil is in; share: of the control's travel.

    by: deviations by name of factor. The loop-gain source is left driven. Raises EngineError.
    """
    on.turn_to_share(share)
    circuit = on.circuit.replace(plan.maps[0].turned(share, by))
    outputs = circuit.outputs
    on.drive(Role.LOOP_GAIN)
    run = on.session.ac(REFERENCE_HZ, REFERENCE_HZ, 1, vectors=["frequency", *outputs])
    gain = tuple(float(abs(run[node][0])) for node in outputs)
    volts = on.volts()
    hum = _hum(on, plan, by) if plan.build.heater.supply == "ac" else ((), (), ())
    return SetFigures(circuit, volts, gain, *hum)


def _hum(
    on: Loaded, plan: SetPlan, by: Mapping[str, float]
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Return hum at the pot's place, at its null, and the null: phasors run linearly with the pot's place."""
    build, circuit = plan.build, on.circuit
    line, outputs = build.mains.frequency, circuit.outputs
    level = build.heater.volts * (1.0 + by.get("mains", 0.0))
    names = circuit.part(Role.HUM_POT_A), circuit.part(Role.HUM_POT_B)
    here = [circuit[name].value or 0.0 for name in names]
    whole = sum(here)
    on.drive(Role.LOOP_GAIN, 0.0)
    with on.driven(Role.HEATER, level):
        found = []
        for share in (0.25, 0.75):
            for name, part in zip(names, (share, 1.0 - share), strict=True):
                on.set(name, max(part * whole, 1e-3))
            run = on.session.ac(line, line, 1, vectors=["frequency", *outputs])
            found.append(np.array([complex(run[node][0]) for node in outputs]))
    on.drive(Role.LOOP_GAIN)
    low, high = found
    slope = (high - low) / 0.5
    start = low - 0.25 * slope
    at = start + here[0] / whole * slope
    still = np.where(np.abs(slope) > 0.0, slope, 1.0)
    place = np.clip(-(start * np.conj(slope)).real / np.abs(still) ** 2, 0.0, 1.0)
    best = start + place * slope
    return tuple(map(float, np.abs(at))), tuple(map(float, np.abs(best))), tuple(map(float, place))
