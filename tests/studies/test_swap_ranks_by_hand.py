"""Ranks, reasons and ranges of a swap's candidates, on figures made by hand; limits from both sides."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.design import swap, swap_remedies
from receiver_sim.results.base import Status
from receiver_sim.results.bias import RatingLine
from receiver_sim.results.envelope import OnsetKind
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.swap import (
    Adjustment,
    AudioCandidate,
    BandOutcome,
    DetectionFigure,
    DetectorCandidate,
    Fitted,
    Fitting,
    OnsetRange,
)
from tests.helpers.filling import filled


def _begins(rotation: float | None) -> Onset:
    """An onset at a place of the knob; None for none."""
    there = None if rotation is None else ControlSetting(rotation, 20.0)
    status = Status.DOES_NOT if rotation is None else Status.OSCILLATES
    return filled(Onset, onset=there, status=status, warnings=())


def _fitting() -> Fitting:
    return filled(Fitting, heater_fits=True, other_base=False, pins=())


def _outcome(
    band: str = "80 m",
    *,
    status: Status = Status.OSCILLATES,
    kind: OnsetKind | None = OnsetKind.SOFT,
    degrees: float | None = 0.0,
) -> BandOutcome:
    there = ControlSetting(0.4, 20.0) if status is Status.OSCILLATES else None
    found = filled(Onset, band=band, onset=there, status=status)
    return filled(BandOutcome, onset=found, kind=kind, backlash_deg=degrees)


def _detector(tube: str, *bands: BandOutcome, figure: float = 20.0, **more: Any) -> DetectorCandidate:
    detection = more.pop("detection", filled(DetectionFigure, total_per_v=figure))
    given = {"in_place": False, "fitting": _fitting(), **more}
    return DetectorCandidate(tube=tube, bands=bands or (_outcome(),), detection=detection, **given)


def _reasons(candidate: DetectorCandidate) -> list[str]:
    (found,) = swap.rank_detectors([candidate])
    return list(found.reasons)


@pytest.mark.parametrize(
    ("degrees", "word"),
    [(0.99, "backlash below 1 degree of knob"), (1.01, "hard onset on 80 m")],
)
def test_backlash_from_a_degree_on_is_a_hard_onset(degrees: float, word: str) -> None:
    """What the hand can set (common practice, no source)."""
    found = _reasons(_detector("A", _outcome(kind=OnsetKind.HARD, degrees=degrees)))
    assert found == ["oscillates on all 1 bands", word]
    noticed = _detector("B", _outcome(kind=OnsetKind.HARD, degrees=degrees), figure=50.0)
    ranked = swap.rank_detectors([_detector("A", figure=20.0), noticed])
    assert [c.tube for c in ranked] == (["A", "B"] if degrees > 1.0 else ["B", "A"])


def test_how_oscillation_comes_in_is_said_as_far_as_it_is_known() -> None:
    soft, unseen = _outcome("80 m"), _outcome("40 m", kind=None, degrees=None)
    assert _reasons(_detector("A", soft, _outcome("40 m")))[-1] == "soft onset"
    assert _reasons(_detector("A", soft, unseen))[-1] == "soft onset, not known on 40 m"
    jumps = _outcome("20 m", kind=OnsetKind.JUMPS, degrees=0.4)
    assert _reasons(_detector("A", soft, jumps))[-1] == "backlash below 1 degree of knob"
    assert _reasons(_detector("A", unseen)) == ["oscillates on all 1 bands"]


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (Status.DOES_NOT, "does not oscillate"),
        (Status.NOT_IN_RANGE, "oscillates at the lowest setting already"),
        (Status.FAILED, "no answer"),
    ],
)
def test_bands_without_an_onset_are_named_with_what_they_do(status: Status, words: str) -> None:
    none = {"status": status, "kind": None, "degrees": None}
    some = _reasons(_detector("A", _outcome("80 m"), _outcome("40 m", **none)))
    assert some[0] == f"{words} on 40 m"
    assert _reasons(_detector("A", _outcome("80 m", **none), _outcome("40 m", **none)))[0] == (
        f"{words} on any band"
    )


@pytest.mark.parametrize(
    ("key", "works", "said"),
    [
        ("bands[1].coil.tap", True, True),
        ("bands[1].coil.winding.tap", True, True),
        ("bands[1].coil.tap", False, False),
        ("regeneration.top", True, False),
    ],
)
def test_that_other_taps_help_is_said_where_they_do(key: str, works: bool, said: bool) -> None:
    none = _outcome("40 m", status=Status.DOES_NOT, kind=None, degrees=None)
    remedy = filled(Adjustment, band="40 m", key=key, works=works)
    found = _reasons(_detector("A", _outcome("80 m"), none, remedies=(remedy,)))
    assert ("with other taps it does" in found) is said
    # one band of two that lack it is not enough
    also = _outcome("20 m", status=Status.DOES_NOT, kind=None, degrees=None)
    assert "with other taps it does" not in _reasons(_detector("A", none, also, remedies=(remedy,)))


def test_a_rating_counts_as_exceeded_above_it_alone_and_by_how_much_is_said() -> None:
    def line(value: float) -> RatingLine:
        return RatingLine("detector A", "plate dissipation", value, 2.5, "W")

    assert "ratings kept" in _reasons(_detector("A", ratings=(line(2.5),)))
    assert "plate dissipation 1.04 of the rating" in _reasons(_detector("A", ratings=(line(2.6),)))
    ranked = swap.rank_detectors(
        [_detector("LOUD", figure=90.0, ratings=(line(2.51),)), _detector("KEPT", ratings=(line(2.49),))]
    )
    assert [c.tube for c in ranked] == ["KEPT", "LOUD"]

    def audio(tube: str, value: float, gain: float) -> AudioCandidate:
        return AudioCandidate(
            tube=tube, in_place=False, fitting=_fitting(), tied=False, gain=gain, ratings=(line(value),)
        )

    heard = swap.rank_audio([audio("A", 2.6, 30.0), audio("B", 2.4, 9.0)])
    assert [(c.tube, c.reasons) for c in heard] == [
        ("B", ("within its ratings",)),
        ("A", ("plate dissipation 1.04 of the rating",)),
    ]


@pytest.mark.parametrize(
    ("own", "words"),
    [
        # a tenth of the detection goes in the tube in place: up to an eighth is no more than there
        (0.124, "takes back 12 % of the detection, no more than in the tube in place (10 %)"),
        (0.126, "takes back 13 % of the detection, 10 % in the tube in place"),
    ],
)
def test_what_a_remote_cut_off_costs_is_held_against_the_tube_in_place(own: float, words: str) -> None:
    def detection(lost: float) -> DetectionFigure:
        return filled(DetectionFigure, total_per_v=20.0, grid_per_v=30.0, plate_per_v=30.0 * lost)

    place = _detector("A", in_place=True, detection=detection(0.1))
    other = _detector("B", remote=True, detection=detection(own))
    (said,) = [c.reasons[-1] for c in swap.rank_detectors([place, other]) if c.tube == "B"]
    assert said == f"remote cut-off: the bend of its plate current {words}"
    alone = _detector("C", remote=True, detection=detection(0.2), in_place=True)
    assert _reasons(alone)[-1] == (
        "remote cut-off: the bend of its plate current takes back 20 % of the detection"
    )
    assert not any("remote" in r for r in _reasons(_detector("D", detection=detection(0.2))))


def _ranged(tube: str, low: float, high: float) -> DetectorCandidate:
    middle = (low * high) ** 0.5
    used = filled(
        Fitted,
        bands=1,
        detection=filled(DetectionFigure, total_per_v=middle),
        detection_low_per_v=low,
        detection_high_per_v=high,
    )
    return _detector(tube, fitted=used)


def test_tubes_whose_ranges_overlap_are_alike_and_the_first_that_does_not_leads_anew() -> None:
    """90 to 120, 70 to 95, 60 to 85, 40 to 55, 30 to 45: the third overlaps with the second alone."""
    made = [
        _ranged(t, *r)
        for t, r in zip("ABCDE", [(90, 120), (70, 95), (60, 85), (40, 55), (30, 45)], strict=True)
    ]
    ranked = swap.rank_detectors(made)
    assert [(c.tube, c.alike) for c in ranked] == [
        ("A", False),
        ("B", True),
        ("C", False),
        ("D", False),
        ("E", True),
    ]


@pytest.mark.parametrize(("ratio", "first"), [(1.03, "EASY"), (1.3, "LOUD")])
def test_figures_alike_within_a_tenth_leave_it_to_what_is_easier_to_fit(ratio: float, first: str) -> None:
    """The figures are put astride no step: 1.1 to the 30th is 17.4."""
    hard = replace(_fitting(), other_base=True)
    made = [
        _detector("LOUD", figure=1.1**30 * ratio, fitting=hard),
        _detector("EASY", figure=1.1**30),
    ]
    assert swap.rank_detectors(made)[0].tube == first


# ---------------------------------------------------------------------------- ranges


def test_eight_of_ten_of_a_normal_distribution_lie_within_the_range() -> None:
    """1.2816 deviations (tables of the normal distribution); n - 1 for a deviation from a sample."""
    low, high = swap._eight_of_ten([3.0, 5.0, 4.0, 8.0])
    middle, width = 5.0, (14.0 / 3.0) ** 0.5
    assert (low, high) == pytest.approx((middle - 1.28155 * width, middle + 1.28155 * width), rel=1e-4)


def test_where_tubes_of_a_type_begin_needs_three_quarters_of_them() -> None:
    def at(rotation: float, volts: float, degrees: float | None) -> Onset:
        return filled(Onset, onset=ControlSetting(rotation, volts), approach_deg=degrees)

    none = _begins(None)
    six = [at(0.30 + 0.02 * i, 18.0 + i, 5.0 + i) for i in range(6)]
    found = swap._onset_range([*six, none, none])
    assert (found.drawn, found.with_onset, found.unit) == (8, 6, "V")
    # six in even steps: mean at their middle, deviation of the sample sqrt(3.5) steps
    reach = 1.28155 * 3.5**0.5
    assert (found.knob_low, found.knob_high) == pytest.approx(
        (0.35 - 0.02 * reach, 0.35 + 0.02 * reach), rel=1e-4
    )
    assert (found.figure_low, found.figure_high) == pytest.approx((20.5 - reach, 20.5 + reach), rel=1e-4)
    assert (found.approach_low_deg, found.approach_high_deg) == pytest.approx(
        (7.5 - reach, 7.5 + reach), rel=1e-4
    )
    few = swap._onset_range([*six[:5], none, none, none])
    assert few == OnsetRange(8, 5, few.quantity, "V")
    # of six approaches one is not known: five of eight are too few
    blind = swap._onset_range([*six[:5], at(0.4, 23.0, None), none, none])
    assert blind.knob_low is not None and blind.approach_low_deg is None and blind.approach_high_deg is None


def test_a_range_ends_at_the_stops_of_the_knob() -> None:
    wide = [
        filled(Onset, onset=ControlSetting(place, volts), approach_deg=volts)
        for place, volts in ((0.02, 1.0), (0.98, 40.0))
    ]
    found = swap._onset_range(wide)
    assert (found.knob_low, found.knob_high) == (0.0, 1.0)
    assert (found.figure_low, found.approach_low_deg) == (0.0, 0.0)
    assert found.figure_high is not None and found.figure_high > 40.0


def test_taps_go_before_the_end_resistor_where_that_of_the_reference_band_works() -> None:
    def remedy(key: str, band: str, works: bool = True) -> Adjustment:
        return filled(Adjustment, key=key, band=band, works=works)

    one: Any = SimpleNamespace(band=SimpleNamespace(name="80 m"))
    top = remedy("regeneration.top", "80 m")
    here, there = remedy("bands[1].coil.tap", "80 m"), remedy("bands[2].coil.tap", "40 m")
    assert swap._chosen(one, [top, here, there]) == [here, there]
    assert swap._chosen(one, [top, remedy("bands[1].coil.tap", "80 m", False), there]) == [top]
    assert swap._chosen(one, [replace(top, works=False), there]) is None


def test_a_throttle_has_no_end_resistor_and_a_tickler_no_tap(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(swap_remedies, "top_resistor", lambda *_, **__: "top")
    monkeypatch.setattr(swap_remedies, "tap", lambda one, **__: one)

    def remedies(acts_on: str, *, tickler: object = None, status: Status = Status.OSCILLATES) -> list[object]:
        bands = [SimpleNamespace(name="80 m", coil=SimpleNamespace(tickler=tickler))]
        one: Any = SimpleNamespace(
            band=bands[0],
            build=SimpleNamespace(bands=bands, regeneration=SimpleNamespace(acts_on=acts_on)),
            receiver=SimpleNamespace(at=lambda band: f"tap of {band.name}"),
        )
        outcomes = [_outcome("80 m", status=status)]
        return list(swap._remedies(one, bands=outcomes, places={"80 m": 0.4}))

    assert remedies("screen") == remedies("plate") == ["top", "tap of 80 m"]
    assert remedies("throttle") == ["tap of 80 m"]
    assert remedies("screen", tickler=object()) == ["top"]
    assert remedies("screen", status=Status.FAILED) == ["top"]
    assert remedies("screen", status=Status.DOES_NOT) == ["top", "tap of 80 m"]
