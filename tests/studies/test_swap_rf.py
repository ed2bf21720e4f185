"""Tubes in the r.f. stage: signal, radiation and onset against closed forms and against the changed build."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim.design import swap_fitting, swap_rf
from receiver_sim.engine import Bench
from receiver_sim.errors import WrongValue
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.results.bias import RatingLine, TubePoint
from receiver_sim.results.rf_stage import FrontEnd
from receiver_sim.results.swap import Fitting, RfBand, RfCandidate, SwapReport
from receiver_sim.schema import Build, changed_build, load_build
from receiver_sim.schema.card import card_for
from tests.helpers.filling import filled
from tests.helpers.lending import cut

OTHER = "6AC7"


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    """The shipped set with r.f. stage, with its first coil: its wire is near a quarter wave long there."""
    path = Path(api.shipped_build("rf_stage").path or "")
    return load_build(cut(str(path), tmp_path_factory.mktemp("builds"), 1))


@pytest.fixture(scope="module")
def report(bench: Bench, build: Build) -> SwapReport:
    return api.swap_tubes(build, tubes=[OTHER], socket="rf", bench=bench)


@pytest.fixture(scope="module")
def points(bench: Bench, build: Build) -> dict[str, TubePoint]:
    """Bias of the stage with each tube, by the verb `bias` of the changed build."""
    sets = {"6SK7": build, OTHER: changed_build(build, {"rf_stage.tube": OTHER})}
    return {
        name: next(
            tube
            for tube in api.operating_points(one, rotations=[0.5], bench=bench)[0].tubes
            if tube.socket == "r.f."
        )
        for name, one in sets.items()
    }


def by_type(report: SwapReport) -> dict[str, RfCandidate]:
    return {c.tube: c for c in report.rf_stages}


def test_signal_goes_with_the_transconductance(report: SwapReport, points: dict[str, TubePoint]) -> None:
    """A quarter-wave aerial (some 80 ohm) holds the volts at the grid, and the plate works into the tank by
    3 pF, far below the tube's own resistance: signal goes as gm, over what loads the plate beside the 3 pF.
    """
    gm, divided = {}, {}
    for name, at in points.items():
        assert at.screen_v is not None
        own = small_signal(
            card_for(name).law(), grid_v=at.grid_v - at.cathode_v, plate_v=at.plate_v - at.cathode_v,
            screen_v=at.screen_v - at.cathode_v,
        )  # fmt: skip
        gm[name], divided[name] = own.gm, _at_plate(name, report.rf_stages[0].bands[0].dial_hz)
    expected = 20.0 * math.log10(gm[OTHER] / gm["6SK7"] * divided[OTHER] / divided["6SK7"])
    (band,) = by_type(report)[OTHER].bands
    # the tank's Q and the grid's volts differ by some per cent with the tube's input and plate
    assert band.gain_db == pytest.approx(expected, abs=0.3)
    assert by_type(report)["6SK7"].bands[0].gain_db == 0.0


def _at_plate(name: str, f: float) -> float:
    """Part of the tank's volts that stands at the plate of the shipped stage: 3 pF into what is there."""
    card, w = card_for(name), 2.0 * math.pi * f
    there = card.capacitances.cpk + card.capacitances.cgp + 4e-12 + 0.01e-12 + 1.3e-12 - 1.0 / (w**2 * 1.2e-3)
    return 3e-12 / (3e-12 + there)


def test_radiation_goes_with_what_passes_from_plate_to_grid(report: SwapReport) -> None:
    """The tank's volts at the plate drive a current through plate-to-grid capacitance and wiring (0.01 pF)
    into the low resistance of a quarter-wave aerial; its square is radiated.
    """
    (band,) = by_type(report)[OTHER].bands
    back = {
        name: (card_for(name).capacitances.cgp + 0.01e-12) * _at_plate(name, band.dial_hz)
        for name in ("6SK7", OTHER)
    }
    # the aerial is not quite without reactance, and the tube's input stands across it
    assert band.radiation_db == pytest.approx(20.0 * math.log10(back[OTHER] / back["6SK7"]), abs=0.4)


