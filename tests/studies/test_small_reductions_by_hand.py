"""What studies make of a few figures given by hand: detection, noise, hum, safe volts, cover, sets, ohms."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import cards_for
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.mode import Mode
from receiver_sim.measure.tube_jig import JigReading
from receiver_sim.results.base import Status
from receiver_sim.results.coils import CoilRange, Overlap, Span
from receiver_sim.results.envelope import AmplitudeMap, Oscillation
from receiver_sim.results.onset import ControlSetting
from receiver_sim.results.spread import SetOnset
from receiver_sim.schema import Build
from receiver_sim.schema.coil_figures import LinkFigures
from receiver_sim.studies import (  # fmt: skip
    breakthrough,
    detection_figure,
    distortion,
    hum_modulation,
    pin_chart,
    signal_noise,
    spread,
    start_up,
    tuning_range,
)
from tests.helpers.filling import filled

# ---------------------------------------------------------------------------- detection and noise

TUBE = JigReading(
    plate_a=2e-3, screen_a=0.5e-3, grid_a=1e-7, gm=1.1e-3, gk=1.3e-3, gm_slope=0.4e-3, grid_conductance=2e-6,
    grid_curvature=13e-6,
)  # fmt: skip


def test_grid_and_plate_detect_against_each_other() -> None:
    """A carrier adds A^2/4 times the second derivative to each current, and modulated in full it swings by
    twice that: half of it. The grid's share flows out of the node and lowers the plate current, the plate's
    own bend raises it: where grid current and control node work in phase on the load they subtract.
    """
    by_current, by_grid = 2.1e6 + 0.4e6j, -37.0 + 5.0j
    found = detection_figure.reduce(TUBE, by_current=by_current, by_grid=by_grid, grid_v=-0.4)
    grid, plate = -0.5 * 13e-6 * by_current, 0.5 * (0.4e-3 / 1.1e-3) * by_grid
    assert found.grid_per_v == pytest.approx(0.5 * 13e-6 * math.hypot(2.1e6, 0.4e6))
    assert found.plate_per_v == pytest.approx(0.5 * 0.4 / 1.1 * math.hypot(37.0, 5.0))
    assert found.total_per_v == pytest.approx(abs(grid + plate))
    assert found.audio_gain == pytest.approx(math.hypot(37.0, 5.0))
    assert (found.gm_siemens, found.grid_v) == (1.1e-3, -0.4)
    against = detection_figure.reduce(TUBE, by_current=-by_current, by_grid=by_grid, grid_v=-0.4)
    assert against.total_per_v < max(found.grid_per_v, found.plate_per_v) < found.total_per_v


def test_a_tube_ahead_adds_its_noise_to_the_others(demo: Build) -> None:
    """Resistances in series add: 4 k T R of what comes from ahead, counted without
    regeneration.
    """
    multiplied, density = 3.1 - 0.4j, 29e-9
    plain: dict[str, Any] = {
        "band": demo.bands[0], "frequency": 1.9e6, "multiplied": multiplied, "thermal": 47e-9, "tank": 31e-9,
        "aerial": None, "tube_ohm": 2700.0,
    }  # fmt: skip
    without, found = signal_noise.reduce(**plain), signal_noise.reduce(**plain, ahead=density)
    # 4 k T at 290 to 300 K
    due = (density / abs(multiplied)) ** 2 / (4.0 * 1.380649e-23 * 295.0)
    assert found.stage_ohm == pytest.approx(due, rel=0.03) and without.stage_ohm == 0.0
    total = 2700.0 + found.circuit_ohm
    for one, other in zip(found.weakest, without.weakest, strict=True):
        assert one.grid_v / other.grid_v == pytest.approx(math.sqrt((total + found.stage_ohm) / total))
        assert one.aerial_v is None
    assert (found.aerial_gain, found.ratio_db, found.tube_ohm) == (None, 10.0, 2700.0)


# ---------------------------------------------------------------------------- hum on the oscillation

MODE = Mode(
    reference_hz=7.1e6, decay=3e4, offset_rad=0.0, residue=-8e9, grid=0.9, cathode=0.1, plate=0.0, screen=0.0,
    aerial=None, misfit=0.0,
)  # fmt: skip


def test_hum_modulates_amplitude_and_frequency_through_the_tank() -> None:
    """C a' = drive - G a: a drive of I per unit makes a = I/(C (jw + loss)), with the loss of the tank less
    what the tube gives back; C a phi' = cross, which also follows the amplitude. Peaks are root two of r.m.s.
    """
    frequency = np.array([50.0, 100.0])
    held = hum_modulation.Answer(frequency, np.array([2.1 + 0.3j, 2.0 + 0.5j]), np.array([0.7 - 0.1j, 0.6j]),
                                 np.ones(2, dtype=complex))  # fmt: skip
    drive, cross = np.array([3e-4 - 1e-4j, 2e-4j]), np.array([5e-5 + 2e-5j, -4e-5 + 0j])
    found = hum_modulation.reduce(held, (drive, cross), mode=MODE, amplitude=3.7, cross_ma=0.9, rotation=0.44)
    farad, w = 1.0 / 8e9, 2.0 * np.pi * frequency
    swing = 1e-3 * drive / (farad * (1j * w + 3e4) - 1e-3 * held.drive)
    turn = 1e-3 * (cross + (held.cross - 0.9 / 3.7) * swing) / (farad * 3.7)
    assert found.depth == pytest.approx(np.sqrt(2.0) * np.abs(swing) / 3.7)
    assert found.swing_hz == pytest.approx(np.sqrt(2.0) * np.abs(turn) / (2.0 * np.pi))
    assert (found.rotation, found.amplitude_v) == (0.44, 3.7)


def test_a_beat_note_is_listened_to_a_hundredth_above_onset() -> None:
    """24 V at onset: 24.24 V, on a map of 60 V a turn; its amplitude is the map's there."""
    rotation = np.linspace(0.4, 0.9, 51)
    known = filled(AmplitudeMap, rotation=rotation, amplitude_v=20.0 * (rotation - 0.4),
                   rest_screen_v=60.0 * rotation, rest_value=None)  # fmt: skip
    found = filled(Oscillation, onset=ControlSetting(0.4, 24.0), amplitudes=known)
    assert hum_modulation.setting(found) == (pytest.approx(0.404), pytest.approx(0.08))
    for beyond in (ControlSetting(0.4, 54.0), ControlSetting(0.4, 23.0)):
        assert hum_modulation.setting(replace(found, onset=beyond)) is None
    assert hum_modulation.setting(replace(found, amplitudes=None)) is None


