"""How do onset and loop gain run over the whole dial of a coil, and what makes them do so?

The loop gain is taken apart: T = g_k Z, with Z the volts from grid to cathode for an ampere into the cathode
(n (1 - n) Rp for an ideal tap; for a tickler (M/L) Rp, and the ampere is the plate's), measured with the
tube cold, and the tank's losses by whose they are.
"""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.coil import tank_loss
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Role
from receiver_sim.engine import EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.loop_gain import Probe
from receiver_sim.measure.tank import Tank
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Status
from receiver_sim.results.coils import DialPoint, DialSweep
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_figures import coil_figures, coil_q

POINTS = 9
"""Frequencies over a coil's dial, band middle apart."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`, the control at `rotation` (0..1)."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


def reduce(build: Build, circuit: Circuit, *, band: Band, found: Onset, gain: float, mode: Mode) -> DialPoint:
    """Turn onset, loop gain and the passive mode at one frequency into the result."""
    dial = found.dial_hz
    input_ohm = circuit.dialled(dial)[circuit.part(Role.INPUT_LOSS)]
    control = mode.grid - mode.cathode
    transfer = float(mode.transfer.real) * mode.rp
    whole = 1.0 / mode.rp
    coil = 1.0 / tank_loss(band, dial_hz=dial)
    tube = abs(control) ** 2 / input_ohm
    to = {"tank": 1.0 - mode.grid, "cathode": control, "ground": mode.grid}[build.detector.grid_leak_to]
    leak = abs(to) ** 2 / build.detector.grid_leak
    return DialPoint(
        dial_hz=dial,
        status=found.status,
        onset=found.onset,
        gain=gain,
        coil_q=coil_q(band.coil, dial),
        coil_rp_ohm=1.0 / coil,
        loaded_q=mode.q,
        rp_ohm=mode.rp,
        coil_loss=coil / whole,
        input_loss=tube / whole,
        leak_loss=leak / whole,
        other_loss=1.0 - (coil + tube + leak) / whole,
        tap_ratio=coil_figures(band.coil).sections.tap_ratio,
        transfer_ohm=transfer,
        transconductance_siemens=gain / transfer,
    )


def point(tuned: Tuned, *, rotation: float) -> DialPoint:
    """Measure loop gain at `rotation` and the passive mode, at the frequency and tuning of an onset search.

    Raises EngineError when a simulation fails, ValueError where no resonance is found or the search failed.
    """
    if tuned.onset.tuning_farad is None:
        raise NoAnswer("; ".join(tuned.onset.warnings) or "the onset search failed")
    dial = tuned.onset.dial_hz
    circuit = plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=dial, rotation=rotation)
    with loaded(tuned.bench, circuit) as on:
        probe = Probe(on, band=tuned.band, dial_hz=dial)
        probe.tune(tuned.onset.tuning_farad)
        sample = probe.measure(circuit.control.share(rotation))
        on.drive(Role.LOOP_GAIN, 0.0)
        mode = Tank(on, band=tuned.band).mode(sample.frequency, q=coil_q(tuned.band.coil, dial))
    return reduce(tuned.build, circuit, band=tuned.band, found=tuned.onset, gain=sample.gain, mode=mode)


def run(
    receiver: Receiver,
    *,
    band: Band,
    frequencies: Sequence[float],
    rotation: float,
) -> DialSweep:
    """Sweep the dial over `frequencies` (Hz), the control at `rotation`, and search for the onset at each.

    A frequency whose simulation fails is left out and named in the warnings.
    """

    def one(dial: float) -> DialPoint | str:
        tuned = receiver.at(band, dial)
        found = tuned.onset
        if found.status is Status.FAILED:
            return f"{dial / 1e6:.4g} MHz: {'; '.join(found.warnings)}"
        try:
            return point(tuned, rotation=rotation)
        except (EngineError, NoAnswer) as error:
            return f"{dial / 1e6:.4g} MHz: {error}"

    answers = [one(dial) for dial in frequencies]
    return DialSweep(
        band=band.name,
        from_hz=band.from_,
        to_hz=band.to,
        rotation=rotation,
        points=tuple(a for a in answers if isinstance(a, DialPoint)),
        warnings=tuple(a for a in answers if isinstance(a, str)),
    )
