"""The arithmetic of the fault finder on predictions made up by hand: errors, Bayes, hazards, next reading."""

from __future__ import annotations

import math

import numpy as np
import pytest

from receiver_sim.circuit.possible_faults import PossibleFault, Severity
from receiver_sim.judge import fault_finder
from receiver_sim.judge.fault_finder import Scatter, Seen
from receiver_sim.judge.fault_onset import SOUND
from receiver_sim.judge.fault_predictions import Prediction, Volt

SCALE_V = 20.0
NO_SCATTER = Scatter(np.zeros(1), {})


def fault(part: str, hazard: str = "", weight: float = 1.0) -> PossibleFault:
    return PossibleFault(part, "part", "leaky", weight, (Severity("leaky", {}),), hazard)


def says(*volts: float, nodes: dict[str, float] | None = None, **heard: float) -> Prediction:
    return Prediction(np.array(volts), np.zeros((len(volts), 1)), nodes or {}, **heard)


def seen(*volts: float, heard: str | None = None) -> Seen:
    shown = tuple(Volt(f"point {n}", f"n{n}", "10 Mohm", 1e7, SCALE_V, v) for n, v in enumerate(volts))
    return Seen(shown, 0.03, {}, heard)


def deviation(volts: float) -> float:
    """3 % of reading and 3 % of model together, and apart from the volts 30 mV and 0.3 % of the range."""
    return math.hypot(math.hypot(0.03, 0.03) * volts, 0.03 + 0.003 * SCALE_V)


def test_the_error_of_a_reading_has_a_part_of_its_volts_and_one_of_its_range() -> None:
    found = fault_finder.noise_of(seen(0.0, 0.0, 0.0), says(10.0, 0.0, -4.0))
    assert found == pytest.approx([deviation(10.0), 0.09, deviation(4.0)])


def density(off: float, width: float) -> float:
    return math.exp(-0.5 * (off / width) ** 2) / width


@pytest.mark.parametrize("read", [10.2, 10.5, 10.9])
def test_a_sound_set_and_a_fault_share_by_bayes(read: float) -> None:
    """Half of the sets that come to the bench are sound (common practice, no source); the rest share by
    weight. The fault of weight 3 of 4 gives 11.2 V, the other 40 V, which no reading here is near.
    """
    faults = (fault("C1", weight=3.0), fault("R1", weight=1.0))
    found = {SOUND: says(10.0), (0, 0): says(11.2), (1, 0): says(40.0)}
    sound = 0.5 * density(read - 10.0, deviation(10.0))
    faulty = 0.5 * 0.75 * density(read - 11.2, deviation(11.2))
    ranked = fault_finder.rank(faults, found, seen(read), {}, NO_SCATTER)
    assert ranked.sound == pytest.approx(sound / (sound + faulty), rel=1e-6)
    assert ranked.suspects[0].probability == pytest.approx(faulty / (sound + faulty), rel=1e-6)
    assert ranked.sound_deviation == pytest.approx(abs(read - 10.0) / deviation(10.0))


@pytest.mark.parametrize(
    ("lost", "hum", "word"),
    [(8.9, 0.0, "normal"), (9.1, 0.0, "weak"), (29.9, 0.0, "weak"), (30.1, 0.0, "nothing"),
     (0.0, 13.9, "normal"), (0.0, 14.1, "loud hum"), (40.0, 14.1, "loud hum"), (0.0, 3.0, "normal")],
)  # fmt: skip
def test_words_turn_at_their_levels(lost: float, hum: float, word: str) -> None:
    """As the reference page on the bench has them: 9 dB and 30 dB of lost gain, 14 dB more hum."""
    sound = says(1.0, gain_db=30.0, hum_db=-40.0)
    assert fault_finder.heard_as(says(1.0, gain_db=30.0 - lost, hum_db=-40.0 + hum), sound) == word


@pytest.mark.parametrize(("volts", "named"), [(8.75, True), (8.4, False)])
def test_a_hazard_is_ruled_out_at_four_hundred_to_one(volts: float, named: bool) -> None:
    """A reading of 10 V as a sound set has it; e^6 is 403, and the ratio here is worked out by the normal
    density: 180 to 1 for a hazard that would give 8.75 V, 8 700 to 1 for one of 8.4 V.
    """
    ratio = density(0.0, deviation(10.0)) / density(10.0 - volts, deviation(volts))
    assert (ratio < 400.0) is named
    found = {SOUND: says(10.0), (0, 0): says(volts)}
    hazards = fault_finder.rank((fault("C9", "hot"),), found, seen(10.0), {}, NO_SCATTER).hazards
    assert [one.tested for one in hazards] == ([True] if named else [])


def test_the_next_reading_counts_every_pair_of_suspects() -> None:
    """One point parts the leader from two others that are alike there, another parts all three: the second
    says more. Nothing new is asked where a meter was already.
    """
    faults = (fault("C1"), fault("R1"))
    nodes = [{"one": 0.0, "all": 0.0, "n0": 0.0}, {"one": 90.0, "all": 40.0, "n0": 50.0},
             {"one": 90.0, "all": 90.0, "n0": 99.0}]  # fmt: skip
    found = {key: says(10.0 + 0.01 * n, nodes=nodes[n]) for n, key in enumerate((SOUND, (0, 0), (1, 0)))}
    points = {"n0": "where it was", "one": "first point", "all": "second point"}
    further = fault_finder.rank(faults, found, seen(10.0), points, NO_SCATTER).next_reading
    assert further is not None and further.where == "second point"
    assert further.expected_v == {"sound set": 0.0, "C1 (part): leaky": 40.0, "R1 (part): leaky": 90.0}
