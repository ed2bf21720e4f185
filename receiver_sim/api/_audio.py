"""Audio: response, power, distortion, limits and noise of each output."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from receiver_sim.api._common import hazards, prepare, restless, said
from receiver_sim.builds import opened
from receiver_sim.circuit.blocks.phones import fit_of, load_impedance
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.measure.audio_unrest import audio_unrest
from receiver_sim.physics.hearing import sound_level_db
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.audio import (
    AudioResponse,
    AudioStudy,
    ClassA,
    Drive,
    Limits,
    OutputLevels,
)
from receiver_sim.schema import Build
from receiver_sim.studies import (
    audio_response,
    distortion,
    noise,
    transformer_energy,
)


def audio(
    build: Build, *, band: str | None = None, rotation: float | None = None, bench: Bench | None = None
) -> AudioResponse:
    """Return the audio response of each output, at `rotation` (0..1) or where the loop gain is 0.9.

    Raises BuildFaults, UnknownName for an unknown band, EngineError.
    """
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        at = prepare(receiver, band, rotation=rotation)
        return audio_response.run(at.on(receiver), rotation=at.rotation)


INPUTS = tuple(float(v) for v in np.geomspace(1e-4, 0.1, 9))
"""Volts r.m.s. of the tone at the detector's grid: from a weak station to far beyond any."""


_AT_REST = (
    "Gain, corners and noise are those of stages held at rest, levels and distortion those of a set that "
    "motorboats"
)

CLIPPED, COMPRESSED_DB = 0.10, 1.0
"""Distortion at which an output counts as clipped (as power is rated; common practice), and compression."""


def audio_in_depth(
    build: Build,
    *,
    band: str | None = None,
    rotation: float | None = None,
    inputs: Sequence[float] = INPUTS,
    bench: Bench | None = None,
) -> AudioStudy:
    """Return response, levels with distortion, limits, class A and noise of each output.

    rotation: of the regeneration control, 0..1, or where the loop gain is 0.9; inputs: volts r.m.s. of a tone
    at the detector's grid, rising. Raises BuildFaults, UnknownName for an unknown band, EngineError.
    """
    with opened(bench) as b:
        receiver = Receiver(build, b)
        given, build = build, receiver.build
        setting = prepare(receiver, band, rotation=rotation)
        place = setting.rotation
        stages = Stages()
        response = stages.run(
            "audio response",
            lambda: audio_response.run(setting.on(receiver), rotation=place),
        )
        runs = stages.run(
            "distortion",
            lambda: distortion.run(receiver, rotation=place, inputs=inputs),
        )
        unrest = stages.run("does it hold still", lambda: audio_unrest(receiver, rotation=place))
        floors = stages.run("noise", lambda: noise.run(receiver, rotation=place))
        balance = stages.run(
            "energy at the output transformer",
            lambda: transformer_energy.run(receiver, rotation=place),
        )
    classes = tuple(c for _, per_tube in runs or () for c in per_tube)
    levels = []
    for index, phone in enumerate(build.phones if runs else ()):
        drives = tuple(per_output[index] for per_output, _ in runs or ())
        floor = None if floors is None else floors[index]
        levels.append(OutputLevels(phone.name, drives, _limits(build, index, drives, classes, floor)))
    dangers = hazards(given, build)
    return AudioStudy(
        response=response,
        frequency_hz=distortion.TONE_HZ,
        levels=tuple(levels),
        class_a=classes,
        transformer=balance,
        notes=(*said(setting), *restless(unrest, place, _AT_REST), *_audio_notes(build)),
        cautions=(*dangers, *cautions.ALL),
        failed=stages.failed,
    )


def _limits(
    build: Build,
    index: int,
    drives: tuple[Drive, ...],
    classes: Sequence[ClassA],
    floor: tuple[float, dict[str, float]] | None,
) -> Limits:
    phone = build.phones[index]
    clip = _crossing([d.thd for d in drives], CLIPPED, [d.input_v for d in drives])
    first = drives[0]
    lost = [
        20.0 * np.log10(first.output_v / first.input_v * d.input_v / d.output_v) if d.output_v > 0.0 else 0.0
        for d in drives
    ]
    pressed = _crossing(lost, COMPRESSED_DB, [d.input_v for d in drives])
    kept = [d.input_v for d in drives if all(c.keeps for c in classes if c.input_v <= d.input_v)]
    level = None
    if phone.state == "loaded" and floor is not None:
        admittance = (1.0 / complex(load_impedance(build, index, distortion.TONE_HZ))).real
        level = sound_level_db(floor[0] ** 2 * admittance, sensitivity_db=phone.sensitivity)
    watts = _power_at(drives, clip)
    return Limits(
        clip_v=clip,
        clip_w=watts,
        clip_db=None if not watts else sound_level_db(watts, sensitivity_db=phone.sensitivity),
        compression_v=pressed,
        compression_w=_power_at(drives, pressed),
        class_a_v=max(kept, default=None) if classes else None,
        floor_v=None if floor is None else floor[0],
        floor_db=level,
        noise_parts={} if floor is None else floor[1],
    )


def _crossing(values: Sequence[float], limit: float, inputs: Sequence[float]) -> float | None:
    """Return the input at which `values` first reach `limit`, linear in log input; None if they don't."""
    for i, value in enumerate(values):
        if value >= limit:
            if i == 0:
                return inputs[0]
            share = (limit - values[i - 1]) / (value - values[i - 1])
            return float(inputs[i - 1] * (inputs[i] / inputs[i - 1]) ** share)
    return None


def _power_at(drives: Sequence[Drive], input_v: float | None) -> float | None:
    if input_v is None:
        return None
    return float(np.interp(np.log(input_v), np.log([d.input_v for d in drives]), [d.power_w for d in drives]))


def _audio_notes(build: Build) -> tuple[str, ...]:
    notes = [
        "Phones are taken as equally sensitive at all frequencies; a sensitivity that the build does not "
        "state is from memory and may be 10 dB off.",
        "Noise: resistors, shot and partition noise of the tubes; no flicker noise, nothing from the aerial.",
    ]
    for phone in build.phones:
        fit = fit_of(phone)
        if fit is not None:
            notes.append(
                f"{phone.name}: network fitted to its measured impedance, largest error {fit.error:.1%}."
            )
    return tuple(notes)
