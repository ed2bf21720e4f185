"""Calibration by readings of sets whose parts are known: drawn, read at a few points, then compared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.builds import cards_for, dial_frequencies, shipped_build
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.moved_sets import moved, moving, value_at
from receiver_sim.errors import WrongValue
from receiver_sim.judge.calibration import _Model, calibrate
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Stand, Volt
from receiver_sim.measure import onset
from receiver_sim.results.calibration import Calibration, OnsetBefore, Pulled, ReadingBefore
from receiver_sim.schema import load_build_text
from receiver_sim.schema.changed_text import changed_text
from receiver_sim.schema.readings import Readings
from receiver_sim.views.calibration_tables import calibration_sheet
from receiver_sim.views.sheet import as_text


@pytest.fixture(scope="module")
def stand():
    build = shipped_build("tickler")
    band = build.bands[0]
    return Stand(build, cards_for(build), band, dial_frequencies(band)[1], 0.3)


def what_moves(stand: Stand):
    circuit = receiver_circuit(
        stand.build, stand.cards, band=stand.band, dial_hz=stand.dial_hz, rotation=stand.rotation
    )
    return moving(circuit, stand.build)


def test_a_moved_set_has_the_values_it_was_given(stand):
    what = what_moves(stand)
    by = [0.01 * (i + 1) for i in range(len(what))]
    build, cards = moved(stand.build, stand.cards, what, by)
    for one, deviation in zip(what, by, strict=True):
        if one.unit == "1" and "emission" not in one.name:
            stated = value_at(stand.build, one.name)
            assert value_at(build, one.name) == pytest.approx(stated * (1.0 + deviation)), one.name
    place = next(i for i, one in enumerate(what) if one.name == "audio emission")
    fit, old = cards.audio.fit, stand.cards.audio.fit
    assert fit.parameters["perveance"].value == pytest.approx(
        old.parameters["perveance"].value * (1 + by[place])
    )
    place = next(i for i, one in enumerate(what) if one.name == "detector contact")
    fit, old = cards.detector.fit, stand.cards.detector.fit
    assert fit.parameters["contact"].value == pytest.approx(old.parameters["contact"].value + by[place])
    assert stand.build == shipped_build("tickler")


@pytest.mark.parametrize("seed", [5, 11])
def test_six_readings_bring_the_other_bands_in(stand, bench, seed):
    """Five readings in volts (error 1 %) and the onset of one band; the bands not tried come within a third
    of their range before, which is one standard deviation to either side.
    """
    rng = np.random.default_rng(seed)
    what = what_moves(stand)
    by = np.array([one.deviation * rng.standard_normal() for one in what])
    # the coils' losses differ band by band and no reading of another band can tell them
    by[[i for i, one in enumerate(what) if one.name.endswith("coil.q")]] = 0.0
    nodes = (
        ("V1 plate", "plate"),
        ("V1 screen", "scr"),
        ("V2 cathode", "acath"),
        ("supply", "bplus"),
        ("V2 plate", "aplate"),
    )
    blank = tuple(Volt(words, node, "10 Mohm", 1e7, 200.0, 0.0) for words, node in nodes)
    true = _Model(stand, Seen(blank, 0.01, {}, None), what, bench)
    volts = true.volts(by) * (1.0 + 0.01 * rng.standard_normal(len(nodes)))
    names = [band.name for band in stand.build.bands]
    places = true.onsets(by, names)
    assert None not in places
    first = names[0]
    read = tuple(replace(v, seen=float(volts[i])) for i, v in enumerate(blank))
    found = calibrate(stand, Seen(read, 0.01, {first: places[0]}, None), bench)
    for i in range(1, len(names)):
        width = 2.0 * found.spread_before[i]
        assert abs(found.onset_after[i] - places[i]) <= width / 3.0, (names[i], width)
        # and says itself that it knows better now
        assert found.spread_after[i] < found.spread_before[i]
    # what the readings show is explained
    assert found.misfit < 1.5
    # cathode resistor and tube of the audio stage: the build itself, run anew, gives the calibrated onset
    build, cards = found.build, found.cards
    again = onset.run(build, cards, bench, band=build.bands[1], dial_hz=dial_frequencies(build.bands[1])[1])
    assert again.onset.rotation == pytest.approx(found.onset_after[1], abs=1e-6)


def test_readings_that_cannot_be_used_are_refused(stand):
    build = stand.build
    nothing = Readings.model_validate({"receiver_sim_readings": 1})
    with pytest.raises(WrongValue, match="calibrate needs one reading at least: volts at a pin or an onset"):
        api.calibrate(build, nothing)
    out = {"receiver_sim_readings": 1, "volts": [{"pin": "V1 plate", "volts": "140 V", "tube": "out"}]}
    with pytest.raises(
        WrongValue, match="calibrate takes readings of the working set, every tube in its socket"
    ):
        api.calibrate(build, Readings.model_validate(out))


def test_a_build_with_what_was_found_is_one_that_loads(stand):
    text = changed_text(stand.build, {"audio.cathode_resistor": "1.873 kohm"}, notes=["Calibrated: a note"])
    assert text.startswith("# SAFETY: plate supplies kill.") and "# Calibrated: a note\n" in text
    again = load_build_text(text)
    assert again.audio.cathode_resistor == pytest.approx(1873.0)
    same = again.model_copy(update={"audio": stand.build.audio})
    assert same.model_dump() == stand.build.model_dump()


def test_cells_of_a_calibration():
    found = Calibration(
        title="a set",
        pulled=(
            Pulled("audio.cathode_resistor", "R9 cathode resistor", "1", 1800.0, 1873.0, 0.0406, 0.058, 0.03),
            Pulled("detector contact", "contact potential", "V", None, None, -0.043, 0.08, 0.021),
        ),
        readings=(ReadingBefore("V1 plate", 143.0, 151.25, 143.61),),
        onsets=(OnsetBefore("80 m", 0.369, 0.061, 0.412, 0.017, 0.41),),
        tap_before=0.0412, tap_after=0.0473, hum_before_v=1.2e-3, hum_after_v=0.9e-3, hum_pot_before=0.42,
        hum_pot_after=0.47, misfit=0.83, notes=(), cautions=("c",),
    )  # fmt: skip
    sheet = calibration_sheet(found)
    onsets, pulled, readings = (section.parts[0] for section in sheet.sections)
    assert onsets.rows == (("80 m", "36.9", "6.1", "41.2", "1.7", "41.0"),)
    assert pulled.rows == (
        ("contact potential", "-", "-", "-0.043 V", "0.080 V", "0.021 V"),
        ("R9 cathode resistor", "1.800 kohm", "1.873 kohm", "4.1 %", "5.8 %", "3.0 %"),
    )
    assert readings.rows == (("V1 plate", "143.00", "151.25", "143.61"),)
    text = " ".join(as_text(sheet).split())
    assert "4.12 % of the turns before, 4.73 % after" in text
    assert "1.20 mV with the hum pot at 42 % before, 900 uV at 47 % after" in text
