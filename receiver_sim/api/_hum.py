"""Hum against the hum pot, by path, by ear, and what helps."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.api._common import hazards, prepare, restless, said
from receiver_sim.builds import opened
from receiver_sim.design import hum_remedies
from receiver_sim.engine import Bench
from receiver_sim.failing_stages import Stages
from receiver_sim.measure.audio_unrest import audio_unrest
from receiver_sim.measure.ripple import ripple_of
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results import cautions
from receiver_sim.results.audio import (
    Hum,
)
from receiver_sim.results.hum import HumModulation, HumStudy
from receiver_sim.schema import Build
from receiver_sim.studies import (
    amplitude,
    hum,
    hum_modulation,
    hum_paths,
)

_PHASE = "A stated ripple is taken as a sine in phase with the heaters; a rectifier's has its true phase."


def hum_study(
    build: Build, *, band: str | None = None, rotation: float | None = None, bench: Bench | None = None
) -> Hum:
    """Return the hum at each output against the hum pot; arguments and errors as for `audio`."""
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        at = prepare(receiver, band, rotation=rotation)
        return hum.run(at.on(receiver), rotation=at.rotation)


def hum_in_depth(
    build: Build, *, band: str | None = None, rotation: float | None = None, bench: Bench | None = None
) -> HumStudy:
    """Return hum against the pot, by path, by ear, and every remedy tried; errors as for audio_in_depth.

    A stage whose simulation fails is named in `failed` and does not stop the rest.
    """
    with opened(bench) as b:
        receiver = Receiver(build, b)
        given, build = build, receiver.build
        setting = prepare(receiver, band, rotation=rotation)
        tuned, place = setting.on(receiver), setting.rotation
        stages = Stages()
        against_pot = stages.run("hum against the hum pot", lambda: hum.run(tuned, rotation=place))
        by_path = stages.run("hum by its paths", lambda: hum_paths.run(tuned, rotation=place))

        def loudness(changed: Build) -> Sequence[float | None]:
            if changed.supply == given.supply:
                # no remedy but those of the supply changes its load by more than a hundredth
                changed = changed.model_copy(update={"supply": build.supply})
            other = receiver.changed(changed).at(tuned.band, tuned.dial_hz)
            return hum_paths.loudness(other, rotation=place)

        def measure(what: str, changed: Build) -> Sequence[float | None] | None:
            return stages.run(what, lambda: loudness(changed))

        unrest = stages.run("does it hold still", lambda: audio_unrest(receiver, rotation=place))
        modulation = stages.run("hum modulation", lambda: _modulation(tuned))
        nulls = None if against_pot is None else [output.best_position for output in against_pot.outputs]
        ranked = hum_remedies.run(given, measure=measure, nulls=nulls)
    dangers = hazards(given, build)
    return HumStudy(
        hum=against_pot,
        paths=by_path,
        remedies=ranked,
        modulation=modulation,
        notes=(
            *said(setting),
            *restless(unrest, place, "Hum is told of stages held at rest, which these are not"),
            "Tones and paths are those of the detector below onset; hum modulation is reported separately.",
            *([] if given.supply.kind == "battery" else [_PHASE]),
        ),
        cautions=(*dangers, *cautions.ALL),
        failed=stages.failed,
    )


def _modulation(tuned: Tuned) -> HumModulation | None:
    """Return how hum modulates the oscillation just above onset; None where the band has no such setting."""
    search, build = tuned.onset, tuned.build
    if search.onset is None or search.tuning_farad is None:
        return None
    found = amplitude.run(tuned, time_runs=False)
    mode = tuned.mode(search.onset.rotation)
    ripple = ripple_of(build)
    return hum_modulation.run(
        tuned.receiver,
        mode,
        found=found,
        heater=hum_paths.heater_drive(build),
        winding=(build.pickup.detector_load, 1),
        ripple=ripple.phasors(build.mains.frequency, count=hum_paths.LINES),
        ripple_at_receiver=ripple.at_receiver,
    )
