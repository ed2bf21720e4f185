"""Which fault explains the readings? Every single fault against them, ranked, what can't be told apart named.

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
from receiver_sim.judge.fault_predictions import SOUND, Key, Prediction, Volt
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
"""What no model gets closer than: a share of the volts, and volts."""

ONSET_SPREAD, ONSET_FREE = 0.1, 0.02
"""Of the onset on the knob from set to set, as a share of the travel; probability that a fault's onset is
there, or not, against the prediction."""

ALIKE, FREE = 1.5, 0.03
"""Predictions closer than so many deviations are not told apart; probability of a word that does not fit."""

WORTH = 0.004
"""Least probability at which a fault counts among those that the next reading is to separate."""

HURTS = 12.0
"""A fault that can hurt is named while its likelihood lies within exp(-HURTS) of the best one's."""

WORDS = ("nothing", "weak", "normal", "loud hum")
_NOTHING_DB, _WEAK_DB, _HUM_DB = -30.0, -9.0, 14.0


@dataclass(frozen=True)
class Seen:
    """What was seen: volts with their error (share), onset by band (None: nowhere on the knob), a word."""

    volts: tuple[Volt, ...]
    error: float
    onset: Mapping[str, float | None]
    heard: str | None


@dataclass(frozen=True)
class Ranked:
    """What the search found. sound: probability of a sound set or of a fault on its line; like_sound: those
    faults, which these readings don't show."""

    healthy: bool
    sound: float
    like_sound: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    hazards: tuple[Hazard, ...]
    next_reading: NextReading | None
    leader: Key | None


def heard_as(one: Prediction, sound: Prediction) -> str | None:
    """Return the word for what a fault leaves to hear, against a sound set."""
    if one.gain_db is None or one.hum_db is None or sound.gain_db is None or sound.hum_db is None:
        return None
    if one.hum_db - sound.hum_db > _HUM_DB:
        return "loud hum"
    lost = one.gain_db - sound.gain_db
    return "nothing" if lost < _NOTHING_DB else "weak" if lost < _WEAK_DB else "normal"


def noise_of(seen: Seen, one: Prediction) -> FloatArray:
    """Return the standard deviation of each reading under a prediction (V), spread of parts aside."""
    volts = np.abs(one.volts)
    scale = np.array([v.full_scale for v in seen.volts], dtype=np.float64)
    return np.asarray(np.hypot(math.hypot(seen.error, MODEL_ERROR) * volts, LEAST_V + 0.003 * scale))


def fit(seen: Seen, one: Prediction, sound: Prediction) -> tuple[float, float]:
    """Return the log likelihood of what was seen under a prediction, and the r.m.s. deviation."""
    read = np.array([v.seen for v in seen.volts], dtype=np.float64)
    log, deviation = 0.0, 0.0
    if read.size:
        matrix = covariance(noise_of(seen, one), one.spread)
        log += log_likelihood(read - one.volts, of=matrix)
        deviation = separation(read, one.volts, of=matrix) / math.sqrt(read.size)
    for band, at in seen.onset.items():
        if band in one.onset:
            log += _onset_fit(at, one.onset[band])
    if seen.heard is not None:
        word = heard_as(one, sound)
        if word is not None:
            log += math.log(1.0 - 3.0 * FREE if word == seen.heard else FREE)
    return log, deviation


def _onset_fit(seen: float | None, predicted: float | None) -> float:
    if (seen is None) != (predicted is None):
        return math.log(ONSET_FREE)
    if seen is None or predicted is None:
        return math.log(1.0 - ONSET_FREE)
    off = (seen - predicted) / ONSET_SPREAD
    # tails: a fault's onset is less sure than a sound set's
    near = math.exp(-0.5 * off * off) / (ONSET_SPREAD * math.sqrt(2.0 * math.pi))
    return math.log((1.0 - ONSET_FREE) * near + ONSET_FREE)


def alike(one: Prediction, other: Prediction, seen: Seen, sound: Prediction) -> bool:
    """Tell whether these readings could not tell two predictions apart."""
    if seen.volts:
        matrix = 0.5 * (
            covariance(noise_of(seen, one), one.spread) + covariance(noise_of(seen, other), other.spread)
        )
        if separation(one.volts, other.volts, of=matrix) > ALIKE:
            return False
    for band in seen.onset:
        a, b = one.onset.get(band), other.onset.get(band)
        if (a is None) != (b is None):
            return False
        if a is not None and b is not None and abs(a - b) > ALIKE * ONSET_SPREAD:
            return False
    return seen.heard is None or heard_as(one, sound) == heard_as(other, sound)


