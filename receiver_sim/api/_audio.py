"""Public functions on audio, hum and supply in depth; the short forms that `check` uses are in `api`.

    >>> study = hum_in_depth(load_build("my-set.yaml"))

Every one loads nothing but a build, runs one verb and returns a frozen result. A Bench is opened and closed
by each call unless one is given.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from receiver_sim.api import _check as api
from receiver_sim.builds import cards_for, current_drawn, opened
from receiver_sim.circuit.blocks.phones import fit_of, load_impedance
from receiver_sim.circuit.registry import Cards
from receiver_sim.design import dropper, hum_remedies
from receiver_sim.engine import Bench, EngineError
from receiver_sim.judge import heater_verdicts, verdicts
from receiver_sim.measure.mode import tuned_mode
from receiver_sim.physics.hearing import sound_level_db
from receiver_sim.results import cautions
from receiver_sim.results.audio import AudioStudy, ClassA, Drive, Limits, OutputLevels
from receiver_sim.results.check import Grade, Verdict
from receiver_sim.results.hum import HumModulation, HumStudy
from receiver_sim.results.supply import (
    BatteryLife,
    DropperChoice,
    LineDrift,
    Rectified,
    StartAndStop,
    SupplyStudy,
)
from receiver_sim.schema import Build
from receiver_sim.stages import Stages
from receiver_sim.studies import (
    amplitude,
    audio_response,
    distortion,
    hum,
    hum_modulation,
    hum_paths,
    line_drift,
    noise,
    onset,
    rectifier,
    screen_quiet,
    start_up,
    transformer_energy,
)
from receiver_sim.working import Setting

__all__ = ["INPUTS", "audio_in_depth", "hum_in_depth", "supply_in_depth"]

INPUTS = tuple(float(v) for v in np.geomspace(1e-4, 0.1, 9))
"""Volts r.m.s. of the tone at the detector's grid: from a weak station to far beyond any."""

CLIPPED, COMPRESSED_DB = 0.10, 1.0
"""Distortion at which an output counts as clipped (as power is rated; common practice), and compression."""

DISCHARGE_LIMIT_S = 60.0
"""Longest time to safe volts that a bleeder may take (common practice, no source)."""


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
    at the detector's grid, rising. Raises BuildFaults, KeyError for an unknown band, EngineError.
    """
    with opened(bench) as b:
        given, build = build, api.settle(build, b)
        cards, setting = api.prepare(build, band, b, rotation=rotation)
        place = setting.rotation
        stages = Stages()
        response = stages.run(
            "audio response",
            lambda: audio_response.run(
                build, cards, b, band=setting.band, dial_hz=setting.onset.dial_hz, rotation=place
            ),
        )
        runs = stages.run(
            "distortion", lambda: distortion.run(build, cards, b, rotation=place, inputs=inputs)
        )
        floors = stages.run("noise", lambda: noise.run(build, cards, b, rotation=place))
        balance = stages.run(
            "energy at the output transformer",
            lambda: transformer_energy.run(build, cards, b, rotation=place),
        )
    classes = tuple(c for _, per_tube in runs or () for c in per_tube)
    levels = []
    for index, phone in enumerate(build.phones if runs else ()):
        drives = tuple(per_output[index] for per_output, _ in runs or ())
        floor = None if floors is None else floors[index]
        levels.append(OutputLevels(phone.name, drives, _limits(build, index, drives, classes, floor)))
    hazards = _hazards(given, build)
    return AudioStudy(
        response=response,
        frequency_hz=distortion.TONE_HZ,
        levels=tuple(levels),
        class_a=classes,
        transformer=balance,
        notes=(*_said(setting), *_audio_notes(build)),
        cautions=(*hazards, *cautions.ALL),
        failed=stages.failed,
    )


def _hazards(given: Build, settled: Build) -> tuple[str, ...]:
    """Return what in this very build must be said ahead of any figure."""
    heaters = heater_verdicts.judge_heaters(settled, cards_for(settled))
    found = (*verdicts.judge_safety(settled), *verdicts.judge_filter(given, settled), *heaters)
    return verdicts.dangers(found)


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
        class_a_v=max(kept, default=None),
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


def hum_in_depth(
    build: Build, *, band: str | None = None, rotation: float | None = None, bench: Bench | None = None
) -> HumStudy:
    """Return hum against the pot, by path, by ear, and every remedy tried; errors as for audio_in_depth.

    A stage whose simulation fails is named in `failed` and does not stop the rest.
    """
    with opened(bench) as b:
        given, build = build, api.settle(build, b)
        cards, setting = api.prepare(build, band, b, rotation=rotation)
        where: dict[str, Any] = {
            "band": setting.band, "dial_hz": setting.onset.dial_hz, "rotation": setting.rotation,
        }  # fmt: skip
        stages = Stages()
        against_pot = stages.run("hum against the hum pot", lambda: hum.run(build, cards, b, **where))
        by_path = stages.run("hum by its paths", lambda: hum_paths.run(build, cards, b, **where))

        def loudness(changed: Build) -> Sequence[float | None]:
            if changed.supply == given.supply:
                # no remedy but those of the supply changes its load by more than a hundredth
                changed = changed.model_copy(update={"supply": build.supply})
            return hum_paths.loudness(api.settle(changed, b), cards, b, **where)

        def measure(what: str, changed: Build) -> Sequence[float | None] | None:
            return stages.run(what, lambda: loudness(changed))

        modulation = stages.run("hum modulation", lambda: _modulation(build, cards, b, setting))
        nulls = None if against_pot is None else [output.best_position for output in against_pot.outputs]
        ranked = hum_remedies.run(given, measure=measure, nulls=nulls)
    hazards = _hazards(given, build)
    return HumStudy(
        hum=against_pot,
        paths=by_path,
        remedies=ranked,
        modulation=modulation,
        notes=(
            *_said(setting),
            "Tones and paths are those of the detector below onset; hum modulation is told apart.",
            "A stated ripple is taken as a sine in phase with the heaters; a rectifier's has its true phase.",
        ),
        cautions=(*hazards, *cautions.ALL),
        failed=stages.failed,
    )


def _said(setting: Setting) -> tuple[str, ...]:
    """Return the sentence on a setting that is not the working one, as the first of a verb's notes."""
    return () if setting.note is None else (f"{setting.note[0].upper()}{setting.note[1:]}.",)


