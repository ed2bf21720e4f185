"""Likelihoods of readings and onsets by other paths: scipy's normal distributions, integrals, Bayes by hand.

Errors assumed: 3 % of a reading and 3 % of the model, 30 mV and 0.3 % of the range; 0.08 of the logarithm of
the loop gain and 3 % of the knob's travel (judgement of practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from receiver_sim.circuit.possible_faults import PossibleFault, Severity
from receiver_sim.judge import fault_finder
from receiver_sim.judge.fault_finder import Scatter, Seen
from receiver_sim.judge.fault_onset import SOUND
from receiver_sim.judge.fault_predictions import Prediction, Volt

SCALE_V = 20.0
MIDDLES = np.array([0.4, -1.2])
GAIN = np.array([0.15, -0.05])
SCATTER = Scatter(MIDDLES, {"40 m": GAIN})
SPREAD = np.array([[0.3, 0.1], [-0.2, 0.4]])
CURVE = ((0.0, 0.2), (0.5, 1.0), (1.0, 1.25))
"""Loop gain along the knob, straight between the points."""


def prediction(*volts: float, **given: Any) -> Prediction:
    plain = {"curves": {"40 m": CURVE}, "spread": SPREAD[: len(volts)], "nodes": {}}
    return Prediction(np.array(volts), **{**plain, **given})


def seen(*volts: float, onset: dict[str, float | None], heard: str | None = None) -> Seen:
    shown = tuple(Volt(f"point {n}", f"n{n}", "10 Mohm", 1e7, SCALE_V, v) for n, v in enumerate(volts))
    return Seen(shown, 0.03, onset, heard)


def joint(volts: tuple[float, ...], gain_noise: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the readings and then of the logarithm of the gain, off its prediction."""
    rows = np.vstack([SPREAD[: len(volts)], GAIN])
    noise = [math.hypot(math.hypot(0.03, 0.03) * v, 0.03 + 0.003 * SCALE_V) for v in volts]
    mean = np.array([*volts, 0.0]) + rows @ MIDDLES
    return mean, rows @ rows.T + np.diag(np.square([*noise, gain_noise]))


def test_readings_and_a_place_of_onset_are_jointly_normal() -> None:
    """At a quarter of the knob the gain is 0.6 and rises by 1.6 a travel: the set has ln(1/0.6) more, and a
    density on the knob is one of the logarithm times its slope, there the difference over 4 % of the travel.
    """
    slope = math.log((0.2 + 1.6 * 0.27) / (0.2 + 1.6 * 0.23)) / 0.04
    mean, matrix = joint((10.0, 4.0), math.hypot(0.08, 0.03 * slope))
    at = np.array([10.4, 3.7, math.log(1.0 / 0.6)])
    one = prediction(10.0, 4.0)
    log, deviation = fault_finder.fit(seen(10.4, 3.7, onset={"40 m": 0.25}), one, one, SCATTER)
    assert log == pytest.approx(float(multivariate_normal(mean, matrix).logpdf(at)) + math.log(slope))
    off = at - mean
    assert deviation == pytest.approx(math.sqrt(off @ np.linalg.inv(matrix) @ off / 3.0))


def test_a_band_that_stays_silent_is_one_whose_gain_stays_below_one_given_the_readings() -> None:
    """Density of the reading with all gains below 1/1.25 of the prediction, by integrating the joint one. Of
    a band that can't be turned out the gain at the lower stop, 0.2, is above one.
    """
    # a silent band has no slope of its own: its gain is known to 0.08 and the 3 % of a knob at slope one
    mean, matrix = joint((10.0,), math.hypot(0.08, 0.03))
    whole = multivariate_normal(mean, matrix)

    def due(low: float, high: float) -> float:
        return float(quad(lambda gain: whole.pdf([10.4, gain]), low, high, epsabs=0.0, epsrel=1e-9)[0])

    one = prediction(10.0)
    for read, limits in ((None, (-3.0, -math.log(1.25))), (0.0, (math.log(5.0), 4.0))):
        log, deviation = fault_finder.fit(seen(10.4, onset={"40 m": read}), one, one, SCATTER)
        assert log == pytest.approx(math.log(due(*limits)), abs=1e-6)
        assert deviation == pytest.approx(abs(10.4 - mean[0]) / math.sqrt(matrix[0, 0]))