# ---------------------------------------------------------------------------- sound over time


def test_lines_of_a_course_are_root_mean_squares_in_their_order() -> None:
    """A sine of 1 V peak is 0.707 V; a third of 0.2 V and a second of 0.1 V make 22.4 % of distortion."""
    time = np.linspace(0.0, 12e-3, 12 * 160 + 1)
    w = 2.0 * np.pi * 1000.0
    course = 0.3 + np.sin(w * time) + 0.1 * np.cos(2.0 * w * time) - 0.2 * np.sin(3.0 * w * time)
    found = np.abs(distortion.lines(time, course, tone=1000.0))
    due = np.array([1.0, 0.1, 0.2, *np.zeros(7)]) / np.sqrt(2.0)
    assert found.size == 10 and found == pytest.approx(due, abs=1e-6)
    assert distortion.thd(found) == pytest.approx(math.hypot(0.1, 0.2), rel=1e-5)
    assert distortion.thd(np.zeros(10)) == 0.0


# ---------------------------------------------------------------------------- safe volts


def course(*volts: float) -> tuple[np.ndarray, np.ndarray]:
    return np.arange(len(volts), dtype=float), np.array(volts)


@pytest.mark.parametrize(
    ("off", "bleeder", "reached", "words"),
    [
        ((300.0, 120.0, 30.0), 75e3, 1.5, "below 60 V after 2 s with the bleeder alone: wait, then measure"),
        ((300.0, 60.6, 60.6), 75e3, None,
         "still above the safe volts at the end of the run: fit a lower bleeder"),
        ((300.0, 59.4, 30.0), 75e3, math.log(5.0) / math.log(300.0 / 59.4), "below 60 V after 1 s"),
        ((300.0, 120.0, 30.0), None, 1.5,
         "no bleeder: the capacitors stay charged for hours: discharge them by hand and measure"),
        ((40.0, 30.0, 20.0), 75e3, 0.0, "below 60 V after 0 s"),
    ],
)  # fmt: skip
def test_how_long_a_supply_stays_charged_is_said(
    off: tuple[float, ...], bleeder: float | None, reached: float | None, words: str
) -> None:
    """60 V d.c. are safe to touch when dry (IEC 61140, from memory); from 120 V to 30 it is half of an octave
    of two: the middle.
    """
    found = start_up.reduce(course(0.0, 310.0, 290.0), course(*off), surge_a=0.9, closed=4.0, bleeder=bleeder)
    assert found.safe_v == 60.0 and found.text.startswith(words)
    assert found.discharge_s == (None if reached is None else pytest.approx(reached))
    assert (found.surge_a, found.closed_s, found.highest_v) == (0.9, 4.0, 310.0)
    assert (found.on_v[0], found.on_v[-1], found.off_v[0], found.off_v[-1]) == (0.0, 290.0, off[0], off[-1])
    assert (found.on_s[-1], found.off_s[-1]) == (2.0, 2.0)


