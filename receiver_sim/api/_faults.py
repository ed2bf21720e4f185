"""Which fault explains readings taken on the bench."""

from __future__ import annotations

import re

import numpy as np

from receiver_sim.api._common import Progress, hazards, prepare, quiet
from receiver_sim.api._spread import effects, plan_for
from receiver_sim.builds import band_named, opened
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.element import GROUND
from receiver_sim.circuit.pins import NumberedPin
from receiver_sim.circuit.possible_faults import possible_faults
from receiver_sim.circuit.sets import SetPlan
from receiver_sim.engine import Bench
from receiver_sim.errors import UnknownName
from receiver_sim.judge import fault_finder
from receiver_sim.judge.fault_finder import Scatter
from receiver_sim.judge.fault_onset import SOUND
from receiver_sim.judge.fault_predictions import Prediction, Stand, Volt, predict
from receiver_sim.judge.reading_spread import middles
from receiver_sim.physics.meters import meter_named
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.base import FailedStage
from receiver_sim.results.faults import FaultReport, ReadingAgainst
from receiver_sim.schema import Build
from receiver_sim.schema.readings import Readings
from receiver_sim.studies.pin_chart import points_of
from receiver_sim.working import Setting


def faults(
    build: Build, readings: Readings, *, bench: Bench | None = None, progress: Progress = quiet
) -> FaultReport:
    """Return the faults that explain readings of a set built as `build` says, the likeliest first.

    Raises BuildFaults, UnknownName for a pin or band there is not, EngineError.
    """
    with opened(bench) as b:
        plan = plan_for(build, b)
        setting = prepare(Receiver(plan.build, b, cards=plan.cards), None, rotation=readings.control)
        stand, seen, points = read_in(plan, setting, readings)
        progress("faults", 1, 3)
        scatter = scatter_of(stand, b)
        progress("faults", 2, 3)
        tried = possible_faults(stand.sound)
        found, missing = predict(stand, tried, seen.volts, b, heard=seen.heard is not None)
        progress("faults", 3, 3)
    ranked = fault_finder.rank(tried, found, seen, points, scatter)
    failed = tuple(FailedStage(name, "it could not be simulated", None) for name in missing)
    leader = None if ranked.leader is None else found[ranked.leader]
    return FaultReport(
        title=build.title,
        healthy=ranked.healthy,
        healthy_probability=ranked.sound,
        healthy_deviation=ranked.sound_deviation,
        hazards=ranked.hazards,
        suspects=ranked.suspects[:8],
        next_reading=ranked.next_reading,
        readings=_against(seen, found[SOUND], leader),
        tried=len(tried),
        not_shown=ranked.like_sound,
        cautions=(*hazards(build, plan.build), *cautions.ALL),
        failed=failed,
    )


def scatter_of(stand: Stand, bench: Bench) -> Scatter:
    """Return how sets of the build differ, and their loop gain on bands that were tried. Raises EngineError.

    By how much a factor moves the gain is by how much it moves the onset, times the slope there. One that
    leaves no onset to either side counts as one that takes all of the gain that is to spare.
    """
    plan = stand.plan
    if not stand.bands:
        return Scatter(middles(plan.factors), {})
    control, names = stand.sound.control, [band.name for band in plan.bands]
    moves = effects(bench, plan, quick=True, bands=[names.index(band.name) for band in stand.bands])
    columns = {}
    for band in stand.bands:
        index = names.index(band.name)
        start = plan.starts[index]
        if start.share is None:
            columns[band.name] = np.zeros(len(plan.factors))
            continue
        place = control.rotation(start.share)
        low, high = max(place - 0.01, 0.0), min(place + 0.01, 1.0)
        slope = start.slope * (control.share(high) - control.share(low)) / (high - low)
        most = slope * (1.0 - place)
        found = [most if row[index] is None else -slope * (row[index] or 0.0) for row in moves]
        columns[band.name] = np.array(found, dtype=np.float64)
    return Scatter(middles(plan.factors), columns)


def read_in(
    plan: SetPlan, setting: Setting, readings: Readings
) -> tuple[Stand, fault_finder.Seen, dict[str, str]]:
    """Return where the set stood, what was seen of it, and words for the nodes of its pins and points.

    Raises UnknownName.
    """
    build = plan.build
    bands = tuple(band_named(build, one.band) for one in readings.onset)
    stand = Stand(plan, setting.band, setting.onset.dial_hz, setting.rotation, bands)
    circuit = stand.sound
    points = points_of(circuit, build, plan.cards)
    names = _names(circuit, points)
    volts = []
    for one in readings.volts:
        point = names.get(_plain(one.pin))
        if point is None or point.node is None:
            some = ", ".join(
                f"'{name}'"
                for name in list(dict.fromkeys(said for _, said in spoken_points(circuit, points)))[:40]
            )
            raise UnknownName(f"no pin or test point '{one.pin}' in this set; there are: {some}")
        meter = meter_named(one.meter or readings.meter)
        scale = one.range or next((r for r in meter.ranges if abs(one.volts) < 0.95 * r), meter.ranges[-1])
        pulled = point.socket if one.tube == "out" else ""
        volts.append(Volt(one.pin, point.node, meter.name, meter.resistance(scale), scale, one.volts, pulled))
    onset = {band_named(build, one.band).name: one.at for one in readings.onset}
    seen = fault_finder.Seen(tuple(volts), readings.error, onset, readings.heard)
    words = {p.node: f"{p.socket} {p.words}".strip() for p in points if p.node not in (None, GROUND)}
    return stand, seen, {node: name for node, name in words.items() if node is not None}


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]+", " ", name).strip().casefold()


def _tubes(circuit: Circuit) -> dict[str, str]:
    names = {name: part.designator for part in parts_of(circuit) for name in part.elements}
    return {name: names[socket.tube] for name, socket in circuit.sockets.items()}


def spoken_points(circuit: Circuit, points: list[NumberedPin]) -> list[tuple[NumberedPin, str]]:
    """Return points with what a file of readings calls them: 'V1 plate', 'plate supply'."""
    tubes = _tubes(circuit)
    return [(p, f"{tubes[p.socket]} {p.words}" if p.socket else p.words) for p in points]


def _names(circuit: Circuit, points: list[NumberedPin]) -> dict[str, NumberedPin]:
    """Return the points by every name they may be called: 'V1 plate', 'V1 pin 8', 'detector plate'."""
    tubes, out = _tubes(circuit), {}
    for point in points:
        if not point.socket:
            out[_plain(point.words)] = point
            continue
        for of in (tubes[point.socket], point.socket):
            out.setdefault(_plain(f"{of} {point.words}"), point)
            out.setdefault(_plain(f"{of} pin {point.number}"), point)
    return out


def _against(
    seen: fault_finder.Seen, sound: Prediction, leader: Prediction | None
) -> tuple[ReadingAgainst, ...]:
    out = [
        ReadingAgainst(
            where=v.where + (", tube out" if v.pulled else "") + f" ({v.meter}, {v.full_scale:g} V)",
            unit="V",
            seen=v.seen,
            should=float(sound.volts[i]),
            suspect=None if leader is None else float(leader.volts[i]),
        )
        for i, v in enumerate(seen.volts)
    ]
    for band, at in seen.onset.items():
        there = None if leader is None else leader.onset.get(band)
        out.append(ReadingAgainst(f"onset on {band}", "of the knob", at, sound.onset.get(band), there))
    return tuple(out)


__all__ = ["faults", "read_in", "scatter_of", "spoken_points"]
