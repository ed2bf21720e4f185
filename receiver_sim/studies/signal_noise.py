"""How weak a signal can the detector still give above its own noise? (RF view, just below onset)

Tank, aerial resistance, input loading and all other resistors make their thermal noise in ngspice; the tube's
shot and partition noise is its published equivalent resistance at the control node. Signal and noise are
compared at the grid: regeneration raises both alike, so their ratio there does not depend on the control.
Left out: noise and static that the aerial brings along, which on these bands as a rule exceed the set's own;
flicker noise; the extra noise of transit time in the input loading; and detection itself, which is square-law
for weak signals: below about the noise an AM signal is lost faster than this ratio says, while a beat note,
detected against the tube's own oscillation, keeps it.
"""

from __future__ import annotations

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.tube_jig import JigReading
from receiver_sim.measure.tubes_ahead import noise_at, tubes_ahead
from receiver_sim.physics.noise import pentode_noise_resistance
from receiver_sim.physics.sensitivity import resistance_of, signal_above_noise
from receiver_sim.receiver import Tuned
from receiver_sim.results.swap import SignalNoise, WeakestSignal
from receiver_sim.schema import Band, Build

BANDWIDTHS_HZ = (500.0, 3000.0)
"""Code through a filter, and speech."""

READABLE_DB = 10.0
"""Signal over noise that counts as readable (common practice, no source)."""

_POINTS = 81


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`, the control at `rotation`."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def reduce(
    *, band: Band, frequency: float, multiplied: complex, thermal: float, tank: float, aerial: complex | None,
    tube_ohm: float, ahead: float = 0.0,
) -> SignalNoise:  # fmt: skip
    """Turn the answers at one frequency into the result.

    multiplied: control node for 1 V injected, 1/(1 - T); thermal: noise density there (V/sqrt(Hz)) of all
    resistors, tank: of the tank's loss alone; aerial: control node for 1 V in the aerial; ahead: noise
    density there of the tubes ahead of the detector.
    """
    circuit = resistance_of(thermal / abs(multiplied))
    stage = 0.0 if ahead == 0.0 else resistance_of(ahead / abs(multiplied))
    total = tube_ohm + circuit + stage
    own_gain = None if aerial is None else abs(aerial / multiplied)
    weakest = []
    for bandwidth in BANDWIDTHS_HZ:
        grid_v = signal_above_noise(total, bandwidth=bandwidth, ratio_db=READABLE_DB)
        weakest.append(WeakestSignal(bandwidth, grid_v, None if own_gain is None else grid_v / own_gain))
    return SignalNoise(
        band=band.name,
        frequency_hz=frequency,
        gain=float((1.0 - 1.0 / multiplied).real),
        tube_ohm=tube_ohm,
        circuit_ohm=circuit,
        tank_share=(tank / thermal) ** 2,
        aerial_gain=own_gain,
        ratio_db=READABLE_DB,
        weakest=tuple(weakest),
        stage_ohm=stage,
    )


def run(tuned: Tuned, *, rotation: float, tube: JigReading) -> SignalNoise:
    """Return noise and weakest signal with the control at `rotation`, at the peak of the tank's response.

    Dial and tuning are those of the onset; tube: the detector's figures at its volts there. Raises
    EngineError.
    """
    dial, width = tuned.onset.dial_hz, tuned.onset.dial_hz / tuned.band.coil.q
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=dial, rotation=rotation)
    node = circuit.node(Place.CONTROL_NODE)
    source = circuit.find(Role.AERIAL) or circuit.part(Role.TANK_CURRENT)
    with loaded(tuned.bench, circuit) as on:
        if tuned.onset.tuning_farad is not None:
            on.tune(tuned.onset.tuning_farad)
        on.turn(rotation)
        with on.driven(source):
            sweep = on.session.ac(dial - width, dial + width, _POINTS, vectors=["frequency", node])
        peak = int(np.argmax(np.abs(sweep[node])))
        frequency = float(sweep["frequency"][peak].real)
        on.drive(Role.LOOP_GAIN)
        injected = on.session.ac(frequency, frequency, 1, vectors=["frequency", node])
        noise = on.session.noise(
            f"v({node})", source, frequency, frequency, 1, scale="lin", contributions=True
        )
        on.drive(Role.LOOP_GAIN, 0.0)
        ahead = noise_at(on, tubes_ahead(on, tuned.cards), node=node, frequency=frequency)
    tube_ohm = pentode_noise_resistance(
        tube.gm, plate_current=tube.plate_a, screen_current=max(tube.screen_a, 0.0)
    )
    return reduce(
        band=tuned.band,
        frequency=frequency,
        multiplied=complex(injected[node][0]),
        thermal=float(noise["onoise_spectrum"][0].real),
        tank=float(noise[f"onoise_{circuit.part(Role.TANK_LOSS)}"][0].real),
        aerial=None if tuned.build.aerial is None else complex(sweep[node][peak]),
        tube_ohm=tube_ohm,
        ahead=ahead,
    )
