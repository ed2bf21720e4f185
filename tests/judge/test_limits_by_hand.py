"""Verdicts on results made by hand: what a regulator, a drift, a drain or a missing rating are worth."""

from __future__ import annotations

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.judge import verdicts
from receiver_sim.results.bands import BandReport, Grade, Verdict
from receiver_sim.results.base import Status
from receiver_sim.results.bias import MainsPoint, RegulatorDrift
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.schema import changed_build
from receiver_sim.schema.verdicts import Verdicts
from tests.helpers.filling import filled

LIMITS = Verdicts()


def mains(share: float, screen: float, *, holds: bool | None = True) -> MainsPoint:
    onset = ControlSetting(0.4, 22.0)
    return MainsPoint(share, 190.0 * share, 108.0, 8e-3, holds, screen, Status.OSCILLATES, onset, "it is out")


def drift(*points: MainsPoint) -> RegulatorDrift:
    return filled(RegulatorDrift, points=points)


def judged(found: RegulatorDrift, approach_v: float = 4.0) -> dict[str, Verdict]:
    onset = filled(Onset, status=Status.OSCILLATES, approach_v=approach_v)
    return {v.rule: v for v in verdicts.judge_regulator(found, onset, LIMITS)}


@pytest.mark.parametrize("which", [0, 1, 2])
def test_a_regulator_that_goes_out_at_any_mains_is_bad(which: int) -> None:
    points = [mains(share, 22.0, holds=n != which) for n, share in enumerate((0.9, 1.0, 1.1))]
    verdict = judged(drift(*points))["regulator_holds"]
    assert (verdict.grade, verdict.value, verdict.unit) == (Grade.BAD, 8e-3, "A")
    assert verdict.text == f"at {(90, 100, 110)[which]} % of the mains: it is out"
    well = judged(drift(*(mains(share, 22.0) for share in (0.9, 1.0, 1.1))))["regulator_holds"]
    assert well.grade is Grade.GOOD
    assert "regulator_holds" not in judged(drift(*(mains(s, 22.0, holds=None) for s in (0.9, 1.0, 1.1))))


@pytest.mark.parametrize(
    ("low", "high", "ratio"), [(17.0, 23.0, 1.25), (21.0, 27.0, 1.25), (19.0, 24.0, 0.75), (24.0, 17.0, 1.25)]
)
def test_drift_counts_to_either_side_in_approaches(low: float, high: float, ratio: float) -> None:
    """The larger change of the screen's 22 V, over the 4 V from loop gain 0.9 to 1; the limit is one."""
    found = judged(drift(mains(0.9, low), mains(1.0, 22.0), mains(1.1, high)))["mains_drift_max"]
    assert found.value == pytest.approx(ratio)
    assert found.grade is (Grade.GOOD if ratio <= 1.0 else Grade.DOUBTFUL)


def band(*onsets: Onset) -> BandReport:
    return filled(BandReport, band="40 m", onsets=onsets)


@pytest.mark.parametrize(("gain", "none"), [(0.04, True), (0.06, False), (0.45, False), (0.9, False)])
def test_almost_no_feedback_is_told_from_too_little(gain: float, none: bool) -> None:
    """A tap that is off leaves a few hundredths; half the loop gain is a tap that is too low."""
    silent = filled(
        Onset, band="40 m", status=Status.DOES_NOT, onset=None, gain_highest=gain, warnings=(), dial_hz=7e6
    )
    (found,) = verdicts.judge_bands([band(silent)], LIMITS)
    assert found.grade is Grade.BAD and (found.value, found.limit) == (gain, 1.0)
    assert ("almost no feedback" in found.text) is none
    assert ("raise the tap, the coil's Q" in found.text) is not none


PLATE = {"name": "set", "at": "plate", "capacitor": "0.5 uF", "resistance": "2 kohm"}


@pytest.mark.parametrize("state", ["loaded", "open"])
def test_a_drain_is_missed_whether_the_plug_is_in_or_out(state: str) -> None:
    """Every plug is pulled some day, and the lead then floats up to the plate supply."""
    bare = changed_build(shipped_build("demo"), {"phones": [{**PLATE, "state": state}]})
    rules = {v.rule: v for v in verdicts.judge_safety(bare)}
    assert rules["plate_potential"].grade is Grade.BAD
    assert ("open lead" in rules["plate_potential"].text) is (state == "open")
    drained = changed_build(shipped_build("demo"), {"phones": [{**PLATE, "state": state, "drain": "1 Mohm"}]})
    assert "plate_potential" not in {v.rule for v in verdicts.judge_safety(drained)}


def test_a_blocking_capacitor_without_rating_is_never_good() -> None:
    """It must stand 190 V and the mains' 10 %: the build has to say that it does."""
    silent = changed_build(shipped_build("demo"), {"phones": [{**PLATE, "drain": "1 Mohm"}]})
    (found,) = verdicts.judge_safety(silent)
    assert (found.rule, found.grade, found.value, found.limit) == (
        "capacitor_rating", Grade.DOUBTFUL, None, pytest.approx(209.0),
    )  # fmt: skip
    assert "needs 209 V or more" in found.text