def test_without_a_figure_only_probabilities_are_left() -> None:
    """No reading in volts: the band alone, with what is heard by its share."""
    sound = prediction(gain_db=30.0, hum_db=-40.0)
    log, deviation = fault_finder.fit(seen(onset={"40 m": None}, heard="normal"), sound, sound, SCATTER)
    width = math.sqrt(0.08**2 + 0.03**2 + float(GAIN @ GAIN))
    silent = float(norm.logcdf(-math.log(1.25), float(GAIN @ MIDDLES), width))
    normal = fault_finder.heard_shares(sound, sound)
    assert normal is not None and deviation == 0.0
    assert log == pytest.approx(silent + math.log(normal["normal"]))


def test_a_band_whose_gain_is_not_known_says_nothing() -> None:
    one = prediction(10.0)
    known = fault_finder.fit(seen(10.4, onset={}), one, one, SCATTER)
    assert fault_finder.fit(seen(10.4, onset={"20 m": 0.25}), one, one, SCATTER) == known


@pytest.mark.parametrize("word", ["nothing", "weak", "normal", "loud hum"])
def test_what_is_heard_spreads_by_three_decibels(word: str) -> None:
    """12 dB lost, 11 dB more hum: normal distributions of 3 dB about them, 2 % left to each word all the
    same. Loud hum drowns the rest.
    """
    sound = prediction(gain_db=30.0, hum_db=-40.0)
    one = prediction(gain_db=18.0, hum_db=-29.0)
    hum = float(norm.sf(14.0, 11.0, 3.0))
    nothing, weak = (float(norm.cdf(limit, -12.0, 3.0)) for limit in (-30.0, -9.0))
    plain = {"nothing": nothing, "weak": weak - nothing, "normal": 1.0 - weak}
    due = {"loud hum": hum, **{name: (1.0 - hum) * share for name, share in plain.items()}}
    shares = fault_finder.heard_shares(one, sound)
    assert shares is not None and set(shares) == set(fault_finder.WORDS) == set(due)
    assert shares[word] == pytest.approx(0.02 + 0.92 * due[word], rel=1e-9)
    with_it, without = (
        fault_finder.fit(seen(onset={}, heard=heard), one, sound, SCATTER)[0] for heard in (word, None)
    )
    assert with_it - without == pytest.approx(math.log(shares[word]))


@pytest.mark.parametrize("missing", ["gain_db", "hum_db"])
@pytest.mark.parametrize("of_fault", [True, False])
def test_what_was_not_found_is_not_heard(missing: str, of_fault: bool) -> None:
    whole = prediction(gain_db=30.0, hum_db=-40.0)
    bare = replace(whole, **{missing: None})
    pair = (bare, whole) if of_fault else (whole, bare)
    assert fault_finder.heard_as(*pair) is None and fault_finder.heard_shares(*pair) is None


# ---------------------------------------------------------------------------- sizes and shares

NONE = Scatter(np.zeros(1), {})


def says(*volts: float, **given: Any) -> Prediction:
    return Prediction(np.array(volts), np.zeros((len(volts), 1)), given.pop("nodes", {}), **given)


def fault(part: str, *sizes: str, weight: float = 1.0, hazard: str = "") -> PossibleFault:
    return PossibleFault(
        part, "part", "leaky", weight, tuple(Severity(s, {}) for s in sizes or ("it",)), hazard
    )


def density(off: float, width: float) -> float:
    return math.exp(-0.5 * (off / width) ** 2) / width


def width(volts: float) -> float:
    return math.hypot(math.hypot(0.03, 0.03) * volts, 0.03 + 0.003 * SCALE_V)