# ---------------------------------------------------------------------------- coils and stations


def reach(name: str, low: float, high: float) -> CoilRange:
    return filled(CoilRange, band=name, low_hz=low, high_hz=high)


def test_coils_cover_bands_whole_in_part_or_not_at_all() -> None:
    """80 m is 3.5 to 3.8 MHz in region 1 (ITU), 40 m 7.0 to 7.2 MHz: the first coil ends within 80 m, a
    second one takes up below and ends above, nothing reaches 40 m.
    """
    ranges = [reach("a", 2.0e6, 3.6e6), reach("b", 3.55e6, 5.0e6), reach("c", 9.0e6, 16.0e6)]
    found = tuning_range.coverage(ranges, year=2020, region=1, unmeasured=("d",))
    bands = {one.name: one for one in found.services if one.service == "amateur"}
    assert (bands["80 m"].coils, bands["80 m"].missing) == (("a", "b"), ())
    assert bands["40 m"].coils == () and bands["40 m"].missing == (Span(7.0e6, 7.2e6),)
    assert bands["20 m"].coils == ("c",)
    # 160 m is 1.81 to 2.0 MHz: it ends where the first coil begins
    assert bands["160 m"].coils == ()
    assert found.gaps == (Span(5.0e6, 9.0e6),)
    assert found.overlaps == (Overlap("a", "b", 3.55e6, 3.6e6),)
    assert (found.year, found.region, found.unmeasured) == (2020, 1, ("d",))


def test_a_dial_is_looked_at_in_equal_ratios_with_the_middle_of_its_band(demo: Build) -> None:
    band = demo.bands[1]
    found = tuning_range.whole_dial(band, reach("x", 3.0e6, 12.0e6), 3)
    assert found == pytest.approx(sorted([3.0e6, 6.0e6, 12.0e6, math.sqrt(band.from_ * band.to)]))
    alone = tuning_range.whole_dial(band, None, 2)
    assert (alone[0], alone[-1]) == pytest.approx((band.from_, band.to))


@pytest.mark.parametrize(
    ("left", "unshielded", "due"),
    [(1.3e-12, 5.1e-12, (1.3e-12, "as built")), (5.1e-12, 5.1e-12, (0.05 * 5.1e-12, "assumed"))],
)
def test_a_shield_is_taken_as_built_or_tried(left: float, unshielded: float, due: tuple[float, str]) -> None:
    """One that is not there is tried with a twentieth left: an assumption, and said to be."""
    link = filled(LinkFigures, winding=None, capacitance=left, unshielded=unshielded)
    farad, kind = breakthrough._shielded_farad(link)
    assert (farad, kind) == (pytest.approx(due[0]), due[1])
    assert breakthrough._shielded_farad(None) == (None, "none")


