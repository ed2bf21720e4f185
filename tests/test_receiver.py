"""What is measured at a dial setting is measured once, and a circuit that stays loaded survives a failure."""

from __future__ import annotations

from collections import Counter

import pytest

from receiver_sim import api
from receiver_sim import receiver as room
from receiver_sim.circuit.mode import Mode
from receiver_sim.engine import Bench, EngineFailed
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import Standing
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Status
from receiver_sim.schema import Build


@pytest.fixture
def one_band(demo: Build) -> Build:
    """The demo with its second coil alone."""
    return demo.model_copy(update={"bands": demo.bands[1:2]})


def test_a_dial_setting_is_measured_once(bench: Bench, demo: Build) -> None:
    receiver = Receiver(demo, bench)
    band = demo.bands[1]
    tuned = receiver.at(band)
    assert receiver.at(band) is tuned and receiver.at(band, band.to) is not tuned
    found = tuned.onset
    assert found.status is Status.OSCILLATES and found.onset is not None
    mode = tuned.mode(found.onset.rotation)
    ran = bench.evaluations
    assert tuned.onset is found and tuned.mode(found.onset.rotation) is mode
    assert bench.evaluations == ran
    assert tuned.mode(0.3) is not mode and bench.evaluations > ran


def test_without_a_tuning_there_is_no_mode(bench: Bench, demo: Build) -> None:
    receiver, band = Receiver(demo, bench), demo.bands[0]
    lost = onset.failed(band, 3.6e6, "ngspice would not")
    with pytest.raises(NoAnswer, match=rf"^{band.name}: ngspice would not$"):
        receiver.at(band, search=lost).mode(0.5)


def test_check_measures_no_mode_twice_and_loads_little_again(
    bench: Bench, one_band: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It measured every mode twice, and loaded one deck in four again."""
    measured: Counter[tuple[str, float]] = Counter()
    real = room.tuned_mode

    def counted(tuned: Tuned, *, tuning: float, rotation: float) -> Mode:
        measured[tuned.band.name, rotation] += 1
        return real(tuned, tuning=tuning, rotation=rotation)

    monkeypatch.setattr(room, "tuned_mode", counted)
    before = bench.loaded
    report = api.check(one_band, bench=bench)
    ran = bench.loaded - before
    assert report.failed == ()
    assert measured and set(measured.values()) == {1}
    # what is left: loop gain after its onset, the onset at other line voltages, d.c., hum by its paths;
    # and the drawn sets, which start from the receiver's own circuit, a load for each of the two workers
    assert sum(ran.values()) - len(ran) <= 7 + 2


def test_onset_on_a_circuit_left_loaded_is_that_of_one_loaded_anew(bench: Bench, demo: Build) -> None:
    band, cards = demo.bands[1], api.cards_for(demo)
    anew = onset.run(Receiver(demo, bench).at(band, band.to))
    with Standing(bench, onset.plan(demo, cards, band=band, dial_hz=band.to)) as standing:
        onset.measured(standing.on(), band=band, dial_hz=band.to)
        again = onset.measured(standing.on(), band=band, dial_hz=band.to)
        kept = standing.on()
        assert kept is standing.on()
        kept.set("rnowhere", 1.0)
        with pytest.raises(EngineFailed):
            kept.volts()
        assert standing.on() is not kept
        fresh = onset.measured(standing.on(), band=band, dial_hz=band.to)
    assert anew.onset is not None and again.onset is not None and fresh == anew
    # the search ends within 3e-4 of T = 1; the solver begins elsewhere
    assert again.onset.rotation == pytest.approx(anew.onset.rotation, rel=1e-4)


def test_tuned_of_a_search_that_was_made_does_not_search(bench: Bench, demo: Build) -> None:
    band = demo.bands[0]
    lost = onset.failed(band, 3.6e6, "not asked")
    ran = bench.evaluations
    assert Tuned(Receiver(demo, bench), band, 3.6e6, search=lost).onset is lost
    assert bench.evaluations == ran