def test_a_fault_in_two_sizes_shares_its_weight_between_them() -> None:
    """Half to a sound set; of the rest a fault of weight 3 of 4 in two sizes has 3/8 each, and what it is
    worth is the sum of both. Its size is that of the better one.
    """
    faults = (fault("C1", "large", "small", weight=3.0), fault("R1", weight=1.0))
    found = {SOUND: says(10.0), (0, 0): says(12.6), (0, 1): says(11.2), (1, 0): says(9.0)}
    read = seen(10.9, onset={})
    mass = [0.5 * density(0.9, width(10.0)),
            0.5 * 0.375 * (density(10.9 - 12.6, width(12.6)) + density(10.9 - 11.2, width(11.2))),
            0.5 * 0.25 * density(10.9 - 9.0, width(9.0))]  # fmt: skip
    ranked = fault_finder.rank(faults, found, read, {}, NONE)
    one, other = ranked.suspects
    assert (one.names, one.size) == (("C1 (part): leaky",), "small")
    assert one.probability == pytest.approx(mass[1] / sum(mass), rel=1e-6)
    assert other.probability == pytest.approx(mass[2] / sum(mass), rel=1e-6)
    assert one.deviation == pytest.approx(0.3 / width(11.2)) and ranked.leader == (0, 1)


def test_a_size_that_could_not_be_run_leaves_its_weight_to_the_others() -> None:
    """And a fault of which none could be run keeps its own from the rest: it may be the one."""
    faults = (fault("C1", "large", "small"), fault("R1", weight=2.0))
    found = {SOUND: says(10.0), (0, 1): says(11.2)}
    ranked = fault_finder.rank(faults, found, seen(10.9, onset={}), {}, NONE)
    mass = [0.5 * density(0.9, width(10.0)), 0.5 / 3.0 * density(-0.3, width(11.2))]
    (one,) = ranked.suspects
    assert one.probability == pytest.approx(mass[1] / sum(mass), rel=1e-6)


# ---------------------------------------------------------------------------- what looks alike


@pytest.mark.parametrize(("apart", "alike"), [(1.45, True), (1.55, False)])
def test_predictions_within_one_and_a_half_deviations_stand_on_one_line(apart: float, alike: bool) -> None:
    """Of the mean of both covariances: at 0 V both are 90 mV wide, the second a trifle more."""
    one, shift = says(0.0), apart * 0.09
    other = says(shift)
    middle = math.sqrt(0.5 * (0.09**2 + width(shift) ** 2))
    assert (shift / middle <= 1.5) is alike
    assert fault_finder.alike(one, other, seen(0.0, onset={}), one, NONE) is alike
    found = {SOUND: says(50.0), (0, 0): one, (1, 0): other}
    ranked = fault_finder.rank((fault("C1"), fault("R1")), found, seen(0.01, onset={}), {}, NONE)
    assert [len(s.names) for s in ranked.suspects] == ([2] if alike else [1, 1])


def test_what_looks_like_a_sound_set_is_listed_beside_it_and_counts_with_it() -> None:
    found = {SOUND: says(10.0), (0, 0): says(10.2), (1, 0): says(40.0)}
    ranked = fault_finder.rank((fault("C1"), fault("R1")), found, seen(10.1, onset={}), {}, NONE)
    assert ranked.healthy and ranked.like_sound == ("C1 (part): leaky",)
    assert ranked.sound == pytest.approx(1.0, abs=1e-6)
    assert [s.names for s in ranked.suspects] == [("R1 (part): leaky",)]
    # the sound set is no suspect, and no leader among faults
    assert ranked.leader == (0, 0)
    far = fault_finder.rank((fault("C1"), fault("R1")), found, seen(40.0, onset={}), {}, NONE)
    assert not far.healthy and far.leader == (1, 0)


def test_a_word_that_differs_parts_what_volts_do_not() -> None:
    sound = says(10.0, gain_db=30.0, hum_db=-40.0)
    quiet = says(10.0, gain_db=10.0, hum_db=-40.0)
    same = says(10.0, gain_db=28.0, hum_db=-40.0)
    for heard, due in ((None, True), ("normal", False)):
        assert fault_finder.alike(sound, quiet, seen(10.0, onset={}, heard=heard), sound, NONE) is due
    assert fault_finder.alike(sound, same, seen(10.0, onset={}, heard="normal"), sound, NONE)


