"""Checks of receiver_sim.physics.potentiometer."""

import numpy as np
import pytest

from receiver_sim.physics.potentiometer import rotation_fraction, wiper_fraction

CASES = [("linear", None), ("log", None), ("log", 0.08), ("antilog", None), ("antilog", 0.73)]


@pytest.mark.parametrize(("law", "mid"), CASES)
def test_inverse_ends_and_rise(law, mid):
    x = np.linspace(0, 1, 23)
    w = wiper_fraction(x, law=law, mid=mid)
    assert (w[0], w[-1]) == (0.0, pytest.approx(1.0, rel=1e-15))
    assert np.all(np.diff(w) > 0)
    assert rotation_fraction(np.minimum(w, 1.0), law=law, mid=mid) == pytest.approx(x, abs=1e-12)


def test_mid_values():
    # common practice, no source: 15 % of the value at half rotation
    assert wiper_fraction(0.5, law="log") == pytest.approx(0.15, rel=1e-12)
    assert wiper_fraction(0.5, law="antilog") == pytest.approx(0.85, rel=1e-12)
    assert wiper_fraction(0.5, law="log", mid=0.11) == pytest.approx(0.11, rel=1e-12)
    assert wiper_fraction(0.37, law="linear") == 0.37


def test_antilog_is_log_from_the_other_end():
    for x in (0.1, 0.42, 0.93):
        mirrored = 1 - wiper_fraction(1 - x, law="log", mid=0.2)
        assert wiper_fraction(x, law="antilog", mid=0.8) == pytest.approx(mirrored, rel=1e-12)


def test_log_law_tends_to_the_straight_line():
    # a = (1/mid - 1)^2 -> 1; the deviation at a quarter turn is first order in (0.5 - mid)
    assert wiper_fraction(0.25, law="log", mid=0.5 - 1e-9) == pytest.approx(0.25, abs=2e-9)


def test_log_law_is_equal_decibels_far_from_the_foot():
    # the exponential's purpose: equal rotation, equal ratio; the -1 matters less and less upwards
    w = wiper_fraction(np.array([0.8, 0.9, 1.0]), law="log", mid=0.01)
    assert w[1] / w[0] == pytest.approx(w[2] / w[1], rel=1e-3)


def test_refusals():
    with pytest.raises(ValueError, match=r"^law must be one of linear, log, antilog, got 'audio'$"):
        wiper_fraction(0.5, law="audio")
    with pytest.raises(ValueError, match=r"^mid of a log track must be between 0 and 0\.5, got 0\.6$"):
        wiper_fraction(0.5, law="log", mid=0.6)
    with pytest.raises(ValueError, match=r"^mid of an antilog track must be between 0\.5 and 1, got 0\.2$"):
        wiper_fraction(0.5, law="antilog", mid=0.2)
    with pytest.raises(ValueError, match=r"^mid of a linear track is 0\.5, got 0\.2; use law log .*$"):
        wiper_fraction(0.5, law="linear", mid=0.2)
    with pytest.raises(ValueError, match=r"^rotation_fraction must be from 0 to 1, got 1\.01$"):
        wiper_fraction(1.01, law="linear")
