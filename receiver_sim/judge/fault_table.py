"""The predictions of all faults of a set as one table, which whoever holds it ranks without ngspice."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from receiver_sim.circuit.possible_faults import PossibleFault
from receiver_sim.judge import fault_finder as finder
from receiver_sim.judge import onset_likelihood
from receiver_sim.judge.fault_finder import Scatter
from receiver_sim.judge.fault_onset import SOUND, Key
from receiver_sim.judge.fault_predictions import Prediction, Volt
from receiver_sim.results.fault_table import Cause, ExpectedReadings, FaultTable, ReadingPoint

RULES = {
    "model_error": finder.MODEL_ERROR,
    "least_v": finder.LEAST_V,
    "full_scale_error": finder.FULL_SCALE_ERROR,
    "onset_error": finder.ONSET_ERROR,
    "gain_error": finder.GAIN_ERROR,
    "odd": finder.ODD,
    "loudness_db": finder.LOUDNESS_DB,
    "alike": finder.ALIKE,
    "worth": finder.WORTH,
    "moves": finder.MOVES,
    "ruled_out": finder.RULED_OUT,
    "far": finder.FAR,
    "nothing_db": finder.NOTHING_DB,
    "weak_db": finder.WEAK_DB,
    "hum_db": finder.HUM_DB,
    "leaders": float(finder.LEADERS),
    "apart": finder.APART,
    "most_apart": finder.MOST_APART,
    "least_apart": finder.LEAST_APART,
    "none_at_all": onset_likelihood.NONE_AT_ALL,
    "near": onset_likelihood.NEAR,
    "least_slope": onset_likelihood.LEAST_SLOPE,
}
"""The figures of `fault_finder` and `onset_likelihood` that a ranking needs."""


def table(
    faults: Sequence[PossibleFault],
    found: Mapping[Key, Prediction],
    volts: Sequence[Volt],
    bands: Sequence[str],
    scatter: Scatter,
    *,
    title: str,
    rotation: float,
    setting: str,
    ranges: Sequence[float],
) -> FaultTable:
    """Return the table; volts: the points with their meter, each at one node."""

    def expected(key: Key, words: str) -> ExpectedReadings:
        one = found[key]
        spread = np.concatenate([one.spread, *(_row(scatter, band, one) for band in bands)], axis=0)
        whole = spread @ spread.T
        return ExpectedReadings(
            words=words,
            volts_v=one.volts,
            true_v=np.array([one.nodes.get(v.node, 0.0) for v in volts], dtype=np.float64),
            middles=np.asarray(spread @ scatter.middles, dtype=np.float64),
            covariance=whole[np.tril_indices(whole.shape[0])],
            curves=tuple(one.curves.get(band) for band in bands),
            onset=tuple(one.onset.get(band) for band in bands),
            gain_db=one.gain_db,
            hum_db=one.hum_db,
        )

    causes = [Cause("sound set", "", math.log(finder.SOUND_SHARE), (expected(SOUND, ""),))]
    total = sum(fault.weight for fault in faults)
    for i, fault in enumerate(faults):
        keys = [(i, j) for j in range(len(fault.sizes)) if (i, j) in found]
        if keys:
            prior = math.log((1.0 - finder.SOUND_SHARE) * fault.weight / total / len(keys))
            sizes = tuple(expected(key, fault.sizes[key[1]].words) for key in keys)
            causes.append(Cause(fault.name, fault.hazard, prior, sizes))
    return FaultTable(
        title=title,
        meter=volts[0].meter if volts else "10 Mohm",
        ranges_v=tuple(ranges),
        rotation=rotation,
        setting=setting,
        points=tuple(ReadingPoint(v.where, float(found[SOUND].volts[k])) for k, v in enumerate(volts)),
        bands=tuple(bands),
        words=finder.WORDS,
        causes=tuple(causes),
        rules=dict(RULES),
        how_next=finder.HOW,
    )


def _row(scatter: Scatter, band: str, one: Prediction) -> np.ndarray:
    row = scatter.gain.get(band, np.zeros(one.spread.shape[1]))
    return row[None, :]


__all__ = ["RULES", "table"]