def test_an_onset_that_is_known_of_one_only_parts_two() -> None:
    one, other = says(10.0, curves={"40 m": CURVE}), says(10.0)
    scatter = Scatter(np.zeros(1), {"40 m": np.zeros(1)})
    assert not fault_finder.alike(one, other, seen(10.0, onset={}), one, scatter)
    # with nothing read at all, nothing parts them
    assert fault_finder.alike(says(), says(), seen(onset={}), says(), NONE)


@pytest.mark.parametrize(("rise", "alike"), [(0.12, True), (0.14, False)])
def test_gains_that_put_the_onset_to_other_places_part_two(rise: float, alike: bool) -> None:
    """At half the knob one has a gain of one, the other e^rise of it. The width is that of 0.08 in the
    logarithm and of 3 % of the travel times the slope there: one and a half of it are 0.129 here.
    """
    scatter = Scatter(np.zeros(1), {"40 m": np.zeros(1)})

    def rising(gain: float) -> Prediction:
        """An exponential of slope one through a gain at half the knob."""
        return says(curves={"40 m": tuple((x, gain * math.exp(x - 0.5)) for x in np.linspace(0, 1, 101))})

    assert (rise <= 1.5 * math.hypot(0.08, 0.03)) is alike
    read = seen(onset={"40 m": 0.5})
    assert fault_finder.alike(rising(1.0), rising(math.exp(rise)), read, rising(1.0), scatter) is alike


def test_two_that_are_silent_for_certain_are_alike_however_silent() -> None:
    """Both have half the gain or less, more than two deviations (0.17) below one."""
    scatter = Scatter(np.zeros(1), {"40 m": np.zeros(1)})
    half, none, near = (says(curves={"40 m": ((0.0, 0.1 * g), (1.0, g))}) for g in (0.5, 0.02, 0.99))
    read = seen(onset={"40 m": None})
    assert fault_finder.alike(half, none, read, half, scatter)
    # one that nearly oscillates is within reach of the spread
    assert not fault_finder.alike(half, near, read, half, scatter)
    # and of those that can't be turned out likewise
    loud, louder, low = (says(curves={"40 m": ((0.0, g), (1.0, 2 * g))}) for g in (2.0, 40.0, 1.01))
    read = seen(onset={"40 m": 0.0})
    assert fault_finder.alike(loud, louder, read, loud, scatter)
    assert not fault_finder.alike(loud, low, read, loud, scatter)


# ---------------------------------------------------------------------------- hazards


def hazards(one: Prediction, read: Seen, sound: Prediction | None = None) -> list[bool]:
    found = {SOUND: sound or says(10.0), (0, 0): one}
    ranked = fault_finder.rank((fault("C9", hazard="hot"),), found, read, {}, NONE)
    return [h.tested for h in ranked.hazards]


@pytest.mark.parametrize(("off", "own"), [(0.26, False), (0.28, True)])
def test_a_reading_is_a_hazards_own_from_three_deviations(off: float, own: bool) -> None:
    """At 0 V a deviation is 90 mV. Read in the middle between both, it rules nothing out either way."""
    assert hazards(says(off), seen(0.5 * off, onset={}), says(0.0)) == [own]


def test_a_hazard_stays_while_one_of_its_sizes_does() -> None:
    """40 V is ruled out by a reading of 10 V, 11 V is not; that one no reading shows."""
    one = fault("C9", "dead short", "some leak", hazard="hot")
    for small, left in ((11.0, True), (30.0, False)):
        found = {SOUND: says(10.0), (0, 0): says(40.0), (0, 1): says(small)}
        ranked = fault_finder.rank((one,), found, seen(10.0, onset={}), {}, NONE)
        assert [(h.name, h.why, h.tested) for h in ranked.hazards] == (
            [("C9 (part): leaky", "hot", False)] if left else []
        )