def rank(
    faults: Sequence[PossibleFault], found: Mapping[Key, Prediction], seen: Seen, points: Mapping[str, str]
) -> Ranked:
    """Return the suspects. points: words for the nodes a meter can be put on."""
    sound = found[SOUND]
    total = sum(fault.weight for fault in faults)
    logs: list[float] = [math.log(SOUND_SHARE) + fit(seen, sound, sound)[0]]
    best: list[Key] = [SOUND]
    deviations: list[float] = [fit(seen, sound, sound)[1]]
    for i, fault in enumerate(faults):
        sizes = {(i, j): fit(seen, found[i, j], sound) for j in range(len(fault.sizes)) if (i, j) in found}
        if not sizes:
            continue
        prior = math.log((1.0 - SOUND_SHARE) * fault.weight / total / len(sizes))
        logs.append(prior + log_sum([log for log, _ in sizes.values()]))
        chosen = max(sizes, key=lambda key: sizes[key][0])
        best.append(chosen)
        deviations.append(sizes[chosen][1])
    shares = probabilities(logs)
    order = sorted(range(len(best)), key=lambda n: -shares[n])
    groups = _grouped(order, best, found, seen, sound)
    mass = [sum(shares[n] for n in group) for group in groups]
    by_mass = sorted(range(len(groups)), key=lambda g: -mass[g])
    healthy_group = next(g for g in range(len(groups)) if 0 in groups[g])
    suspects = [
        Suspect(
            names=tuple(faults[best[n][0]].name for n in groups[g] if n != 0),
            size=_size(faults, best[next(n for n in groups[g] if n != 0)]),
            probability=float(mass[g]),
            deviation=deviations[groups[g][0]],
        )
        for g in by_mass
        if g != healthy_group
    ]
    # single faults, of one line too: the next reading is to separate those as well
    leaders = [best[n] for n in order[:5] if shares[n] > WORTH]
    top = max(logs)
    hazards = tuple(
        Hazard(faults[best[n][0]].name, faults[best[n][0]].hazard, float(shares[n]))
        for n in order
        if n != 0 and faults[best[n][0]].hazard and logs[n] > top - HURTS
    )
    return Ranked(
        healthy=by_mass[0] == healthy_group,
        sound=float(mass[healthy_group]),
        like_sound=tuple(faults[best[n][0]].name for n in groups[healthy_group] if n != 0),
        suspects=tuple(suspects),
        hazards=hazards,
        next_reading=_next(faults, leaders, found, seen, points),
        leader=next((best[n] for n in order if n != 0), None),
    )


def _size(faults: Sequence[PossibleFault], key: Key) -> str:
    return faults[key[0]].sizes[key[1]].words


def _grouped(
    order: Sequence[int],
    best: Sequence[Key],
    found: Mapping[Key, Prediction],
    seen: Seen,
    sound: Prediction,
) -> list[list[int]]:
    """Return groups of faults; what looks like a likelier one goes with it, the sound set first of all."""
    groups: list[list[int]] = [[0]]
    for n in order:
        if n == 0:
            continue
        for group in groups:
            if alike(found[best[n]], found[best[group[0]]], seen, sound):
                group.append(n)
                break
        else:
            groups.append([n])
    return groups


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
            min(abs(a - b) / math.hypot(LEAST_V, 0.05 * max(abs(a), abs(b))), 4.0)
            for i, a in enumerate(volts)
            for b in volts[:i]
        )
        if apart > best:
            best, choice = apart, (words, volts)
    if choice is None or best < 1.0:
        return None
    words, volts = choice
    names = ["sound set" if key == SOUND else faults[key[0]].name for key in leaders]
    how = (
        "Switch off, pull the plug, let it discharge and prove it. Clip the meter on, highest range, lead to "
        "chassis first; step back, switch on, read, switch off again."
    )
    return NextReading(words, "10 Mohm", dict(zip(names, volts, strict=True)), how)
