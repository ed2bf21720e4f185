"""Which fault explains the readings? Every single fault against them, ranked; those no reading separates
are named together.

A reading's error, the spread of parts and tubes and how often parts fail decide together (Bayes). The spread
is linear about each fault; a model is never exact, so a few per cent of doubt stay in any case.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.possible_faults import PossibleFault
from receiver_sim.judge.fault_onset import SOUND, Key
from receiver_sim.judge.fault_predictions import Prediction, Volt
from receiver_sim.judge.onset_likelihood import Needed, log_between, needed
from receiver_sim.physics.diagnosis import (
    covariance,
    log_likelihood,
    log_sum,
    probabilities,
    separation,
)
from receiver_sim.results.faults import Hazard, NextReading, Suspect

FloatArray = npt.NDArray[np.float64]

SOUND_SHARE = 0.5
"""Share of sets brought to the bench that are sound as far as their parts go (common practice, no source)."""

MODEL_ERROR, LEAST_V = 0.03, 0.03
"""What no linear spread gets closer than: a share of the volts, and volts."""

ONSET_ERROR = 0.03
"""The same of the onset, as a share of the knob's travel, with the error of reading the knob."""

GAIN_ERROR = 0.08
"""The same of the logarithm of the loop gain: what spread about a fault is not that about a sound set."""

ODD = 0.02
"""Probability of a word against the prediction all the same."""

LOUDNESS_DB = 3.0
"""The same of gain and ripple at the phones."""

ALIKE = 1.5
"""Predictions closer than so many deviations are not distinguished."""

WORTH = 0.004
"""Least probability at which a fault counts among those that the next reading is to separate."""

MOVES, RULED_OUT = 3.0, 6.0
"""A reading is a hazard's own if the hazard moves it by so many deviations; it rules the hazard out if a
sound set explains it so much better (logarithm of the ratio of likelihoods; 6 is 400 to 1)."""

LEADERS = 5
"""So many of the likeliest the next reading is to separate."""

APART, MOST_APART, LEAST_APART = 0.05, 4.0, 1.0
"""Readings of two suspects lie apart by their difference over this share of the larger; a pair counts at
most, and all pairs must at least come to so much.
"""

FULL_SCALE_ERROR = 0.003
"""Of a reading, as a share of the range it was taken on."""

WORDS = ("nothing", "weak", "normal", "loud hum")
NOTHING_DB, WEAK_DB, HUM_DB = -30.0, -9.0, 14.0


@dataclass(frozen=True)
class Seen:
    """What was seen: volts with their error (share), onset by band (None: nowhere on the knob), a word."""

    volts: tuple[Volt, ...]
    error: float
    onset: Mapping[str, float | None]
    heard: str | None


@dataclass(frozen=True)
class Scatter:
    """How sets differ. middles: of the factors, in their deviations, from the values as stated; gain: by
    band, by how much the logarithm of the loop gain moves for one deviation of each factor.
    """

    middles: FloatArray
    gain: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Ranked:
    """What the search found. sound: probability of a sound set or of a fault on its line; like_sound: those
    faults, which these readings don't show; sound_deviation: of the readings from a sound set, r.m.s."""

    healthy: bool
    sound: float
    like_sound: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    hazards: tuple[Hazard, ...]
    next_reading: NextReading | None
    leader: Key | None
    sound_deviation: float = 0.0


def heard_as(one: Prediction, sound: Prediction) -> str | None:
    """Return the word for what a fault leaves to hear, against a sound set."""
    if one.gain_db is None or one.hum_db is None or sound.gain_db is None or sound.hum_db is None:
        return None
    if one.hum_db - sound.hum_db > HUM_DB:
        return "loud hum"
    lost = one.gain_db - sound.gain_db
    return "nothing" if lost < NOTHING_DB else "weak" if lost < WEAK_DB else "normal"


def heard_shares(one: Prediction, sound: Prediction) -> dict[str, float] | None:
    """Return the probability of each word, as gain and ripple spread from set to set."""
    if one.gain_db is None or one.hum_db is None or sound.gain_db is None or sound.hum_db is None:
        return None
    hum = _below((one.hum_db - sound.hum_db - HUM_DB) / LOUDNESS_DB)
    lost = one.gain_db - sound.gain_db
    nothing, weak = (_below((limit - lost) / LOUDNESS_DB) for limit in (NOTHING_DB, WEAK_DB))
    shares = {"nothing": nothing, "weak": weak - nothing, "normal": 1.0 - weak}
    plain = {"loud hum": hum, **{word: (1.0 - hum) * share for word, share in shares.items()}}
    return {word: ODD + (1.0 - 4.0 * ODD) * share for word, share in plain.items()}


