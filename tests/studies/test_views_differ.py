"""Where the loop gain and the balance of amplitudes tell of different onsets, the page says so."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api import _listen
from receiver_sim.api._found import first_found
from receiver_sim.builds import opened
from receiver_sim.circuit.views.envelope import imposed_circuit
from receiver_sim.engine import Bench
from receiver_sim.measure import imposed_amplitude as imposed
from receiver_sim.measure import views_compared
from receiver_sim.measure.loaded import loaded
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.schema import load_build
from receiver_sim.studies import amplitude, listening
from tests.helpers import cycles

HARD = Path(__file__).parents[1] / "hard_builds"
WITHOUT_BYPASS = HARD / "plate_without_bypass.yaml"


def test_a_set_that_one_view_lets_start_and_the_other_not_is_told_of(bench: Bench) -> None:
    """The plate's own swing comes back through the tube: of the loop gain's 1.0 at onset the tank as one
    resonance has none. An IndexError before."""
    build = load_build(WITHOUT_BYPASS)
    report = api.onset(build, modes=False, bench=bench)
    (band,) = report.bands
    found = band.oscillation
    assert found.status is Status.OSCILLATES and found.onset is None and found.amplitudes is None
    (said,) = found.warnings
    assert said.startswith("by its loop gain the set starts at 95 % of the knob, but")
    assert "no setting of the control sustains a small amplitude" in said
    with opened(bench) as open_bench:
        loop = Receiver(build, open_bench).at(build.bands[0]).onset
    assert loop.onset is not None and loop.onset.rotation == pytest.approx(0.95, abs=0.005)


def test_onsets_a_hands_setting_apart_are_told_of(bench: Bench) -> None:
    build = api.shipped_build("demo")
    with opened(bench) as open_bench:
        tuned = Receiver(build, open_bench).at(build.bands[0])
        found = amplitude.run(tuned, time_runs=False)
        loop = tuned.onset
    assert loop.onset is not None and views_compared.onsets(found, loop) is None
    rotation = loop.onset.rotation
    for moved, told in ((0.009, False), (0.011, True), (-0.011, True)):
        elsewhere = replace(loop, onset=replace(loop.onset, rotation=rotation + moved))
        said = views_compared.onsets(found, elsewhere)
        assert (said is not None) == told
    assert f"starts at {100.0 * (rotation - 0.011):.0f} % of the knob" in str(said)
    assert f"small amplitudes are sustained from {100.0 * rotation:.0f} %" in str(said)


def test_detection_without_amplitudes_says_what_it_tells(bench: Bench) -> None:
    """It said that the onset lies at the very top of the control, which lies at 95 %."""
    found = api.detect(load_build(WITHOUT_BYPASS), bench=bench)
    assert not any("very top" in said for said in found.notes)
    assert "AM is told as if nothing oscillated, over the whole control; no beat note is told" in found.notes


@pytest.mark.parametrize(("rotation", "grows"), [(0.92, False), (0.97, True)])
def test_every_cycle_has_the_onset_of_the_loop_gain(bench: Bench, rotation: float, grows: bool) -> None:
    """The advice to trust it: 10 mV in the tank die 3 % of the knob below, and grow 2 % above."""
    build = load_build(WITHOUT_BYPASS)
    tuned = Receiver(build, bench).at(build.bands[0])
    assert tuned.onset.tuning_farad is not None
    _, heights = cycles.run(
        tuned, tuning=tuned.onset.tuning_farad, rotation=rotation, start_v=0.01, cycles=150
    )
    assert (heights[-1] > 2.0 * heights[5]) == grows
    assert (heights[-1] < 0.5 * heights[5]) != grows


def test_a_plate_without_volts_sustains_nothing(bench: Bench) -> None:
    """A balance of the tank as one resonance would have 1.2 V at the top of the control; by every cycle
    10 mV die."""
    build = load_build(HARD / "plate_without_volts.yaml")
    report = api.onset(build, bands=["49 m"], modes=False, bench=bench)
    found = report.bands[0].oscillation
    assert found.status is Status.DOES_NOT and found.amplitudes is None and found.once_started is None
    assert found.warnings[0].startswith(
        "by its loop gain nothing starts the set, but with the tank taken as one resonance the top of the "
        "control sustains a small amplitude: "
    )
    tuned = Receiver(build, bench).at(build.bands[0])
    assert tuned.onset.tuning_farad is not None
    _, heights = cycles.run(tuned, tuning=tuned.onset.tuning_farad, rotation=1.0, start_v=0.01, cycles=150)
    assert heights[-1] < 0.5 * heights[5]
    assert np.all(np.diff(heights[5:]) < 0.0)


def test_stops_agree_unless_they_are_far_from_it(bench: Bench) -> None:
    """A loop gain between 0.95 and 1.05 is that of an onset at the stop, where either view may have it."""
    build = load_build(HARD / "plate_without_volts.yaml")
    onset = Receiver(build, bench).at(build.bands[0]).onset
    volts = np.array([1e-3, 1.0])

    def looked(pays: float) -> imposed.Looked:
        one = imposed.Surplus(volts, np.array([pays, -1.0]))
        return imposed.Looked(one, None, None, None, one, (volts, volts))

    for status, pays, told in (
        (Status.DOES_NOT, 0.06, True), (Status.DOES_NOT, 0.04, False), (Status.DOES_NOT, -0.5, False),
        (Status.NOT_IN_RANGE, -0.06, True), (Status.NOT_IN_RANGE, -0.04, False),
        (Status.NOT_IN_RANGE, 0.5, False),
    ):  # fmt: skip
        said = views_compared.stops(looked(pays), replace(onset, status=status))
        assert (said is not None) == told
    assert said is None
    lower = views_compared.stops(looked(-0.5), replace(onset, status=Status.NOT_IN_RANGE))
    assert "starts at every setting, but" in str(lower) and "lower stop sustains no small" in str(lower)


def test_an_amplitude_that_the_control_hardly_changes_is_told(bench: Bench) -> None:
    """It oscillates at every setting; exit 3 before, as no setting can be told from an amplitude."""
    build = load_build(HARD / "amplitude_all_the_same.yaml")
    found = api.onset(build, modes=False, bench=bench).bands[0].oscillation
    assert found.status is Status.NOT_IN_RANGE and found.amplitudes is None
    words = re.fullmatch(
        r"the control hardly changes its strength: (\S+) V at the lower stop, (\S+) V at the top",
        found.warnings[1],
    )
    assert found.warnings[0] == "it oscillates all over the control" and words is not None
    # what each stop sustains, by imposing amplitudes there; three digits are printed
    tuned = Receiver(build, bench).at(build.bands[0])
    circuit = imposed_circuit(build, tuned.cards, tuned.mode(0.0), amplitude=1.0, rotation=0.0)
    for wiper, told in zip((0.0, 1.0), words.groups(), strict=True):
        with loaded(bench, circuit) as on:
            paid = imposed.surplus(on, tuned.mode(0.0), wiper=wiper, highest=2.0)
        assert float(told) == pytest.approx(imposed.ends(paid), rel=2e-3)


def test_its_sound_is_run_in_short_stretches(bench: Bench) -> None:
    """Without a map of amplitudes nobody looked whether it squegs: one run of it took more than a minute."""
    found = first_found(Receiver(load_build(HARD / "amplitude_all_the_same.yaml"), bench), None)
    restless = _listen._moves_by_itself(found.tuned.receiver, found, [(0.0, 0.5)])
    assert restless is not None and restless.stretch_s == listening.SQUEGGING_S
    assert "from rest it squegs at" in restless.note
    still = first_found(Receiver(load_build(HARD / "plate_without_volts.yaml"), bench), "49 m")
    assert _listen._moves_by_itself(still.tuned.receiver, still, [(0.0, 0.5)]) is None