def _modulation(build: Build, cards: Cards, b: Bench, setting: Setting) -> HumModulation | None:
    """Return how hum modulates the oscillation just above onset; None where the band has no such setting."""
    search = setting.onset
    if search.onset is None or search.tuning_farad is None:
        return None
    found = amplitude.run(build, cards, b, band=setting.band, onset=search, time_runs=False)
    mode = tuned_mode(
        build,
        cards,
        b,
        band=setting.band,
        dial_hz=search.dial_hz,
        tuning=search.tuning_farad,
        rotation=search.onset.rotation,
    )
    ripple = hum_paths.ripple_of(build)
    return hum_modulation.run(
        build,
        cards,
        b,
        mode,
        found=found,
        heater=hum_paths.heater_drive(build),
        winding=(build.pickup.detector_load, 1),
        ripple=ripple.lines,
        ripple_at_receiver=ripple.at_receiver,
    )


def supply_in_depth(build: Build, *, band: str | None = None, bench: Bench | None = None) -> SupplyStudy:
    """Return d.c. conditions and drift, and the supply itself; errors as for audio_in_depth.

    A stage whose simulation fails is named in `failed` and does not stop the rest.
    """
    with opened(bench) as b:
        given, build = build, api.settle(build, b)
        report = api.supply(build, band=band, bench=b)
        cards, setting = api.prepare(build, band, b)
        where: dict[str, Any] = {"band": setting.band, "dial_hz": setting.onset.dial_hz}
        stages = Stages()
        drawn = stages.run("current drawn", lambda: current_drawn(build, cards, b, setting.rotation))
        battery = rectified = start = None
        if drawn is not None and report.operating_points:
            volts = report.operating_points[1].volts["plate supply"]
            battery = _battery(build, volts, drawn)
            if given.supply.kind == "rectifier":
                bleeder = 0.0 if build.supply.bleeder is None else volts / build.supply.bleeder
                rectified, start = _rectifier_stages(stages, given, b, load_a=drawn - bleeder)
        choice = stages.run("dropper", lambda: dropper.run(build, cards, b, **where))
        quiet = stages.run(
            "ripple and noise at the screen",
            lambda: screen_quiet.run(build, cards, b, rotation=setting.rotation, **where),
        )
        drifts = None
        if build.supply.kind not in ("battery", "bench"):  # they know no mains
            drifts = stages.run("drift with the mains", lambda: _drifts(build, cards, b, setting))
    judged = (
        *_judge_source(build, drawn, choice), *_judge(given, rectified, start), *report.verdicts,
    )  # fmt: skip
    return SupplyStudy(
        report=report,
        rectified=rectified,
        start=start,
        battery=battery,
        dropper=choice,
        screen=quiet,
        drifts=drifts or (),
        verdicts=judged,
        cautions=(*verdicts.dangers(judged), *cautions.ALL),
        failed=(*report.failed, *stages.failed),
    )


