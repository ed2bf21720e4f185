"""What readings of a working set say of its parts and tubes."""

from __future__ import annotations

from functools import partial

from receiver_sim.api._common import Progress, hazards, prepare, quiet
from receiver_sim.api._faults import read_in
from receiver_sim.api._spread import plan_for
from receiver_sim.builds import opened
from receiver_sim.circuit.factors import PRINT, Factor, value_at
from receiver_sim.design import tap_finder
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.failing_stages import Stages
from receiver_sim.judge.calibration import Found
from receiver_sim.judge.calibration import calibrate as pulled_by
from receiver_sim.judge.fault_predictions import Stand
from receiver_sim.receiver import Receiver
from receiver_sim.results import cautions
from receiver_sim.results.calibration import Calibration, OnsetBefore, Pulled, ReadingBefore
from receiver_sim.schema import Build
from receiver_sim.schema.readings import Readings
from receiver_sim.studies import hum

MISFIT = 2.5
"""Readings that lie farther off than so many deviations after all is pulled point to a fault."""


def calibrate(
    build: Build, readings: Readings, *, bench: Bench | None = None, progress: Progress = quiet
) -> Calibration:
    """Return what readings of a working set say of its parts and tubes, and what onset, tap and hum follow.

    Raises BuildFaults, UnknownName, WrongValue for readings that can't be used, EngineError, NoAnswer.
    """
    if any(one.tube == "out" for one in readings.volts):
        raise WrongValue("calibrate takes readings of the working set, every tube in its socket")
    if not readings.volts and not any(one.at is not None for one in readings.onset):
        raise WrongValue("calibrate needs one reading at least: volts at a pin or an onset")
    with opened(bench) as b:
        plan = plan_for(build, b)
        settled = plan.build
        receiver = Receiver(settled, b, cards=plan.cards)
        setting = prepare(receiver, None, rotation=readings.control)
        stand, seen, _ = read_in(plan, setting, readings)
        progress("calibration", 1, 3)
        found = pulled_by(stand, seen, b)
        progress("calibration", 2, 3)
        stages = Stages()
        target = found.onset_before[0]
        sets = (("as built", receiver), ("as calibrated", receiver.changed(found.build, found.cards)))
        taps = [stages.run(f"tap {when}", partial(_tap, one, target)) for when, one in sets]
        hums = [stages.run(f"hum {when}", partial(_hum, one, stand)) for when, one in sets]
        progress("calibration", 3, 3)
    names = [band.name for band in settled.bands]
    return Calibration(
        title=build.title,
        pulled=_pulled(found, build),
        readings=tuple(
            ReadingBefore(v.where, v.seen, float(a), float(z))
            for v, a, z in zip(seen.volts, found.shown_before, found.shown_after, strict=True)
        ),
        onsets=tuple(
            OnsetBefore(
                name, found.onset_before[i], found.spread_before[i],
                found.onset_after[i], found.spread_after[i], seen.onset.get(name),
            )
            for i, name in enumerate(names)
        ),
        tap_before=taps[0],
        tap_after=taps[1],
        hum_before_v=None if hums[0] is None else hums[0][0],
        hum_after_v=None if hums[1] is None else hums[1][0],
        hum_pot_before=None if hums[0] is None else hums[0][1],
        hum_pot_after=None if hums[1] is None else hums[1][1],
        misfit=found.misfit,
        notes=_notes(found),
        cautions=(*hazards(build, settled), *cautions.ALL),
        failed=stages.failed,
    )  # fmt: skip


def _notes(found: Found) -> tuple[str, ...]:
    if found.misfit <= MISFIT:
        return ()
    return (
        f"The readings lie {found.misfit:.1f} deviations off even so: no spread of sound parts explains "
        "them. Look for a fault first: receiver-sim faults.",
    )


def _tap(receiver: Receiver, target: float | None) -> float | None:
    band = receiver.build.bands[0]
    if band.coil.tickler is not None or target is None:
        return None
    found = tap_finder.run(receiver.at(band), target=target)
    return None if found.exact is None else found.exact.share


def _hum(receiver: Receiver, stand: Stand) -> tuple[float, float] | None:
    if receiver.build.heater.wiring != "hum_pot":
        return None
    ran = hum.run(receiver.at(stand.band, stand.dial_hz), rotation=stand.rotation)
    first = ran.outputs[0]
    return first.best_v, first.best_position


def _pulled(found: Found, build: Build) -> tuple[Pulled, ...]:
    out = []
    for i, factor in enumerate(found.factors):
        key = value_key(build, factor)
        value = value_at(build, key) if key else None
        stated = float(value) if isinstance(value, float) else None
        by, width = float(found.by[i]), float(found.width[i])
        out.append(
            Pulled(
                key=key if stated is not None else "",
                word=_word(build, factor),
                kind=factor.kind,
                unit="V" if factor.volts else "sigma" if factor.kind == PRINT else "1",
                stated=stated,
                found=None if stated is None else stated * (1.0 + by),
                moved=by,
                before=width,
                after=width * float(found.left[i]),
            )
        )
    return tuple(out)


def _word(build: Build, factor: Factor) -> str:
    """Return what the trade calls a factor; what belongs to a band or stands in several places says where."""
    if factor.kind == PRINT:
        return f"{factor.word}, no. {factor.name.partition('#')[2]}"
    return f"{factor.word}, {factor.band}" if factor.band else factor.word


def value_key(build: Build, factor: Factor) -> str:
    """Return the key under which the value of a factor stands in a build as loaded, '' if nowhere.

    The mains are what they are at the hour, and no part: they have none. What was measured of a wound coil
    stands beside its winding.
    """
    if "#" in factor.name or factor.kind not in MEASURABLE:
        return ""
    if factor.kind in ("coil", "coil Q"):
        coil, _, what = factor.key.rpartition(".")
        if value_at(build, f"{coil}.winding") is not None:
            return f"{coil}.measured.{what}"
    return factor.key


MEASURABLE = frozenset(
    (
        "resistor", "pot", "winding", "supply", "capacitor", "small capacitor", "electrolytic", "choke",
        "iron-cored choke", "coil", "coil Q", "zener", "gas tube", "battery", "bench supply",
    )
)  # fmt: skip
"""Classes of what is measured and stated as one value of a build."""


def measured_values(found: Calibration) -> tuple[Pulled, ...]:
    """Return the values of the build that readings say something of."""
    return tuple(one for one in found.pulled if one.found is not None and one.pinned)


__all__ = ["MEASURABLE", "calibrate", "measured_values"]