def _below(deviations: float) -> float:
    """Return the normal distribution function."""
    return 0.5 * math.erfc(-deviations / math.sqrt(2.0))


@dataclass(frozen=True)
class _Fit:
    """What was seen beside a prediction: readings in volts, then what each band's onset needs of its gain.

    off: from the prediction (V, or logarithm of gain; 0 for a band that is not placed); covariance: of these.
    """

    off: FloatArray
    covariance: FloatArray
    needs: tuple[Needed, ...]
    count: int

    def rows(self, *, placed: bool) -> list[int]:
        """Return the rows of what was read as a figure, or of the rest."""
        ends = [self.count + k for k, need in enumerate(self.needs) if need.placed is placed]
        return [*range(self.count), *ends] if placed else ends


def _beside(seen: Seen, one: Prediction, scatter: Scatter) -> _Fit:
    """Return what was seen beside a prediction."""
    bands = [band for band in seen.onset if band in one.curves]
    needs = tuple(needed(one.curves[band], seen.onset[band]) for band in bands)
    spread = np.concatenate([one.spread, *(scatter.gain[band][None, :] for band in bands)], axis=0)
    gain_noise = [math.hypot(GAIN_ERROR, ONSET_ERROR * need.slope) for need in needs]
    noise = np.concatenate([noise_of(seen, one), np.array(gain_noise, dtype=np.float64)])
    read = np.array([v.seen for v in seen.volts], dtype=np.float64)
    at = np.array([need.low if need.placed else 0.0 for need in needs], dtype=np.float64)
    off = np.concatenate([read - one.volts, at]) - spread @ scatter.middles
    return _Fit(off, covariance(noise, spread), needs, len(seen.volts))


def noise_of(seen: Seen, one: Prediction) -> FloatArray:
    """Return the standard deviation of each reading under a prediction (V), excluding the spread of parts."""
    volts = np.abs(one.volts)
    scale = np.array([v.full_scale for v in seen.volts], dtype=np.float64)
    return np.asarray(
        np.hypot(math.hypot(seen.error, MODEL_ERROR) * volts, LEAST_V + FULL_SCALE_ERROR * scale)
    )


def fit(seen: Seen, one: Prediction, sound: Prediction, scatter: Scatter) -> tuple[float, float]:
    """Return the log likelihood of what was seen under a prediction, and the r.m.s. deviation."""
    beside = _beside(seen, one, scatter)
    log, deviation = 0.0, 0.0
    rows, rest = beside.rows(placed=True), beside.rows(placed=False)
    if rows:
        matrix, off = beside.covariance[np.ix_(rows, rows)], beside.off[rows]
        log = log_likelihood(off, of=matrix) - 0.5 * len(rows) * math.log(2.0 * math.pi)
        log += sum(math.log(need.slope) for need in beside.needs if need.placed)
        deviation = separation(off, np.zeros_like(off), of=matrix) / math.sqrt(len(rows))
    if rest:
        log += _bands_beyond(beside, rows, rest)
    shares = None if seen.heard is None else heard_shares(one, sound)
    if shares is not None and seen.heard is not None:
        log += math.log(shares[seen.heard])
    return log, deviation


def _bands_beyond(beside: _Fit, rows: Sequence[int], rest: Sequence[int]) -> float:
    """Return the log probability that bands have no onset, or can't be turned out of it, given the rest."""
    whole = beside.covariance
    middle, left = -beside.off[rest], whole[np.ix_(rest, rest)]
    if rows:
        pull = np.linalg.solve(whole[np.ix_(rows, rows)], whole[np.ix_(rows, rest)]).T
        middle = middle + pull @ beside.off[rows]
        left = left - pull @ whole[np.ix_(rows, rest)]
    needs = [beside.needs[row - beside.count] for row in rest]
    return log_between([(n.low, n.high) for n in needs], middle=middle, covariance=left)