def _rectifier_stages(
    stages: Stages, given: Build, b: Bench, *, load_a: float
) -> tuple[Rectified | None, StartAndStop | None]:
    rectified = stages.run("rectifier and filter", lambda: rectifier.at(given, b, load_a=load_a))
    if rectified is None:
        return None, None
    return rectified, stages.run("switching on and off", lambda: start_up.run(given, b, rectified=rectified))


def _judge_source(build: Build, drawn: float | None, choice: DropperChoice | None) -> list[Verdict]:
    """Judge the current limit of a bench supply and the dropper's load."""
    found = []
    if choice is not None and "OVERLOADED" in choice.text:
        limit = getattr(build.regulator, "dropper_power", None)
        found.append(Verdict("dropper", "rating", Grade.BAD, choice.fitted_w, limit, "W", choice.text))
    if build.supply.kind == "bench" and build.supply.current_limit is not None and drawn is not None:
        limit_a = build.supply.current_limit
        bad = drawn > limit_a
        text = f"current {'above' if bad else 'within'} the limit it is set to"
        grade = Grade.BAD if bad else Grade.GOOD
        found.append(Verdict("bench supply", "rating", grade, drawn, limit_a, "A", text))
    return found


def _battery(build: Build, loaded_v: float, load: float) -> BatteryLife | None:
    supply = build.supply
    if supply.kind != "battery":
        return None
    hours = supply.capacity / load / 3600.0 if supply.capacity is not None and load > 0.0 else None
    return BatteryLife(load, loaded_v, hours)


def _drifts(build: Build, cards: Cards, b: Bench, setting: Setting) -> tuple[LineDrift, ...]:
    """Return the drift per volt of the mains with the regulator as built and without it."""
    bare = build.model_copy(update={"regulator": None})
    out = []
    for one in (build, bare) if build.regulator is not None else (bare,):
        found = [
            onset.run(one, cards, b, band=setting.band, dial_hz=setting.onset.dial_hz, mains=mains)
            for mains in (line_drift.SPAN[0], 1.0, line_drift.SPAN[1])
        ]
        rotation = found[1].working_rotation
        if rotation is None:
            raise EngineError(f"onset at the nominal mains: {'; '.join(found[1].warnings)}")
        out.append(
            line_drift.run(
                one,
                cards,
                b,
                band=setting.band,
                dial_hz=setting.onset.dial_hz,
                rotation=rotation,
                onsets=(found[0], found[2]),
            )
        )
    return tuple(out)


def _judge(build: Build, rectified: Rectified | None, start: StartAndStop | None) -> list[Verdict]:
    """Judge what a rectifier supply does to its parts, and how long it stays charged."""
    supply = build.supply
    if supply.kind != "rectifier" or rectified is None or start is None:
        return []
    found = []
    if supply.bleeder is not None and (start.discharge_s is None or start.discharge_s > DISCHARGE_LIMIT_S):
        found.append(
            Verdict(
                "supply", "discharge", Grade.BAD, start.discharge_s, DISCHARGE_LIMIT_S, "s",
                f"{start.text}; a lower bleeder is quicker",
            )
        )  # fmt: skip
    lines = [
        (f"filter capacitor {c.section}", "volts with the tubes cold and the mains 10 % high", c.highest_v,
         c.rating_v, "V")
        for c in rectified.capacitors
    ]  # fmt: skip
    lines += [
        ("rectifier", "peak inverse volts", rectified.inverse_v, supply.rectifier.peak_inverse, "V"),
        ("rectifier", "peak current at switching on", start.surge_a, supply.rectifier.peak_current, "A"),
        (
            "rectifier",
            "d.c. that receiver and bleeder take",
            rectified.load_a + rectified.bleeder_a,
            getattr(supply.rectifier, "output_current", None),
            "A",
        ),
    ]
    for part, what, value, limit, unit in lines:
        if limit is None:
            continue
        bad = value > limit
        text = f"{what} {'above' if bad else 'within'} the rating"
        grade = Grade.BAD if bad else Grade.GOOD
        found.append(Verdict(part, "rating", grade, value, limit, unit, text))
    return found