def test_onset_and_bias_are_those_of_the_changed_build(
    report: SwapReport, points: dict[str, TubePoint], bench: Bench, build: Build
) -> None:
    places = []
    for name in ("6SK7", OTHER):
        changed = changed_build(build, {"rf_stage.tube": name})
        found = Receiver(changed, bench).at(changed.bands[0]).onset
        assert found.onset is not None
        places.append(found.onset.rotation)
        candidate = by_type(report)[name]
        front = candidate.bands[0].front
        assert front.onset is not None
        # two searches stop within their own tolerance of the knob
        assert front.onset.rotation == pytest.approx(places[-1], abs=1e-4)
        assert (candidate.plate_a, candidate.screen_a, candidate.cathode_v) == pytest.approx(
            (points[name].plate_a, points[name].screen_a, points[name].cathode_v), rel=1e-6
        )
        assert {line.part for line in candidate.ratings} == {f"r.f. {name}"}
    assert by_type(report)[OTHER].bands[0].moved_rotation == pytest.approx(places[1] - places[0], abs=2e-4)


def test_what_is_tried_and_what_is_refused(build: Build, demo: Build) -> None:
    taken, left = api.candidates_for(build, "rf")
    assert {card_for(name).kind for name in taken} <= {"pentode", "tetrode"}
    assert "6SK7" in taken and "24A" in taken
    assert "6J5: no screen to feed" in left and "6F6: output tube" in left
    with pytest.raises(ValueError, match=r"^6J5 has no screen to feed in this set; name a pentode or a tetr"):
        api.swap_tubes(build, tubes=["6J5"], socket="rf")
    with pytest.raises(WrongValue, match=r"^this set has no r\.f\. stage: there is no tube in that socket"):
        api.swap_tubes(demo, socket="rf")
    bare = build.model_copy(update={"aerial": None})
    with pytest.raises(WrongValue, match=r"^this set has no aerial: "):
        api.swap_tubes(bare, socket="rf")


def test_a_filament_in_the_stage_is_not_on_a_tap(build: Build) -> None:
    one = swap_fitting.fitting(build, card_for("1T4"), card_for("6SK7"), rf=True, tap=False)
    assert "tap" not in one.heater and "it needs d.c. (a.c. in it hums)" in one.heater
    assert one.shield == "shield can, grounded"


def made(tube: str, gain: float, *, watts: float = 1.0, onset: bool = True, **more: object) -> RfCandidate:
    """A candidate on one band that radiates `watts`."""
    front = filled(FrontEnd, status=Status.OSCILLATES, aerial_gain=gain, power_w=watts)
    front = front if onset else replace(front, onset=None, status=Status.DOES_NOT)
    fitting = filled(Fitting, heater_fits=True, other_base=False, pins=())
    return RfCandidate(
        tube=tube, in_place=tube == "A", fitting=fitting, bands=(RfBand("80 m", 3.6e6, front),), **more  # type: ignore[arg-type]
    )  # fmt: skip


def test_ranks_and_ratios() -> None:
    """The larger signal leads, after whatever does not work at all; equals by the work they take."""
    over = (RatingLine("r.f. C", "plate volts", 260.0, 250.0, "V"),)
    harder = filled(Fitting, heater_fits=True, other_base=True, pins=())
    ranked = swap_rf.rank(
        [
            made("E", 99.0, failed="no convergence"),
            made("D", 90.0, onset=False),
            made("C", 80.0, ratings=over),
            replace(made("F", 4.05), fitting=harder),
            made("A", 4.0),
            made("B", 40.0, watts=0.5),
        ]
    )
    assert [(c.tube, c.rank) for c in ranked] == [("B", 1), ("A", 2), ("F", 3), ("C", 4), ("D", 5), ("E", 6)]
    (best,) = ranked[0].bands
    assert best.gain_db == pytest.approx(20.0, abs=1e-9)
    assert best.radiation_db == pytest.approx(-3.0103, abs=1e-4)
    assert ranked[0].reasons[-3:] == (
        "+20.0 dB of signal at the tank", "-3.0 dB radiated", "onset stays where it is",
    )  # fmt: skip
    assert "plate volts 1.04 of the rating" in ranked[3].reasons
    assert (
        ranked[4].reasons[0] == "no onset within the control on 80 m"
        and ranked[4].bands[0].moved_rotation is None
    )
    assert ranked[5].reasons == ("the simulation failed: no convergence",)
