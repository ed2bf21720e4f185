"""Does the oscillation hold still, or does it howl at the threshold or squegg? (envelope view)"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from receiver_sim.circuit.mode import Mode
from receiver_sim.circuit.views.envelope import LOWEST_V
from receiver_sim.errors import NoAnswer
from receiver_sim.measure.linear_envelope import Carrier, linearised
from receiver_sim.measure.over_time import relaxation, watch, watch_at_rest
from receiver_sim.physics.natural_modes import NaturalModes
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FloatArray
from receiver_sim.results.envelope import (
    PITCH_HZ,
    AmplitudeMap,
    EnvelopeModes,
    Oscillation,
    Stability,
    Steadiness,
)
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build
from receiver_sim.schema.audio_stages import Decoupling
from receiver_sim.schema.build import ChokeLoad, TransformerLoad

POINTS = 12
"""Settings looked at, from just above onset to the top of the control."""

SLOW_HZ = 20e3
"""Modes above are those of the tank itself and of RF filters, which decay at once."""

_MOST, _LEAST = 0.7, 0.1
"""Parts of a mode: stores are named until so much of it is told, those with so little are not."""

_GROWTH, _LONGEST_S = 20.0, 1.0
"""Growth (as ln) that a time run waits for, and its end at the latest."""

_PERIODS = 60.0
"""Periods of a growing mode that a first look takes in: what it ends as may be ten times as slow."""

_ENOUGH_PERIODS = 100.0
"""Periods of a motion that are enough, though the mean about which it moves still drifts."""

_ENOUGH_LOOKS, _SAME_PITCH = 3, 1.05
"""Looks, each twice as long, that see the same pitch within this factor, though the mean drifts: longer ones
would show how the supply drifts, and take ngspice half a minute where a burst takes it hundreds of steps."""

_SOON_S = 0.02
"""The longest first look at a mode without pitch; one that grows fast gets as many periods of its rate."""

_RISES = 1e-4
"""Travel of the control for an e-fold of amplitude below which a map does not rise: at its smallest
amplitudes its slope is rounding."""

_NEAREST = 5e-4
"""Rotation from the beginning of a map within which no setting is looked at, whatever the onset."""

_HALVINGS = 9
"""Halvings of the distance between two settings by which the limits of a howl are found: to a 500th of it."""

_ALIKE = 0.2
"""Difference in ln(pitch) up to which modes of neighbouring settings count as one."""

_THRESHOLD = 1.1
"""Settings up to this times the onset's rotation count as its threshold: a hand's breadth of the dial."""


def carried_by(shares: FloatArray, names: Sequence[str]) -> tuple[str, ...]:
    """Return in words the stores that carry a mode, the largest share first, until most of it is named."""
    parts: dict[str, float] = {}
    for share, words in zip(shares, names, strict=True):
        parts[words] = parts.get(words, 0.0) + float(share)
    out: list[str] = []
    told = 0.0
    for words in sorted(parts, key=lambda w: -parts[w]):
        if out and (told > _MOST or parts[words] < _LEAST):
            break
        out.append(words)
        told += parts[words]
    return tuple(out)


def bias_leads(shares: FloatArray, carriers: Sequence[Carrier]) -> bool:
    """Whether tank or grid capacitor holds more of a mode's energy than any other part, as in squegging.

    A mode that comes back to the grid by a stray from the audio stage swings the grid capacitor, too: it is
    a howl.
    """
    parts: dict[Carrier, float] = {}
    for share, carrier in zip(shares, carriers, strict=True):
        parts[carrier] = parts.get(carrier, 0.0) + float(share)
    if any(share > _LEAST for carrier, share in parts.items() if carrier.way_back):
        return False
    return max(parts, key=lambda one: parts[one]).biases


def settings(amplitudes: AmplitudeMap, *, points: int = POINTS) -> list[int]:
    """Return the indices of the map to look at: on its rising parts, where the amplitude stays if it is let
    alone."""
    rising = np.gradient(amplitudes.rotation, np.log(amplitudes.amplitude_v)) > _RISES
    # nearer than this to where it begins or breaks off the mode is the slow growth itself
    least = float(amplitudes.rotation.min())
    candidates = np.flatnonzero(rising & (amplitudes.rotation > least + max(0.002 * least, _NEAREST)))
    if candidates.size <= points:
        return [int(i) for i in candidates]
    return [int(candidates[round(k)]) for k in np.linspace(0, candidates.size - 1, points)]


def run(
    receiver: Receiver,
    mode: Mode,
    *,
    band: Band,
    found: Oscillation,
    what: str = "as built",
    points: int = POINTS,
    seconds: float = 0.3,
) -> Stability:
    """Look for growing modes at rest and over the control, and watch one of them (else the least damped) in
    a time run of `seconds` (0: not), longer if it grows slowly.

    Raises EngineError when a simulation fails, ValueError without an amplitude map.
    """
    amplitudes = found.amplitudes
    if amplitudes is None:
        raise NoAnswer("without oscillation there is nothing to be unstable")
    chosen = settings(amplitudes, points=points)

    howls: list[tuple[float, float, float]] = []

    def look_at(index: int, amplitude: float) -> Seen:
        rotation = float(amplitudes.rotation[index])
        at = linearised(
            receiver, mode, amplitude=max(amplitude, LOWEST_V), rotation=rotation, oscillates=amplitude > 0.0
        )
        setting = amplitudes.setting(rotation, float(amplitudes.rest[index]))
        seen = _row(at.modes(), at.carriers, setting=setting, amplitude=amplitude)
        howl = None if seen.modes.growing else at.howls_at()
        if howl is not None:
            howls.append((*howl, rotation))
        return seen

    def look_between(place: float) -> NaturalModes:
        rotation, amplitude = _between(amplitudes, place)
        return linearised(receiver, mode, amplitude=amplitude, rotation=rotation).modes()

    seen_there = [look_at(0, 0.0), *(look_at(i, float(amplitudes.amplitude_v[i])) for i in chosen)]
    rows = [one.modes for one in seen_there]
    if seconds > 0.0:
        row = _to_watch(rows)
        frame = float(amplitudes.frame_hz[chosen[row - 1] if row else 0])
        rows[row] = _watched(
            rows[row], receiver, mode, at_rest=row == 0, frequency=frame, lengths=_lengths(rows[row], seconds)
        )
    kind = kind_of(seen_there)
    unstable = kind is not Steadiness.HOLDS_STILL
    begins, ends = _limits(rows, [0, *chosen], amplitudes, lambda place: _grows(look_between, place))
    stray, pitch, where = (None, None, None) if unstable or not howls else min(howls)
    if stray is not None:
        stray += receiver.build.detector.strays.audio_plate
    return Stability(
        band=band.name,
        dial_hz=found.dial_hz,
        what=what,
        points=tuple(rows),
        unstable=unstable,
        kind=kind,
        stray_margin_farad=stray,
        stray_howl_hz=pitch,
        stray_rotation=where,
        begins_rotation=begins,
        ends_rotation=ends,
    )


class Seen(NamedTuple):
    """The modes of a setting; biased: whether tank or grid capacitor leads in the fastest of them."""

    modes: EnvelopeModes
    biased: bool


def _lengths(row: EnvelopeModes, seconds: float) -> tuple[float, ...]:
    """Return how long (s) to watch a setting: what its growth takes with some periods of its mode, then twice
    as long each, as long as it has not settled, at last `seconds` or what its growth alone takes.

    A motion of full strength, each of whose periods takes ngspice hundreds of steps, is then soon seen.
    """
    if not row.growing:
        return (seconds,)
    # a kick leaves it at some thousandths of what it ends as
    growth, hertz = _GROWTH / float(row.rate[0]), float(row.frequency_hz[0])
    longest = min(max(seconds, growth), _LONGEST_S)
    # what grows within microseconds takes ngspice a minute for 20 ms
    pitch = hertz or max(float(row.rate[0]) / (2.0 * math.pi), _PERIODS / _SOON_S)
    soon = growth + _PERIODS / pitch
    doublings = max(math.floor(math.log2(longest / soon)), 0)
    return (*(soon * 2.0**k for k in range(doublings)), longest)


def _grows(look: Callable[[float], NaturalModes], place: float) -> bool:
    return bool(look(place).grows.any())


def _between(amplitudes: AmplitudeMap, place: float) -> tuple[float, float]:
    """Return rotation (0..1) and amplitude (V) at a place of a map, counted in its points."""
    points = np.arange(amplitudes.rotation.size)
    rotation = float(np.interp(place, points, amplitudes.rotation))
    return rotation, float(np.exp(np.interp(place, points, np.log(amplitudes.amplitude_v))))


def _watched(
    row: EnvelopeModes,
    receiver: Receiver,
    mode: Mode,
    *,
    at_rest: bool,
    frequency: float,
    lengths: Sequence[float],
) -> EnvelopeModes:
    """Return a row with its motion over time, seen in the first of some lengths (s) in which it has settled,
    else in the last.

    Where nothing grows the start from rest is looked at first, in short runs: squegging at tens of kilohertz
    takes ngspice a minute for 20 ms.
    """
    setting = {"rotation": row.setting.rotation, "frequency": frequency}
    if not row.growing and not at_rest:
        seen = relaxation(receiver, mode, **setting, amplitude=row.amplitude_v)
        if seen is not None:
            return replace(row, motion_hz=seen.hertz, motion_v=seen.swing, motion_mean_v=seen.mean)
    look = watch_at_rest if at_rest else watch
    hertz, swing, mean = None, None, None
    pitches: list[float | None] = []
    for length in lengths:
        hertz, swing, mean = look(receiver, mode, **setting, seconds=length)
        pitches.append(hertz)
        if hertz is not None and (at_rest or mean is not None or hertz * length > _ENOUGH_PERIODS):
            break
        if _same_pitch(pitches[-_ENOUGH_LOOKS:]):
            break
    return replace(row, motion_hz=hertz, motion_v=swing, motion_mean_v=mean)


def _same_pitch(looks: Sequence[float | None]) -> bool:
    """Whether looks enough, each twice as long as the one before, have shown the same pitch."""
    seen = [one for one in looks if one is not None]
    return len(seen) == _ENOUGH_LOOKS and max(seen) < _SAME_PITCH * min(seen)


def _limits(
    rows: Sequence[EnvelopeModes],
    places: Sequence[int],
    amplitudes: AmplitudeMap,
    grows: Callable[[float], bool],
) -> tuple[float | None, float | None]:
    """Return the rotations (0..1) between which something grows while it oscillates, by halving the distance
    to the nearest setting that holds still; the setting itself where there is none. None, None if nothing
    grows.

    places: of the rows, on the map.
    """
    growing = [i for i, row in enumerate(rows) if row.growing and i]
    if not growing:
        return None, None

    def edge(unsteady: int, still: int) -> float:
        if not 0 <= still < len(rows) or (still == 0 and rows[0].growing):
            return rows[unsteady].setting.rotation
        inside, outside = float(places[unsteady]), float(places[still])
        for _ in range(_HALVINGS):
            middle = 0.5 * (inside + outside)
            inside, outside = (middle, outside) if grows(middle) else (inside, middle)
        return _between(amplitudes, 0.5 * (inside + outside))[0]

    return edge(growing[0], growing[0] - 1), edge(growing[-1], growing[-1] + 1)


def became(first: Stability, cured: Stability) -> Stability:
    """Return a circuit that holds still with the mode in it that grew before it was cured.

    Of the modes with a pitch that the same part carries most of, or of all if there is none, the one nearest
    in pitch; of several settings the one at which it rings longest.
    """
    if not first.unstable or cured.unstable or first.telling is None:
        return cured
    at, grew = first.telling
    pitch, part = float(first.points[at].frequency_hz[grew]), first.points[at].carried_by[grew][0]
    every = [
        (point, mode, float(one.rate[mode]), float(one.frequency_hz[mode]), one.carried_by[mode][0])
        for point, one in enumerate(cured.points)
        for mode in range(len(one.rate))
        if one.amplitude_v > 0.0 and one.frequency_hz[mode] > PITCH_HZ
    ]
    alike = [one for one in every if one[4] == part] or every
    if not alike or pitch <= PITCH_HZ:
        return cured
    near = min(abs(math.log(one[3] / pitch)) for one in alike)
    closest = [one for one in alike if abs(math.log(one[3] / pitch)) < near + _ALIKE]
    best = max(closest, key=lambda one: one[2])
    return replace(cured, became=best[:2])


def _row(
    found: NaturalModes, carriers: Sequence[Carrier], *, setting: ControlSetting, amplitude: float
) -> Seen:
    """Return the modes of a setting as a row of the result: the slow ones and all that grow."""
    s = found.s
    grows = found.grows
    told = (s.imag >= 0.0) & (grows | (np.abs(s) < 2.0 * np.pi * SLOW_HZ))
    names = [carrier.word for carrier in carriers]
    row = EnvelopeModes(
        setting=setting,
        amplitude_v=amplitude,
        rate=s[told].real,
        frequency_hz=s[told].imag / (2.0 * math.pi),
        carried_by=tuple(carried_by(share, names) for share in found.share[told]),
        growing=int(np.count_nonzero(grows)),
        motion_hz=None,
        motion_v=None,
    )
    return Seen(row, any(bias_leads(share, carriers) for share in found.share[told][:1]))


def _to_watch(rows: Sequence[EnvelopeModes]) -> int:
    """Return the row to watch: amid the growing ones where it oscillates, at rest if only that grows, else
    the least damped."""
    growing = [i for i, row in enumerate(rows) if row.growing and i]
    if growing:
        # in the middle of what is unstable it moves fast; at its edge it would take long to be seen
        return growing[len(growing) // 2]
    if rows[0].growing or len(rows) == 1:
        return 0
    return 1 + int(np.argmax([row.rate.max(initial=-math.inf) for row in rows[1:]]))


def kind_of(seen: Sequence[Seen]) -> Steadiness:
    """Return what the growing modes are; the first is the circuit at rest, the others rise in amplitude.

    A mode that the tank and the grid capacitor carry is squegging, any other a howl, and one at the
    threshold if it ends further up.
    """
    rest = seen[0].modes
    if rest.growing:
        return Steadiness.MOTORBOATING
    growing = [one for one in seen if one.modes.growing]
    if not growing:
        return Steadiness.HOLDS_STILL
    if max(growing, key=lambda one: float(one.modes.rate[0])).biased:
        return Steadiness.SQUEGGING
    near = _THRESHOLD * rest.setting.rotation
    lowest = min(one.modes.setting.rotation for one in growing)
    at_threshold = lowest <= near and not seen[-1].modes.growing
    return Steadiness.THRESHOLD_HOWL if at_threshold else Steadiness.HOWL


def remedies(build: Build, kind: Steadiness) -> list[tuple[str, Build]]:
    """Return what a constructor would try against a howl or squegging: (what it is, changed build), what
    suits it first and the milder before the stronger."""
    groups = [_against_howl(build), _against_squegging(build)]
    if kind is Steadiness.SQUEGGING:
        groups.reverse()
    return [remedy for group in groups for remedy in group]


def _against_howl(build: Build) -> list[tuple[str, Build]]:
    load, out = build.detector.load, []
    if isinstance(load, ChokeLoad | TransformerLoad):
        for ohm in (220e3, 100e3):
            if load.shunt is None or load.shunt > ohm:
                detector = build.detector.model_copy(update={"load": load.model_copy(update={"shunt": ohm})})
                changed = build.model_copy(update={"detector": detector})
                out.append((f"load shunt of {ohm / 1e3:.0f} kohm", changed))
    if build.audio is not None and build.audio.decoupling is None:
        audio = build.audio.model_copy(
            update={"decoupling": Decoupling.model_construct(resistor=4.7e3, capacitor=16e-6)}
        )
        changed = build.model_copy(update={"audio": audio})
        out.append(("audio fed by 4.7 kohm, 16 uF", changed))
    return out


def _against_squegging(build: Build) -> list[tuple[str, Build]]:
    detector = build.detector
    updates: list[tuple[str, dict[str, Any]]] = []
    for part in (0.3, 0.1):
        leak = detector.grid_leak * part
        updates.append((f"grid leak of {leak / 1e6:.2g} Mohm", {"grid_leak": leak}))
    leak, capacitor = detector.grid_leak * 0.1, max(detector.grid_capacitor * 0.1, 50e-12)
    both: dict[str, Any] = {"grid_leak": leak, "grid_capacitor": capacitor}
    updates.append((f"leak {leak / 1e6:.2g} Mohm, {capacitor * 1e12:.0f} pF", both))
    return [
        (what, build.model_copy(update={"detector": detector.model_copy(update=update)}))
        for what, update in updates
    ]
