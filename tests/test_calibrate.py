"""Calibration by readings of sets whose parts are known: drawn, read at a few points, then compared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.api._spread import plan_for
from receiver_sim.builds import shipped_build
from receiver_sim.circuit.sets import draws, moved_by
from receiver_sim.errors import WrongValue
from receiver_sim.judge.calibration import SetModel, calibrate
from receiver_sim.judge.fault_finder import Seen
from receiver_sim.judge.fault_predictions import Stand, Volt
from receiver_sim.judge.reading_spread import middles
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import FailedStage
from receiver_sim.results.calibration import Calibration, OnsetBefore, Pulled, ReadingBefore
from receiver_sim.schema import load_build_text
from receiver_sim.schema.changed_text import changed_text
from receiver_sim.schema.readings import Readings
from receiver_sim.schema.stated import spread_of
from receiver_sim.views.calibration_tables import calibration_sheet
from receiver_sim.views.sheet import as_text


@pytest.fixture(scope="module")
def stand(bench):
    build = shipped_build("tickler")
    band = build.bands[0]
    return Stand(plan_for(build, bench), band, band.middle_hz, 0.3)


NODES = (
    ("V1 plate", "plate"),
    ("V1 screen", "scr"),
    ("V2 cathode", "acath"),
    ("plate supply", "bplus"),
    ("V2 plate", "aplate"),
)


@pytest.mark.parametrize("number", [5, 11])
def test_six_readings_bring_the_other_bands_in(stand, bench, number):
    """Five readings in volts (error 1 %) and the onset of one band, of two sets drawn from all that differs
    from set to set. The range before is that in which 95 % of sets lie, 1.96 deviations to either side; a
    third of it is 1.31 deviations wide, 0.65 to either side of what was found.

    The coils of the other bands keep what is theirs alone (Q, inductance, tap): no reading on another band
    can tell it, and it is not counted here.
    """
    factors = stand.plan.factors
    by = moved_by(factors, draws(factors, seed=number, start=0, stop=1)[0])
    names = [band.name for band in stand.plan.bands]
    by = {n: v for n, v in by.items() if not any(f.name == n and f.band in names[1:] for f in factors)}
    blank = tuple(Volt(words, node, "10 Mohm", 1e7, 200.0, 0.0) for words, node in NODES)
    volts, places = SetModel(stand, Seen(blank, 0.01, {}, None)).read(bench, by, range(len(names)))
    assert None not in places
    noise = 1.0 + 0.01 * np.random.default_rng(number).standard_normal(len(NODES))
    read = tuple(replace(v, seen=float(volts[i] * noise[i])) for i, v in enumerate(blank))
    found = calibrate(stand, Seen(read, 0.01, {names[0]: places[0]}, None), bench)
    for i in range(1, len(names)):
        assert abs(found.onset_after[i] - places[i]) <= 1.96 * found.spread_before[i] / 3.0, names[i]
        # and says itself that it knows better now
        assert found.spread_after[i] < found.spread_before[i]
    # what the readings show is explained
    assert found.misfit < 1.5
    # the build that is found, assembled and searched anew, has the onset that was said; 0.002 is what the two
    # searches may differ by (|T - 1| of 3e-3 at the gentlest slope)
    again = onset.run(
        Receiver(found.build, bench, cards=found.cards).at(
            found.build.bands[1], stand.plan.bands[1].middle_hz
        )
    )
    assert again.onset.rotation == pytest.approx(found.onset_after[1], abs=2e-3)


@pytest.mark.parametrize("number", [5, 11])
def test_six_readings_of_a_whole_set_bring_the_other_bands_in(stand, bench, number):
    """The same with the coils of the other bands drawn as well, which no reading can tell: off by a third of
    the range before at most, that of 95 % of sets, 3.92 deviations wide.
    """
    factors = stand.plan.factors
    by = moved_by(factors, draws(factors, seed=number, start=0, stop=1)[0])
    names = [band.name for band in stand.plan.bands]
    blank = tuple(Volt(words, node, "10 Mohm", 1e7, 200.0, 0.0) for words, node in NODES)
    volts, places = SetModel(stand, Seen(blank, 0.01, {}, None)).read(bench, by, range(len(names)))
    noise = 1.0 + 0.01 * np.random.default_rng(number).standard_normal(len(NODES))
    read = tuple(replace(v, seen=float(volts[i] * noise[i])) for i, v in enumerate(blank))
    found = calibrate(stand, Seen(read, 0.01, {names[0]: places[0]}, None), bench)
    for i in range(1, len(names)):
        assert abs(found.onset_after[i] - places[i]) <= 3.92 * found.spread_before[i] / 3.0, names[i]


def test_a_resistor_that_is_off_is_found_and_named(stand, bench):
    """Cathode resistor 30 % high, a part of 10 %: read without noise at its two ends, what is found lies
    toward it, and no part is pulled farther."""
    factors = stand.plan.factors
    blank = tuple(Volt(words, node, "10 Mohm", 1e7, 200.0, 0.0) for words, node in NODES)
    volts, _ = SetModel(stand, Seen(blank, 0.01, {}, None)).read(bench, {"audio.cathode_resistor": 0.3}, ())
    read = tuple(replace(v, seen=float(volts[i])) for i, v in enumerate(blank))
    found = calibrate(stand, Seen(read, 0.005, {}, None), bench)
    off = found.by / found.width - middles(factors)
    moved = dict(zip((f.name for f in factors), off, strict=True))
    assert moved["audio.cathode_resistor"] > 0.5
    assert max(moved, key=lambda name: abs(moved[name])) in ("audio.cathode_resistor", "audio.tube#emission")


def test_readings_that_cannot_be_used_are_refused():
    build = shipped_build("tickler")
    nothing = Readings.model_validate({"receiver_sim_readings": 1})
    with pytest.raises(WrongValue, match="calibrate needs one reading at least: volts at a pin or an onset"):
        api.calibrate(build, nothing)
    out = {"receiver_sim_readings": 1, "volts": [{"pin": "V1 plate", "volts": "140 V", "tube": "out"}]}
    with pytest.raises(
        WrongValue, match="calibrate takes readings of the working set, every tube in its socket"
    ):
        api.calibrate(build, Readings.model_validate(out))


def test_a_build_with_what_was_found_is_one_that_loads_and_knows_its_parts(stand):
    text = changed_text(
        shipped_build("tickler"), {"audio.cathode_resistor": "1.873 kohm +-3.1 % measured"}, notes=["a note"]
    )
    assert text.startswith("# SAFETY: plate supplies kill.") and "# a note\n" in text
    again = load_build_text(text)
    assert again.audio.cathode_resistor == pytest.approx(1873.0)
    spread = spread_of(again.audio.cathode_resistor)
    assert spread is not None and spread.measured and spread.high == pytest.approx(0.031)
    same = again.model_copy(update={"audio": shipped_build("tickler").audio})
    assert same.model_dump() == shipped_build("tickler").model_dump()


def test_cells_of_a_calibration():
    found = Calibration(
        title="a set",
        pulled=(
            Pulled(
                "audio.cathode_resistor",
                "R9 cathode resistor",
                "resistor",
                "1",
                1800.0,
                1873.0,
                0.0406,
                0.058,
                0.03,
            ),
            Pulled("", "contact potential", "contact", "V", None, None, -0.043, 0.08, 0.021),
        ),
        readings=(ReadingBefore("V1 plate", 143.0, 151.25, 143.61),),
        onsets=(OnsetBefore("80 m", 0.369, 0.061, 0.412, 0.017, 0.41),),
        tap_before=0.0412,
        tap_after=0.0473,
        hum_before_v=1.2e-3,
        hum_after_v=0.9e-3,
        hum_pot_before=0.42,
        hum_pot_after=0.47,
        misfit=0.83,
        notes=(),
        cautions=("c",),
        failed=(FailedStage("hum as built", "no solution", None),),
    )
    sheet = calibration_sheet(found)
    onsets, pulled, readings = (section.parts[0] for section in sheet.sections[:3])
    assert onsets.rows == (("80 m", "36.9", "6.1", "41.2", "1.7", "41.0"),)
    assert pulled.rows == (
        ("contact potential", "-", "-", "-0.043 V", "0.080 V", "0.021 V"),
        ("R9 cathode resistor", "1.800 kohm", "1.873 kohm", "4.1 %", "5.8 %", "3.0 %"),
    )
    assert readings.rows == (("V1 plate", "143.00", "151.25", "143.61"),)
    text = " ".join(as_text(sheet).split())
    assert "4.12 % of the turns before, 4.73 % after" in text
    assert "1.20 mV with the hum pot at 42 % before, 900 uV at 47 % after" in text
    assert " X FAILED hum as built: no solution" in text
