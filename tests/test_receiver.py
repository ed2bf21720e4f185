"""What is measured at a dial setting is measured once, and a circuit that stays loaded survives a failure."""

from __future__ import annotations

import ast
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from receiver_sim import api
from receiver_sim import receiver as room
from receiver_sim.circuit.mode import Mode
from receiver_sim.design.tap_finder import with_tap
from receiver_sim.engine import Bench, EngineFailed
from receiver_sim.errors import NoAnswer
from receiver_sim.measure import onset
from receiver_sim.measure.loaded import Standing
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results.base import Status
from receiver_sim.schema import Build, changed_build


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
    # the drawn sets, which start from the receiver's own circuit, a load for each of the two workers; and the
    # loop gain about the onset, by which the search in the sets is led
    assert sum(ran.values()) - len(ran) <= 7 + 2 + 1


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


def test_no_function_takes_build_cards_and_bench_by_themselves() -> None:
    """They are a `Receiver`."""
    package = Path(room.__file__).parent
    taking = []
    for path in sorted(package.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                given = node.args.posonlyargs + node.args.args + node.args.kwonlyargs
                kinds = {ast.unparse(one.annotation) for one in given if one.annotation is not None}
                if kinds >= {"Build", "Cards", "Bench"}:
                    taking.append(f"{path.relative_to(package)}: {node.name}")
    assert taking == []


def test_a_changed_set_and_a_changed_coil_are_measured_by_themselves(bench: Bench, one_band: Build) -> None:
    """Guards against an onset kept for a band of the same name whose tap was moved, or for another search."""
    receiver, band = Receiver(one_band, bench), one_band.bands[0]
    as_built = receiver.at(band).onset
    lower = with_tap(band, 0.8 * band.coil.tap)
    assert receiver.at(lower).band is lower and receiver.at(lower).onset != as_built
    lost = onset.failed(band, band.middle_hz, "not asked")
    assert receiver.at(band, search=lost).onset is lost and receiver.at(band).onset is lost
    other = receiver.changed(changed_build(one_band, {"regeneration.top": "33 kohm"}))
    assert other.cards is receiver.cards and other.bench is bench
    assert other.at(band).onset.onset != as_built.onset


def test_cards_that_are_given_stay(bench: Bench, demo: Build) -> None:
    cards = replace(api.cards_for(demo))
    receiver = Receiver(demo, bench, cards=cards)
    assert receiver.cards is cards and receiver.at(demo.bands[0]).cards is cards
    drawn = replace(cards)
    assert receiver.changed(demo, drawn).cards is drawn
