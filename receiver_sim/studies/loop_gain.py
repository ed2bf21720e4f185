"""How does the loop gain run with the control, and with frequency? (RF view)"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.loop_gain import Probe, Sample
from receiver_sim.physics.return_ratio import return_ratio
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import FloatArray
from receiver_sim.results.onset import SCREEN, ControlSetting, GainAgainstScreen, NyquistCurve
from receiver_sim.schema import Band, Build


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit of the sweeps: the receiver tuned to `dial_hz`."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.5)


def reduce(
    samples: Sequence[Sample], rotations: FloatArray, *, band: Band, dial_hz: float, control: Control
) -> GainAgainstScreen:
    """Turn the samples of a sweep into the result."""
    figure = np.array([s.figure for s in samples])
    return GainAgainstScreen(
        band=band.name,
        dial_hz=dial_hz,
        rotation=np.asarray(rotations, dtype=np.float64),
        screen_v=figure if control.quantity == SCREEN else None,
        gain=np.array([s.gain for s in samples]),
        frequency_hz=np.array([s.frequency for s in samples]),
        value=None if control.quantity == SCREEN else figure,
        **control.sets,
    )


def run(
    tuned: Tuned,
    *,
    tuning: float,
    rotations: FloatArray,
    nyquist: Sequence[tuple[str, float]] = (),
) -> tuple[GainAgainstScreen, tuple[NyquistCurve, ...]]:
    """Answer for a band and dial setting; see `measured`."""
    with loaded(tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz)) as on:
        return measured(
            on, band=tuned.band, dial_hz=tuned.dial_hz, tuning=tuning, rotations=rotations, nyquist=nyquist
        )


def measured(
    on: Loaded,
    *,
    band: Band,
    dial_hz: float,
    tuning: float,
    rotations: FloatArray,
    nyquist: Sequence[tuple[str, float]] = (),
    at_once: bool = False,
) -> tuple[GainAgainstScreen, tuple[NyquistCurve, ...]]:
    """Sweep the control over `rotations` (0..1), and draw the return ratio at the labelled rotations of
    `nyquist`.

    on: the loaded circuit of `plan`. tuning: the tuning capacitor (F) of the onset search, so that all
    results speak of the same dial setting. at_once: ask for all rotations in one exchange with the engine,
    for a quick answer; where that fails the session is over. Raises EngineError when a simulation fails.
    """
    control, node = on.circuit.control, on.node(Place.CONTROL_NODE)
    probe = Probe(on, band=band, dial_hz=dial_hz)
    probe.tune(tuning)
    shares = [control.share(float(r)) for r in rotations]
    samples = probe.measure_each(shares) if at_once else None
    if samples is None:
        samples = [probe.measure(share) for share in shares]
    curves = []
    for label, rotation in nyquist:
        on.turn(rotation)
        # ten half-bandwidths either side show the circle of a single resonance closed to a tenth
        width = 5.0 * dial_hz / band.coil.q
        run_ = on.session.ac(
            dial_hz - width, dial_hz + width, 401, vectors=["frequency", node, *on.control_vectors]
        )
        screen = on.figure(run_, share=control.share(rotation))
        curves.append(
            NyquistCurve(
                band=band.name,
                setting=ControlSetting.of(rotation, screen, **control.sets),
                label=label,
                frequency_hz=run_["frequency"].real,
                return_ratio=return_ratio(run_[node]),
            )
        )
    on.drive(Role.LOOP_GAIN, 0.0)
    return reduce(samples, rotations, band=band, dial_hz=dial_hz, control=control), tuple(curves)
