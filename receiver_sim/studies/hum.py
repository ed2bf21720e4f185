"""How much hum reaches each output, against the position of the hum pot? (audio view)"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.heater import hum_pot_elements
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.ripple import ripple_of
from receiver_sim.receiver import Tuned
from receiver_sim.results.audio import Hum, OutputHum
from receiver_sim.results.base import ComplexArray, FloatArray
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build

POSITIONS = np.linspace(0.0, 1.0, 21)


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit: the receiver at that setting of the control, heater and ripple sources at rest."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def null(positions: FloatArray, phasors: ComplexArray) -> float:
    """Return the position 0..1 of least magnitude of phasors that run linearly with the position.

    The pot is small against what hangs on the heaters, so both ends' volts, and every phasor made of them,
    are linear in its position. The straight line comes from a least-squares fit in the complex plane.
    """
    slope, start = np.polynomial.polynomial.polyfit(positions, phasors, 1)[::-1]
    if abs(slope) == 0.0:
        return 0.5
    return float(np.clip(-(start * np.conj(slope)).real / abs(slope) ** 2, 0.0, 1.0))


def reduce(
    build: Build,
    *,
    setting: ControlSetting,
    mains: ComplexArray,
    ripple: ComplexArray,
    at_build: ComplexArray,
    best: Sequence[tuple[float, complex]],
) -> Hum:
    """Turn phasors (volts r.m.s.) into the result.

    mains: positions x outputs; ripple and at_build (line frequency, build's own position): per output; best:
    position and phasor at the null per output.
    """
    outputs = []
    for index, phone in enumerate(build.phones):
        position, rest = best[index]
        noise = float(abs(ripple[index]))
        outputs.append(
            OutputHum(
                output=phone.name,
                pot_position=POSITIONS,
                mains_v=np.abs(mains[:, index]),
                ripple_v=noise,
                at_build_v=math.hypot(float(abs(at_build[index])), noise),
                best_position=position,
                best_v=math.hypot(abs(rest), noise),
            )
        )
    return Hum(
        setting=setting,
        mains_hz=build.mains.frequency,
        ripple_hz=ripple_of(build).frequency_hz,
        build_position=build.heater.hum_pot_position,
        pot=build.heater.supply == "ac" and build.heater.wiring == "hum_pot",
        outputs=tuple(outputs),
    )


def run(tuned: Tuned, *, rotation: float) -> Hum:
    """Measure line-frequency hum over the hum pot, its null, and the supply's ripple at each output.

    rotation: setting (0..1) of the regeneration control. Raises EngineError when a simulation fails.
    """
    # where none is fitted the positions are those of a pot tried in its place
    supply = ripple_of(tuned.build)
    potted = tuned.build.model_copy(
        update={"heater": tuned.build.heater.model_copy(update={"wiring": "hum_pot"})}
    )
    with loaded(
        tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    ) as on:
        nodes = on.circuit.outputs
        with on.driven(Role.SUPPLY):
            one, screen = _phasors(on, [*nodes, on.node(Place.SUPPLY)], supply.frequency_hz, rotation)
        # the ripple of a settled supply is known at the receiver, of others at their e.m.f.
        ripple = one[:-1] * (supply.first_v / one[-1] if supply.at_receiver else supply.first_v)
        # d.c. on the heaters has no line-frequency part
        on.drive(Role.HEATER, tuned.build.heater.volts if tuned.build.heater.supply == "ac" else 0.0)

        def at(position: float, wired: Build = potted) -> ComplexArray:
            for element, value in hum_pot_elements(on.circuit, wired, position).items():
                on.set(element, value)
            return _phasors(on, nodes, tuned.build.mains.frequency, rotation)[0]

        mains = np.array([at(float(p)) for p in POSITIONS])
        at_build = at(tuned.build.heater.hum_pot_position, tuned.build)
        best = []
        for index in range(len(nodes)):
            position = null(POSITIONS, mains[:, index])
            best.append((position, complex(at(position)[index])))
    return reduce(
        tuned.build,
        setting=ControlSetting.of(rotation, screen, **on.circuit.control.sets),
        mains=mains,
        ripple=ripple,
        at_build=at_build,
        best=best,
    )


def _phasors(
    on: Loaded, nodes: Sequence[str], frequency: float, rotation: float
) -> tuple[ComplexArray, float]:
    run_ = on.session.ac(frequency, frequency, 1, vectors=["frequency", *on.control_vectors, *nodes])
    figure = on.figure(run_, share=on.circuit.control.share(rotation))
    return np.array([run_[node][0] for node in nodes]), figure