def test_what_is_heard_and_where_onset_is_rule_a_hazard_out_too() -> None:
    """One that would drown all in hum, where nothing hums: 0.02 against 0.94, 47 to 1, is not enough; a place
    of onset where the hazard leaves no gain at all is.
    """
    sound = says(gain_db=30.0, hum_db=-40.0)
    humming = says(gain_db=30.0, hum_db=0.0)
    assert hazards(humming, seen(onset={}, heard="normal"), sound) == [True]
    scatter = Scatter(np.zeros(1), {"40 m": np.zeros(1)})
    good, dead = (says(curves={"40 m": ((0.0, 0.5 * g), (1.0, 1.5 * g))}) for g in (1.0, 0.1))
    found = {SOUND: good, (0, 0): dead}
    for onset, left in ((0.5, False), (None, True)):
        ranked = fault_finder.rank(
            (fault("C9", hazard="hot"),), found, seen(onset={"40 m": onset}), {}, scatter
        )
        assert bool(ranked.hazards) is left


def test_hazards_stand_by_probability_and_then_by_name() -> None:
    """Of three that this reading does not part, weights 1, 4 and 1."""
    faults = (fault("C3", hazard="a"), fault("C2", weight=4.0, hazard="b"), fault("C1", hazard="c"))
    found = {SOUND: says(10.0), **{(n, 0): says(10.1) for n in range(3)}}
    ranked = fault_finder.rank(faults, found, seen(10.0, onset={}), {}, NONE)
    assert [h.name[:2] for h in ranked.hazards] == ["C2", "C1", "C3"]
    assert ranked.hazards[0].probability == pytest.approx(4.0 * ranked.hazards[1].probability)
    assert all(h.probability == pytest.approx(ranked.hazards[1].probability) for h in ranked.hazards[1:])


# ---------------------------------------------------------------------------- the next reading


def further(nodes: list[dict[str, float]], weights: list[float], read: Seen) -> Any:
    faults = tuple(fault(f"R{n}", weight=w) for n, w in enumerate(weights))
    keys = [SOUND, *((n, 0) for n in range(len(faults)))]
    found = {key: says(50.0, nodes=at) for key, at in zip(keys, nodes, strict=True)}
    points = {name: f"point {name}" for name in nodes[0]}
    return fault_finder.rank(faults, found, read, points, NONE).next_reading


@pytest.mark.parametrize(("volts", "asked"), [(10.6, True), (10.4, False)])
def test_a_reading_is_asked_for_if_it_parts_two_by_a_twentieth(volts: float, asked: bool) -> None:
    """10 V and 10.53 V differ by 5 % of the larger."""
    found = further([{"a": 10.0}, {"a": volts}], [1.0], seen(50.0, onset={}))
    assert (found is not None) is asked
    if found is not None:
        assert (found.where, found.meter) == ("point a", "10 Mohm")
        assert found.expected_v == {"sound set": 10.0, "R0 (part): leaky": volts}
        assert found.how == (
            "Switch off, pull the plug, let it discharge and prove it. Clip the meter on, highest range, "
            "lead to chassis first; step back, switch on, read, switch off again."
        )


def test_one_pair_counts_for_four_at_most() -> None:
    """At one point two pairs lie 18 twentieths of the larger apart, and the third not at all; at the other
    all three lie 5.7, 6 and 10 twentieths apart: three pairs beat two, however wide.
    """
    nodes = [{"wide": 1.0, "all": 10.0}, {"wide": 1.0, "all": 14.0}, {"wide": 10.0, "all": 20.0}]
    assert further(nodes, [1.0, 1.0], seen(50.0, onset={})).where == "point all"


def test_the_five_likeliest_are_parted_and_none_that_is_worth_nothing() -> None:
    """Probabilities by weight, all readings alike: a half to the sound set, the rest by weight. The sixth is
    left out, and so is one of less than four in a thousand.
    """
    nodes = [{"a": float(n)} for n in range(7)]
    found = further(nodes, [6.0, 5.0, 4.0, 3.0, 2.0, 1.0], seen(50.0, onset={}))
    assert set(found.expected_v) == {"sound set", *(f"R{n} (part): leaky" for n in range(4))}
    for weight, among in ((0.009, True), (0.0075, False)):
        # half of 0.009 is 0.0045 of all; half of 0.0075 is 0.00375
        found = further([{"a": 1.0}, {"a": 2.0}, {"a": 3.0}], [1.0 - weight, weight], seen(50.0, onset={}))
        assert ("R1 (part): leaky" in found.expected_v) is among
