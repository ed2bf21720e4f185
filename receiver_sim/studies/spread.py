"""What do many drawn sets say: shares with their intervals, percentiles, and which part decides?

Pure reduction of what `drawn_sets` found; nothing is simulated here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from receiver_sim.circuit.factors import Factor
from receiver_sim.results.base import Status
from receiver_sim.results.onset import SCREEN
from receiver_sim.results.spread import BandSpread, Held, SetOnset, Share

CONFIDENCE = 0.95
LOW, MIDDLE, HIGH = 10.0, 50.0, 90.0
"""Percentiles printed of every figure: eight sets of ten lie between the outer two."""

FEWEST = 200
"""Sets that oscillate, below which shares of variance are estimated from one part moved at a time."""

LEAST = 1e-3
"""Share of the variance, by that estimate, from which a factor is looked at in the sets: the method gives
every factor an error of its own."""

HARMONICS = 10
"""Of the random balance design: M of Tarantola, Gatelli and Mara (2006)."""


def held(subject: str, rule: str, count: int, of: int) -> Held:
    """Return in how many sets a verdict holds, with the interval of Wilson (1927)."""
    if of == 0:
        return Held(subject, rule, 0, 0, 0.0, 0.0, 1.0)
    # written out: scipy's, which the tests hold it against, takes longer to load than many a verb runs
    share, z = count / of, NormalDist().inv_cdf(0.5 + 0.5 * CONFIDENCE)
    middle, width = share + z * z / (2 * of), z * math.sqrt(share * (1.0 - share) / of + (z / (2 * of)) ** 2)
    low, high = ((middle + side) / (1.0 + z * z / of) for side in (-width, width))
    return Held(subject, rule, count, of, share, max(low, 0.0), min(high, 1.0))


def band_spread(
    band: str, onsets: Sequence[SetOnset], *, quantity: str = SCREEN, unit: str = "V"
) -> BandSpread:
    """Return the onsets of a band over the sets; quantity, unit: of what the control sets."""
    there = [one for one in onsets if one.rotation is not None]
    rotation = np.array([one.rotation for one in there], dtype=float)
    figure = np.array([one.figure for one in there], dtype=float)
    turns = np.array([one.approach_deg for one in there if one.approach_deg is not None], dtype=float)
    count = {status: sum(one.status is status for one in onsets) for status in Status}
    return BandSpread(
        band,
        len(onsets),
        count[Status.OSCILLATES],
        count[Status.DOES_NOT],
        count[Status.NOT_IN_RANGE],
        count[Status.FAILED],
        rotation,
        figure,
        *_percentiles(rotation),
        *_percentiles(figure),
        *_percentiles(turns),
        quantity=quantity,
        unit=unit,
    )


def _percentiles(values: npt.NDArray[np.float64]) -> tuple[float | None, float | None, float | None]:
    if values.size == 0:
        return None, None, None
    low, middle, high = (float(v) for v in np.percentile(values, [LOW, MIDDLE, HIGH]))
    return low, middle, high


def one_deviation(factor: Factor) -> tuple[float, float]:
    """Return the deviation of a factor one standard deviation above its middle, and below (0: none)."""
    if factor.shape == "even":
        middle, width = 0.5 * (factor.low + factor.high), (factor.high - factor.low) / math.sqrt(12.0)
        # counted from the build as stated, which lies within the limits or at one of them
        if factor.high <= 0.0:
            return 0.0, max(-width, factor.low)
        return (width, -width) if middle <= 0.0 else (min(width, factor.high), 0.0)
    above = factor.deviation(NormalDist().cdf(1.0))
    return above, factor.deviation(NormalDist().cdf(-1.0))


def variance_shares(
    band: str,
    factors: Sequence[Factor],
    draws: npt.NDArray[np.float64],
    onsets: Sequence[SetOnset],
    moves: Sequence[float | None],
) -> list[Share]:
    """Return the first-order share of each part in the variance of onset on the knob, largest first.

    moves: of the onset for one deviation of each factor; they say which factors are looked at. By a random
    balance design on the given draws (Tarantola, Gatelli and Mara 2006, with the correction of Tissot and
    Prieur 2012; SALib); with fewer than `FEWEST` sets that oscillate the squares of the moves stand for it.
    Factors are independent, so those of one part add up.
    """
    squares = np.array([0.0 if m is None else m * m for m in moves])
    total = float(squares.sum())
    own = [j for j, f in enumerate(factors) if f.band in ("", band)]
    unknown = [j for j in own if moves[j] is None]
    own = [j for j in own if total > 0.0 and (j in unknown or squares[j] > LEAST * total)]
    kept = [i for i, one in enumerate(onsets) if one.rotation is not None]
    values = np.array([onsets[i].rotation for i in kept], dtype=float)
    if not own:
        return []
    if len(kept) < FEWEST or float(np.ptp(values)) <= 0.0:
        single = squares[own] / total
    else:
        single = first_order(draws[np.ix_(kept, own)], values)
    parts: dict[str, list[float]] = {}
    words: dict[str, str] = {}
    for j, share in zip(own, single, strict=True):
        parts.setdefault(factors[j].part, []).append(float(share))
        words.setdefault(factors[j].part, _word(factors[j]))
    shares = [Share(band, key, words[key], max(sum(each), 0.0)) for key, each in parts.items()]
    return sorted(shares, key=lambda one: -one.share)


def first_order(draws: npt.NDArray[np.float64], values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the first-order index of each column of even draws for some values."""
    from SALib.analyze import rbd_fast  # noqa: PLC0415 - slow to load, and needed by one verb

    names = [f"x{j}" for j in range(draws.shape[1])]
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    harmonics = min(HARMONICS, max(len(values) // 20, 1))
    found = rbd_fast.analyze(problem, draws, values, M=harmonics, num_resamples=2, seed=1)
    return np.asarray(found["S1"], dtype=float)


def _word(factor: Factor) -> str:
    """Return what a part is called as a whole."""
    return factor.word.partition(" of the ")[2] if "#" in factor.name and factor.key else factor.word


def worth_selecting(shares: Sequence[Share], factors: Sequence[Factor]) -> str | None:
    """Return the key of the part that brings most of the variance over all bands and can be chosen.

    The mains can't be, nor what print leaves open of a type.
    """
    can = {f.key for f in factors if f.key and f.key not in ("mains", "supply.volts")}
    total: dict[str, float] = {}
    for one in shares:
        if one.key in can:
            total[one.key] = total.get(one.key, 0.0) + one.share
    return max(total, key=lambda key: total[key]) if total else None


def all_held(each: Mapping[tuple[str, str], Sequence[bool]]) -> int:
    """Return in how many sets every verdict holds."""
    columns = list(each.values())
    return sum(all(row) for row in zip(*columns, strict=True))