def alike(one: Prediction, other: Prediction, seen: Seen, sound: Prediction, scatter: Scatter) -> bool:
    """Return whether these readings could not distinguish two predictions."""
    if seen.heard is not None and heard_as(one, sound) != heard_as(other, sound):
        return False
    if set(one.curves) != set(other.curves):
        return False
    first, second = (_beside(seen, p, scatter) for p in (one, other))
    if not first.off.size:
        return True
    matrix = 0.5 * (first.covariance + second.covariance)
    a, b = (_figures(p, beside, matrix) for p, beside in ((one, first), (other, second)))
    return separation(a, b, of=matrix) <= ALIKE


FAR = 2.0
"""Deviations beyond which a band without an onset is without one for certain, whatever its gain."""


def _figures(one: Prediction, beside: _Fit, matrix: FloatArray) -> FloatArray:
    """Return volts and logarithms of gain of a prediction where they were read, to be compared."""
    found = []
    for k, need in enumerate(beside.needs):
        width = FAR * math.sqrt(matrix[beside.count + k, beside.count + k])
        gain = -need.low if need.placed else min(max(-_end(need), -width), width)
        found.append(gain)
    return np.concatenate([one.volts, np.array(found, dtype=np.float64)])


def _end(need: Needed) -> float:
    return need.high if need.low == -math.inf else need.low


def rank(
    faults: Sequence[PossibleFault],
    found: Mapping[Key, Prediction],
    seen: Seen,
    points: Mapping[str, str],
    scatter: Scatter,
) -> Ranked:
    """Return the suspects. points: words for the nodes a meter can be put on."""
    fitted = _fitted(faults, found, seen, scatter)
    shares = probabilities([one.log for one in fitted])
    order = sorted(range(len(fitted)), key=lambda n: -shares[n])
    groups = _grouped(order, fitted, found, seen, scatter)
    mass = [sum(shares[n] for n in group) for group in groups]
    by_mass = sorted(range(len(groups)), key=lambda g: -mass[g])
    healthy_group = next(g for g in range(len(groups)) if 0 in groups[g])

    def suspect(group: Sequence[int], probability: float) -> Suspect:
        faulty = [fitted[n] for n in group if n != 0]
        fault, size = faulty[0].key
        return Suspect(
            names=tuple(faults[one.key[0]].name for one in faulty),
            size=faults[fault].sizes[size].words,
            probability=float(probability),
            deviation=fitted[group[0]].deviation,
        )

    # single faults, of one line too: the next reading is to separate those as well
    leaders = [fitted[n].key for n in order[:LEADERS] if shares[n] > WORTH]
    return Ranked(
        healthy=by_mass[0] == healthy_group,
        sound=float(mass[healthy_group]),
        like_sound=tuple(faults[fitted[n].key[0]].name for n in groups[healthy_group] if n != 0),
        suspects=tuple(suspect(groups[g], mass[g]) for g in by_mass if g != healthy_group),
        hazards=_hazards(
            faults, found, seen, scatter, dict(zip((f.key[0] for f in fitted), shares, strict=True))
        ),
        next_reading=_next(faults, leaders, found, seen, points),
        leader=next((fitted[n].key for n in order if n != 0), None),
        sound_deviation=fitted[0].deviation,
    )


@dataclass(frozen=True)
class _Fitted:
    """A fault in the size that fits best; log: of prior times likelihood over all its sizes."""

    key: Key
    log: float
    deviation: float


def _fitted(
    faults: Sequence[PossibleFault], found: Mapping[Key, Prediction], seen: Seen, scatter: Scatter
) -> list[_Fitted]:
    """Return the sound set, then every fault that could be simulated."""
    sound = found[SOUND]
    total = sum(fault.weight for fault in faults)
    log, deviation = fit(seen, sound, sound, scatter)
    out = [_Fitted(SOUND, math.log(SOUND_SHARE) + log, deviation)]
    for i, fault in enumerate(faults):
        sizes = {
            (i, j): fit(seen, found[i, j], sound, scatter) for j in range(len(fault.sizes)) if (i, j) in found
        }
        if sizes:
            prior = math.log((1.0 - SOUND_SHARE) * fault.weight / total / len(sizes))
            best = max(sizes, key=lambda key: sizes[key][0])
            whole = prior + log_sum([log for log, _ in sizes.values()])
            out.append(_Fitted(best, whole, sizes[best][1]))
    return out