# ---------------------------------------------------------------------------- many sets


def test_sets_of_a_band_are_counted_by_what_they_do() -> None:
    """Six oscillate, and of these one has no approach; each of the others is counted under its own name."""
    there = [
        SetOnset(Status.OSCILLATES, 0.1 * n, 10.0 * n, 1.0, None if n == 6 else 2.0 * n) for n in range(1, 7)
    ]
    others = [Status.DOES_NOT] * 2 + [Status.NOT_IN_RANGE] * 3 + [Status.FAILED] * 4
    found = spread.band_spread(
        "40 m", [*there, *(SetOnset(status) for status in others)], quantity="q", unit="F"
    )
    assert (found.band, found.sets, found.oscillating, found.silent, found.always, found.failed) == (
        "40 m", 15, 6, 2, 3, 4,
    )  # fmt: skip
    # of 0.1 to 0.6 the tenth, the half, nine tenths: between ranks, as any textbook has it
    assert (found.knob_low, found.knob_middle, found.knob_high) == pytest.approx((0.15, 0.35, 0.55))
    assert (found.figure_low, found.figure_middle, found.figure_high) == pytest.approx((15.0, 35.0, 55.0))
    assert (found.approach_low_deg, found.approach_middle_deg, found.approach_high_deg) == pytest.approx(
        (2.8, 6.0, 9.2)
    )
    assert (found.quantity, found.unit) == ("q", "F")
    none = spread.band_spread("40 m", [SetOnset(Status.DOES_NOT)])
    assert (none.knob_low, none.knob_middle, none.figure_high, none.approach_low_deg) == (None,) * 4


def test_a_set_is_whole_where_every_verdict_holds() -> None:
    rows = {("a", "x"): [True, True, False, True], ("b", "y"): [True, False, True, True]}
    assert spread.all_held(rows) == 2


# ---------------------------------------------------------------------------- the ohmmeter


def test_an_ohmmeter_sees_neither_tubes_nor_supply(demo: Build) -> None:
    """With the set off no tube conducts, supply and regulator are open; the bleeder is what a meter finds."""
    band = demo.bands[0]
    circuit = receiver_circuit(demo, cards_for(demo), band=band, dial_hz=band.to, rotation=0.0)
    off = pin_chart.switched_off(circuit, ["plate", "plate", "scr"])
    left = {one.name for one in off.elements}
    assert not left & {socket.tube for socket in circuit.sockets.values()}
    assert not any(one.kind == "d" for one in off.elements)
    assert {one.name for one in circuit.elements if one.about.key == "supply.bleeder"} <= left
    assert {name for name in left if name.startswith("iohm_")} == {"iohm_plate", "iohm_scr"}


@pytest.mark.parametrize(("ohm", "shown"), [(19.8e6, 19.8e6), (20.2e6, None)])
def test_above_twenty_megohms_a_pin_is_open(ohm: float, shown: float | None) -> None:
    point: Any = SimpleNamespace(node="n", socket="", tube="", number="", words="w")
    row = pin_chart._row(point, {None: {"n": (71.0, ())}}, {"n": ohm})
    assert (row.off_ohm, row.true_v, row.with_tube, row.without_tube) == (shown, 71.0, (), ())


def test_a_row_of_the_chart_has_its_tube_in_and_out() -> None:
    point: Any = SimpleNamespace(node="n", socket="audio", tube="6C5", number="3", words="plate")
    seen = {None: {"n": (171.0, ("in",))}, "audio": {"n": (188.0, ("out",))}, "detector": {}}
    row = pin_chart._row(point, seen, {"n": 5e3})  # type: ignore[arg-type]
    assert (row.true_v, row.with_tube, row.without_tube, row.off_ohm) == (171.0, ("in",), ("out",), 5e3)
    assert (row.socket, row.tube, row.pin, row.words, row.node) == ("audio", "6C5", "3", "plate", "n")
