"""Supply: d.c. conditions, ripple, start and discharge, ratings, drift with the mains."""

from __future__ import annotations

from receiver_sim.api._common import prepare
from receiver_sim.builds import opened
from receiver_sim.design import dropper
from receiver_sim.engine import Bench, EngineError
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import heater_verdicts, supply_verdicts, verdicts
from receiver_sim.measure import onset, rectifier
from receiver_sim.receiver import Receiver, Tuned, current_drawn
from receiver_sim.results import cautions
from receiver_sim.results.check import SupplyReport
from receiver_sim.results.supply import (
    BatteryLife,
    LineDrift,
    Rectified,
    StartAndStop,
    SupplyStudy,
)
from receiver_sim.schema import Build
from receiver_sim.studies import line_drift, screen_quiet, start_up
from receiver_sim.working import Setting, dc_stages


def supply(build: Build, *, band: str | None = None, bench: Bench | None = None) -> SupplyReport:
    """Return d.c. conditions, ratings and the drift with the mains; errors as for `audio`.

    A stage whose simulation fails is named in `failed` and does not stop the rest.
    """
    with opened(bench) as open_bench:
        receiver = Receiver(build, open_bench)
        return _report(receiver, prepare(receiver, band))


def _report(receiver: Receiver, setting: Setting) -> SupplyReport:
    stages = Stages()
    points, drift = dc_stages(stages, receiver, setting)
    judged = (
        *verdicts.judge_safety(receiver.build),
        *heater_verdicts.judge_heaters(receiver.build, receiver.cards),
        *verdicts.judge_bias(points),
        *([] if drift is None else verdicts.judge_regulator(drift, setting.onset, receiver.build.verdicts)),
    )
    return SupplyReport(
        points,
        drift,
        judged,
        (*verdicts.dangers(judged), *cautions.ALL),
        stages.failed,
        notes=() if setting.note is None else (setting.note,),
    )


def supply_in_depth(build: Build, *, band: str | None = None, bench: Bench | None = None) -> SupplyStudy:
    """Return d.c. conditions and drift, and the supply itself; errors as for audio_in_depth.

    A stage whose simulation fails is named in `failed` and does not stop the rest.
    """
    with opened(bench) as b:
        receiver = Receiver(build, b)
        given, build = build, receiver.build
        setting = prepare(receiver, band)
        report = _report(receiver, setting)
        tuned = setting.on(receiver)
        stages = Stages()
        drawn = stages.run("current drawn", lambda: current_drawn(receiver, setting.rotation))
        battery = rectified = start = None
        if drawn is not None and report.operating_points:
            volts = report.operating_points[1].volts["plate supply"]
            battery = stages.run("onset on spent batteries", lambda: _battery(tuned, volts, drawn))
            if given.supply.kind == "rectifier":
                bleeder = 0.0 if build.supply.bleeder is None else volts / build.supply.bleeder
                rectified, start = _rectifier_stages(stages, given, b, load_a=drawn - bleeder)
        choice = stages.run("dropper", lambda: dropper.run(tuned))
        quiet = stages.run(
            "ripple and noise at the screen",
            lambda: screen_quiet.run(tuned, rotation=setting.rotation),
        )
        drifts = None
        if build.supply.kind not in ("battery", "bench"):  # they know no mains
            drifts = stages.run("drift with the mains", lambda: _drifts(receiver, setting))
    judged = (
        *supply_verdicts.judge_source(build, drawn, choice),
        *supply_verdicts.judge_rectifier(given, rectified, start),
        *report.verdicts,
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


def _battery(tuned: Tuned, loaded_v: float, load: float) -> BatteryLife | None:
    supply = tuned.build.supply
    if supply.kind != "battery":
        return None
    hours = supply.capacity / load / 3600.0 if supply.capacity is not None and load > 0.0 else None
    end = supply.end_volts
    spent = None if end is None else onset.run(tuned, mains=end / supply.volts)
    return BatteryLife(load, loaded_v, hours, end, spent)


def _drifts(receiver: Receiver, setting: Setting) -> tuple[LineDrift, ...]:
    """Return the drift per volt of the mains with the regulator as built and without it."""
    bare = receiver.changed(receiver.build.model_copy(update={"regulator": None}))
    out = []
    for one in (receiver, bare) if receiver.build.regulator is not None else (bare,):
        tuned = one.at(setting.band, setting.onset.dial_hz)
        found = [onset.run(tuned, mains=mains) for mains in (line_drift.SPAN[0], 1.0, line_drift.SPAN[1])]
        rotation = found[1].working_rotation
        if rotation is None:
            raise EngineError(f"onset at the nominal mains: {'; '.join(found[1].warnings)}")
        out.append(
            line_drift.run(
                tuned,
                rotation=rotation,
                onsets=(found[0], found[2]),
            )
        )
    return tuple(out)
