"""How oscillation comes in on one band, for the verbs that ask: amplitudes, whether they hold still, and how
loud a weak station is just below.
"""

from __future__ import annotations

from dataclasses import replace

from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.mode import Mode
from receiver_sim.engine import EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.failing_stages import Stages
from receiver_sim.physics.hearing import sound_level_db, threshold_db
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.audio import Loudness
from receiver_sim.results.base import Status
from receiver_sim.results.envelope import BandOscillation, Oscillation, Stability
from receiver_sim.schema import Build
from receiver_sim.studies import amplitude, detection, stability

POINTS = 8
"""Settings whose modes are looked at in a band."""


def mode_at(tuned: Tuned, found: Oscillation) -> Mode:
    """Return the tank's mode for a dial setting and its amplitudes.

    The volts at rest are those at onset; without one on the control, at the first of the amplitudes, and
    where there are none, at the end of the control that is nearest to onset. Raises NoAnswer for a search
    that failed, EngineError when a simulation fails.
    """
    search = tuned.onset
    if search.onset is not None:
        return tuned.mode(search.onset.rotation)
    if found.amplitudes is not None:
        return tuned.mode(float(found.amplitudes.rotation[0]))
    return tuned.mode(search.nearest_end)


def comes_in(tuned: Tuned, stages: Stages) -> BandOscillation:
    """Return the amplitudes of a dial setting and its stability as built, neither with a run over time.

    A search for modes that fails is marked in `stages` and leaves the amplitudes as found. Raises EngineError
    when their own simulation fails.
    """
    found = amplitude.run(tuned, time_runs=False)
    # `check` answers alike each time it is asked
    found = replace(found, seconds=None)
    if found.status is Status.FAILED:
        raise EngineError("; ".join(found.warnings))
    if found.amplitudes is None:
        return BandOscillation(found, (), (), None)
    steady = stages.run(f"modes on {tuned.band.name}", lambda: _steadiness(tuned, found))
    return BandOscillation(found, (), () if steady is None else (steady,), None)


def _steadiness(tuned: Tuned, found: Oscillation) -> Stability:
    mode = mode_at(tuned, found)
    return stability.run(tuned.receiver, mode, band=tuned.band, found=found, points=POINTS, seconds=0.0)


ACROSS_COIL = 3.0
"""Volts across a coil without regeneration for each volt of e.m.f. in the aerial, where the build states no
aerial. Common practice, no source: loosely coupled aerials of the builds that ship give 2 to 3.
"""


def _fully_up(build: Build) -> Build:
    """Return the build with its volume control, if it has one, fully up."""
    if build.audio is None or build.audio.volume is None:
        return build
    volume = build.audio.volume.model_copy(update={"setting": 1.0})
    return build.model_copy(update={"audio": build.audio.model_copy(update={"volume": volume})})


def loudness(tuned: Tuned, found: Oscillation) -> tuple[Loudness, ...]:
    """Return how loud a weak station is in each load, the volume fully up, at loop gain 0.9.

    found: the amplitudes of that dial setting. The carrier is the build's own
    (`verdicts.loudness_signal`). Empty without an onset. Raises EngineError when a simulation fails.
    """
    if found.onset is None or found.amplitudes is None:
        return ()
    build, cards, bench, band, search = tuned.build, tuned.cards, tuned.bench, tuned.band, tuned.onset
    mode = mode_at(tuned, found)
    up = _fully_up(build)
    amperes = ACROSS_COIL / mode.rp if build.aerial is None else None
    carrier, tone = build.verdicts.loudness_signal, detection.AM_HZ
    heard = []
    for index, phone in enumerate(build.phones):
        if phone.state == "open":
            continue
        ear = detection.Listener(
            Receiver(up, bench, cards=cards), mode, found=found, output=index, amperes=amperes
        )
        # a loop gain above 0.9 all over the control leaves the place a little below onset
        below = ear.rotation_below(detection.BELOW[5])
        rotation = below if search.at_nine_tenths is None else search.at_nine_tenths.rotation
        try:
            _, volts = ear.am(rotation, carrier)
        except NoAnswer as error:  # the carrier's amplitude finds no end there
            raise EngineError(f"{band.name} at {100.0 * rotation:.4g} % of the control: {error}") from error
        power = volts**2 * (1.0 / complex(load_impedance(build, index, tone))).real
        heard.append(
            Loudness(
                output=phone.name,
                carrier_v=carrier,
                tone_hz=tone,
                rotation=rotation,
                output_v=volts,
                power_w=power,
                level_db=sound_level_db(power, sensitivity_db=phone.sensitivity),
                threshold_db=float(threshold_db(tone)),
                volume_up=build.audio is not None and build.audio.volume is not None,
            )
        )
    return tuple(heard)