def _hazards(
    faults: Sequence[PossibleFault],
    found: Mapping[Key, Prediction],
    seen: Seen,
    scatter: Scatter,
    shares: Mapping[int, float],
) -> tuple[Hazard, ...]:
    """Return the faults that can hurt and that no reading rules out, the likeliest first.

    Each is judged by the readings that it moves, one by one: another fault in the same set, which explains
    the rest better, says nothing against it. A reading rules it out where a sound set explains that one far
    better; a hazard in several sizes is ruled out if each size is.
    """
    out = []
    for i, fault in enumerate(faults):
        sizes = [found[i, j] for j in range(len(fault.sizes)) if (i, j) in found]
        if not fault.hazard or not sizes:
            continue
        told = [_told(seen, one, found[SOUND], scatter) for one in sizes]
        left = [own for own in told if not any(log > RULED_OUT for log in own)]
        if left:
            tested = all(own for own in left)
            out.append(Hazard(fault.name, fault.hazard, float(shares.get(i, 0.0)), tested))
    return tuple(sorted(out, key=lambda one: (-one.probability, one.name)))


def _told(seen: Seen, one: Prediction, sound: Prediction, scatter: Scatter) -> list[float]:
    """Return by how much a sound set explains each reading better that a fault moves (log of the ratio)."""
    first, second = (_beside(seen, p, scatter) for p in (one, sound))
    out = []
    if first.off.size == second.off.size:
        shown = [_figures(p, x, x.covariance) for p, x in ((one, first), (sound, second))]
        for row in range(first.off.size):
            widths = [math.sqrt(x.covariance[row, row]) for x in (first, second)]
            if abs(shown[0][row] - shown[1][row]) > MOVES * min(widths):
                out.append(_alone(second, row) - _alone(first, row))
    if seen.heard is not None and heard_as(one, sound) not in (None, heard_as(sound, sound)):
        shares = [heard_shares(p, sound) for p in (sound, one)]
        if shares[0] is not None and shares[1] is not None:
            out.append(math.log(shares[0][seen.heard] / shares[1][seen.heard]))
    return out


def _alone(beside: _Fit, row: int) -> float:
    """Return the log likelihood of one reading by itself."""
    width = math.sqrt(beside.covariance[row, row])
    need = beside.needs[row - beside.count] if row >= beside.count else None
    if need is None or need.placed:
        slope = 1.0 if need is None else need.slope
        return -0.5 * (float(beside.off[row]) / width) ** 2 - math.log(width / slope)
    return _bands_beyond(beside, [], [row])


def _grouped(
    order: Sequence[int],
    fitted: Sequence[_Fitted],
    found: Mapping[Key, Prediction],
    seen: Seen,
    scatter: Scatter,
) -> list[list[int]]:
    """Return groups of faults; what looks like a likelier one goes with it, the sound set first of all."""
    groups: list[list[int]] = [[0]]
    for n in order:
        if n == 0:
            continue
        for group in groups:
            one, other = found[fitted[n].key], found[fitted[group[0]].key]
            if alike(one, other, seen, found[SOUND], scatter):
                group.append(n)
                break
        else:
            groups.append([n])
    return groups


HOW = (
    "Switch off, pull the plug, let it discharge and prove it. Clip the meter on, highest range, lead to "
    "chassis first; step back, switch on, read, switch off again."
)


def _next(
    faults: Sequence[PossibleFault],
    leaders: Sequence[Key],
    found: Mapping[Key, Prediction],
    seen: Seen,
    points: Mapping[str, str],
) -> NextReading | None:
    """Return the reading not yet taken that lies farthest apart under the leading suspects."""
    taken = {v.node for v in seen.volts if not v.pulled}
    best, choice = 0.0, None
    for node, words in points.items():
        if node in taken:
            continue
        volts = [found[key].nodes.get(node, 0.0) for key in leaders]
        apart = sum(
            min(abs(a - b) / math.hypot(LEAST_V, APART * max(abs(a), abs(b))), MOST_APART)
            for i, a in enumerate(volts)
            for b in volts[:i]
        )
        if apart > best:
            best, choice = apart, (words, volts)
    if choice is None or best < LEAST_APART:
        return None
    words, volts = choice
    names = ["sound set" if key == SOUND else faults[key[0]].name for key in leaders]
    return NextReading(words, "10 Mohm", dict(zip(names, volts, strict=True)), HOW)
