"""What does an r.f. stage do to onset, to the aerial's resonances, to radiation and to noise?

Each is answered beside the same set without the stage, the aerial where the stage's plate was: on the
coupling capacitor, or on the link of each coil.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.aerial import aerial_radiation
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.mode import silenced
from receiver_sim.measure.tank import Tank
from receiver_sim.physics.aerial import radiated_power
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import Status
from receiver_sim.results.onset import Onset
from receiver_sim.results.rf_stage import FrontEnd, RfStageEffect
from receiver_sim.results.swap import SignalNoise
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_figures import coil_q
from receiver_sim.studies import detection_figure, signal_noise

BANDWIDTH_HZ = 3000.0
"""Bandwidth that the weakest signal is given for: speech."""

POINTS = 11
BEYOND = 1.12
"""Dial settings looked at, from the band's low end divided by this to its high end times it: the aerial's
resonances know no band."""


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float) -> Circuit:
    """Return the circuit: the receiver tuned to `dial_hz`, the control at its lowest."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=0.0)


def without_stage(build: Build) -> Build:
    """Return the same set without its r.f. stage: the aerial where the stage's plate was.

    Raises NoAnswer for a set without a stage or without an aerial.
    """
    stage, aerial = build.rf_stage, build.aerial
    if stage is None or aerial is None:
        raise NoAnswer("no r.f. stage" if stage is None else "no aerial is connected")
    aerial = aerial.model_copy(update={"coupling": stage.coupling})
    return build.model_copy(update={"rf_stage": None, "aerial": aerial})


def frequencies(band: Band) -> tuple[float, ...]:
    """Return the dial frequencies (Hz) looked at."""
    return tuple(float(f) for f in np.geomspace(band.from_ / BEYOND, band.to * BEYOND, POINTS))


def run(
    tuned: Tuned,
) -> RfStageEffect:
    """Look at one band with the stage and without it.

    Raises EngineError when a simulation fails, NoAnswer without a stage or an aerial.
    """
    along = frequencies(tuned.band)
    without = tuned.receiver.changed(without_stage(tuned.build)).at(tuned.band, tuned.dial_hz)
    present, bare = (front_end(one, along=along) for one in (tuned, without))
    return RfStageEffect(
        band=tuned.band.name,
        dial_hz=tuned.dial_hz,
        present=present,
        without=bare,
        radiation_db=10.0 * math.log10(bare.power_w / present.power_w),
        along_hz=np.array(along),
        ratio_db=signal_noise.READABLE_DB,
        bandwidth_hz=BANDWIDTH_HZ,
    )


def front_end(one: Tuned, *, along: Sequence[float] = ()) -> FrontEnd:
    """Return the way from the aerial to the tank at the middle of a band; along: dial frequencies (Hz) at
    which onset is sought, too.

    Raises EngineError when a simulation fails, NoAnswer where the onset search did.
    """
    found = one.onset
    if found.tuning_farad is None:
        raise NoAnswer("; ".join(found.warnings) or "the onset search failed")
    heard = None if found.onset is None else _noise(one)
    places = [_place(one.receiver.at(one.band, f).onset) for f in along]
    with loaded(one.bench, plan(one.build, one.cards, band=one.band, dial_hz=one.dial_hz)) as on:
        on.tune(found.tuning_farad)
        return _front_end(on, one.build, band=one.band, found=found, heard=heard, along=places)


def _noise(tuned: Tuned) -> SignalNoise:
    """Return signal and noise of a build a little below an onset."""
    rotation = tuned.onset.working_rotation
    assert rotation is not None
    _, tube = detection_figure.run(tuned, rotation=rotation)
    return signal_noise.run(tuned, rotation=rotation, tube=tube)


def _place(found: Onset) -> float:
    """Return where on the control onset lies; an end of it where it lies beyond. Raises NoAnswer."""
    if found.status is Status.FAILED:
        raise NoAnswer("; ".join(found.warnings) or "the onset search failed")
    return found.nearest_end if found.onset is None else found.onset.rotation


def _front_end(
    on: Loaded,
    build: Build,
    *,
    band: Band,
    found: Onset,
    heard: SignalNoise | None,
    along: Sequence[float],
) -> FrontEnd:
    assert build.aerial is not None
    mode = Tank(on, band=band).mode(found.dial_hz, q=coil_q(band.coil, found.dial_hz))
    at = mode.resonance_hz
    top, branch = on.node(Place.HOT_END), on.circuit.branch(Role.AERIAL)
    with silenced(on), on.driven(Role.TANK_CURRENT):
        back = on.session.ac(at, at, 1, vectors=["frequency", top, branch])
    amps = float(abs(back[branch][0] / back[top][0])) / math.sqrt(2.0)
    _, resistance, _ = aerial_radiation(build.aerial, frequency=at)
    weakest = None
    if heard is not None:
        weakest = next(w.aerial_v for w in heard.weakest if w.bandwidth_hz == BANDWIDTH_HZ)
    return FrontEnd(
        status=found.status,
        onset=found.onset,
        q=mode.q,
        aerial_gain=abs(mode.aerial or 0.0) * mode.rp,
        aerial_a=amps,
        power_w=float(radiated_power(amps, radiation_resistance=resistance)),
        weakest_v=weakest,
        along_rotation=np.array(along),
    )
