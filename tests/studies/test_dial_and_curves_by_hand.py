"""A dial of padded capacitors and the curves of a tube, in closed form; widths nearest to onset."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.circuit.roles import Place
from receiver_sim.results.tube_curves import PrintedMark
from receiver_sim.schema import Band, Build, changed_build
from receiver_sim.schema.card import card_for
from receiver_sim.schema.coil_figures import coil_figures
from receiver_sim.studies import coil_sheet, resonance, tube_curves, tuning_range
from tests.helpers.filling import filled

NOBODY: Any = None

# ---------------------------------------------------------------------------- capacitors of a dial

PADDED = {"series": "30 pF", "parallel": "7 pF", "bandspread_series": "15 pF"}
"""Main capacitor 10 to 155 pF, band spread 4 to 42 pF, strays 11 pF: the shipped set of plug-in coils."""


def in_series(one: float, other: float) -> float:
    return 1.0 / (1.0 / one + 1.0 / other)


def spread_set(padding: dict[str, str] | None = None) -> tuple[Build, Band]:
    build = changed_build(shipped_build("plugin_coils"), {"bands[2].padding": padding or PADDED})
    return build, build.bands[2]


def capacitance(main: float, spread: float) -> float:
    """Return the tuning capacitance, pF, straight in both rotations."""
    return 11.0 + 7.0 + in_series(10.0 + 145.0 * main, 30.0) + in_series(4.0 + 38.0 * spread, 15.0)


@pytest.mark.parametrize(("main", "spread"), [(0.0, 0.0), (0.3, 0.5), (1.0, 0.5), (0.62, 0.95)])
def test_padders_stand_in_series_each_with_its_own_capacitor(main: float, spread: float) -> None:
    """And back: the rotation of either that gives what both give together."""
    dial = tuning_range.Dial(*spread_set())
    total = 1e-12 * capacitance(main, spread)
    assert dial.tuning(main, spread) == pytest.approx(total)
    # two roundings of some 1e-16 over a swing of a tenth of the whole
    assert dial.main_for(total, spread) == pytest.approx(main, abs=1e-12)
    assert dial.spread_for(total, main) == pytest.approx(spread, abs=1e-12)
    assert dial.tuning(main) == pytest.approx(1e-12 * capacitance(main, 0.5))
    assert dial.main_for(1e-12 * capacitance(main, 0.5)) == pytest.approx(main, abs=1e-12)


def test_what_the_stops_or_the_padder_do_not_let_through_has_no_rotation() -> None:
    dial = tuning_range.Dial(*spread_set())
    for total in (capacitance(0.0, 0.5) - 0.01, capacitance(1.0, 0.5) + 0.01, 18.0 + 30.1 + 40.0, 5.0):
        assert dial.main_for(1e-12 * total) is None
    for total in (capacitance(0.5, 0.0) - 0.01, capacitance(0.5, 1.0) + 0.01):
        assert dial.spread_for(1e-12 * total, 0.5) is None


def test_travel_is_that_of_the_capacitor_that_is_the_dial(demo: Build) -> None:
    changes = {"tuning.rotation": "270 deg", "tuning.bandspread.rotation": "200 deg"}
    build = changed_build(shipped_build("plugin_coils"), changes)
    dial = tuning_range.Dial(build, build.bands[2])
    assert (dial.spread, dial.travel) == (True, pytest.approx(200.0))
    plain = tuning_range.Dial(changed_build(demo, {"tuning.rotation": "270 deg"}), demo.bands[0])
    assert (plain.spread, plain.travel) == (False, pytest.approx(270.0))


OTHER = 20e-12
"""What tube and aerial add."""


class _Tank:
    """A tank of a coil and the capacitors alone."""

    def __init__(self, _: Any, *, band: Band) -> None:
        self._henry = coil_figures(band.coil).inductance
        self.mode = SimpleNamespace(q=93.0, rp=41e3, capacitance=77e-12)

    def tune(self, frequency: float, *, q: float) -> tuple[float, Any]:
        return 1.0 / ((2.0 * math.pi * frequency) ** 2 * self._henry) - OTHER, self.mode

    def guess(self, tuning: float, *, near: float, near_tuning: float) -> float:
        return self.resonance(tuning, guess=near, q=1.0)

    def resonance(self, tuning: float, *, guess: float, q: float) -> float:
        return 1.0 / (2.0 * math.pi * math.sqrt(self._henry * (tuning + OTHER)))


def ranged(monkeypatch: pytest.MonkeyPatch, build: Build, band: Band) -> Any:
    @contextmanager
    def loaded(*_: Any) -> Iterator[Any]:
        yield NOBODY

    monkeypatch.setattr(tuning_range, "loaded", loaded)
    monkeypatch.setattr(tuning_range, "plan", lambda *_, **__: NOBODY)
    monkeypatch.setattr(tuning_range, "Tank", _Tank)
    receiver: Any = SimpleNamespace(build=build, cards=NOBODY, bench=NOBODY)
    return tuning_range.run(receiver, band=band)


def test_a_band_is_spread_from_a_twentieth_below_the_top_of_its_dial(monkeypatch: pytest.MonkeyPatch) -> None:
    """The low end of the band stands at 95 % of the band-spread capacitor, which fixes the main one; with
    that left there the high end and all marks follow. The range counts with the spread half way.
    """
    build, band = spread_set()
    henry = coil_figures(band.coil).inductance

    def hertz(pico: float) -> float:
        return 1.0 / (2.0 * math.pi * math.sqrt(henry * (1e-12 * pico + OTHER)))

    def needed(frequency: float) -> float:
        return 1e12 / ((2.0 * math.pi * frequency) ** 2 * henry) - 1e12 * OTHER

    # a band that this coil reaches for certain
    main, low, high = 0.37, hertz(capacitance(0.37, 0.95)), hertz(capacitance(0.37, 0.2))
    band = band.model_copy(update={"from_": low, "to": high})
    found = ranged(monkeypatch, build, band)
    assert (found.band, found.from_hz, found.to_hz, found.dial) == (band.name, low, high, "band spread")
    assert (found.low_hz, found.high_hz) == pytest.approx(
        (hertz(capacitance(1, 0.5)), hertz(capacitance(0, 0.5)))
    )
    assert found.main_rotation == pytest.approx(main, abs=1e-9)
    assert (found.band_low, found.band_high) == pytest.approx((0.95, 0.2), abs=1e-9)
    assert needed(low) == pytest.approx(capacitance(main, 0.95))
    assert found.middle_hz == pytest.approx(math.sqrt(low * high))
    assert found.reactance_ohm == pytest.approx(2.0 * math.pi * found.middle_hz * henry)
    assert (found.loaded_q, found.rp_ohm, found.total_farad, found.travel_deg) == (93.0, 41e3, 77e-12, 180.0)
    assert [m.rotation for m in found.marks] == pytest.approx([n / 12 for n in range(13)])
    assert [m.frequency_hz for m in found.marks] == pytest.approx(
        [hertz(capacitance(main, n / 12)) for n in range(13)]
    )
    # df/d(degree) = -f/(2 C) dC/d(rotation)/180; in series the capacitor counts by (15/(15 + c))^2
    for n in (4, 6, 8):
        c, whole = 4.0 + 38.0 * n / 12, capacitance(main, n / 12) + 20.0
        slope = -hertz(capacitance(main, n / 12)) / (2.0 * whole) * 38.0 * (15.0 / (15.0 + c)) ** 2 / 180.0
        # a parabola over two marks of a curve that bends by a third from one to the next
        assert found.marks[n].slope_hz_per_deg == pytest.approx(slope, rel=0.06)


def test_a_band_beyond_the_main_capacitor_has_no_dial(monkeypatch: pytest.MonkeyPatch, demo: Build) -> None:
    build, band = spread_set()
    far = band.model_copy(update={"from_": 25e6, "to": 26e6})
    found = ranged(monkeypatch, build, far)
    assert (found.main_rotation, found.band_low, found.band_high, found.marks) == (None, None, None, ())
    # without a band-spread capacitor each edge is asked for by itself, and the marks are there in any case
    plain = demo.bands[2].model_copy(update={"to": 80e6})
    found = ranged(monkeypatch, demo, plain)
    assert (found.dial, found.main_rotation, found.band_high) == ("main", None, None)
    assert found.band_low is not None and len(found.marks) == 13


def test_a_slope_is_that_of_a_parabola_through_three_marks_at_the_ends_too(demo: Build) -> None:
    """Of a frequency that is a parabola of a straight-line capacitance it is exact."""
    dial = tuning_range.Dial(changed_build(demo, {"tuning.law": "capacitance"}), demo.bands[0])
    start, swing = dial.tuning(0.0), dial.tuning(1.0) - dial.tuning(0.0)

    def frequency(farad: float) -> float:
        x = (farad - start) / swing
        return 7e6 - 2e6 * x + 5e5 * x * x

    for mark in tuning_range._marks(dial, None, frequency):
        assert mark.frequency_hz == pytest.approx(7e6 - 2e6 * mark.rotation + 5e5 * mark.rotation**2)
        assert mark.slope_hz_per_deg == pytest.approx((-2e6 + 1e6 * mark.rotation) / dial.travel)


@pytest.mark.parametrize(("former", "assumed", "far"), [("pine", True, False), (None, False, True)])
def test_a_sheet_says_what_is_assumed_of_its_coil(
    monkeypatch: pytest.MonkeyPatch, demo: Build, former: str | None, assumed: bool, far: bool
) -> None:
    monkeypatch.setattr(coil_sheet, "former_by_name", lambda _: former)
    monkeypatch.setattr(coil_sheet, "former_assumed", lambda _: assumed)
    monkeypatch.setattr(coil_sheet, "self_extrapolated", lambda _: far)
    found = coil_sheet.sheet(demo.bands[0])
    assert (found.former, found.former_assumed, found.self_extrapolated) == (former, assumed, far)


# ---------------------------------------------------------------------------- nearest to onset


class _Swept:
    """A tank of some width whose sweeps are noted."""

    def __init__(self, width: float) -> None:
        self.width, self.session, self.spans = width, self, []

    def node(self, place: Place) -> str:
        return place.name

    def tune(self, _: float) -> None: ...

    def turn(self, _: float) -> None: ...

    def drive(self, _: Any) -> None: ...

    def ac(self, start: float, stop: float, points: int, **_: Any) -> dict[str, np.ndarray]:
        self.spans.append(0.5 * (stop - start))
        frequency = np.linspace(start, stop, points)
        return {
            "frequency": frequency + 0j,
            Place.HOT_END.name: 1.0 / (1.0 + 2j * (frequency - 7.1e6) / self.width),
        }


@pytest.fixture
def swept(monkeypatch: pytest.MonkeyPatch, demo: Build) -> Any:
    """Return what puts such a tank in the place of the circuit and gives the band, its coil of that Q."""

    def put(on: _Swept, *, dial_hz: float, q: float) -> Any:
        @contextmanager
        def loaded(*_: Any) -> Iterator[Any]:
            yield on

        monkeypatch.setattr(resonance, "loaded", loaded)
        monkeypatch.setattr(resonance, "plan", lambda *_, **__: NOBODY)
        monkeypatch.setattr(resonance.resonance_curve, "curve", lambda *_, **__: np.zeros(1))
        coil = demo.bands[1].coil.model_copy(update={"q": q})
        return SimpleNamespace(build=demo, cards=NOBODY, bench=NOBODY, dial_hz=dial_hz,
                               band=demo.bands[1].model_copy(update={"coil": coil}))  # fmt: skip

    return put


@pytest.mark.parametrize(
    ("width", "gain", "spans"),
    [
        (5.0, 0.999_99, [48.0]),  # 4 x 12 kHz: a thousandth at least
        (5.0, 1.2, [48.0]),
        (30.0, 0.9995, [48.0]),
        (60.0, 0.998, [96.0]),
        (7e3, 0.9, [4.8e3]),
        (20e3, 0.9, [4.8e3, 12e3]),
    ],
)
def test_a_width_is_looked_for_no_nearer_than_a_thousandth_of_the_tanks_own(
    swept: Any, width: float, gain: float, spans: list[float]
) -> None:
    on = _Swept(width)
    tuned = swept(on, dial_hz=7.1e6, q=7.1e6 / 12e3)
    _, (found,) = resonance.run(tuned, tuning=77e-12, settings=[(0.4, 7.1e6)], gains=[gain])
    assert on.spans == pytest.approx(spans)
    # 121 points over the span: what is narrower than some of them is found within a tenth
    assert found == pytest.approx(width, rel=0.1)


def test_a_sharp_coil_is_looked_at_forty_hertz_to_either_side_at_least(swept: Any) -> None:
    """12 MHz and Q 6000: four widths of 2 kHz, a thousandth of which are 8 Hz."""
    on = _Swept(7.0)
    tuned = swept(on, dial_hz=12e6, q=6000.0)
    resonance.run(tuned, tuning=77e-12, settings=[(0.4, 7.1e6)], gains=[1.0])
    assert on.spans == [pytest.approx(40.0)]


# ---------------------------------------------------------------------------- curves of a tube


class _Jig:
    """A tube of 1 mA a volt above -8 V of grid, a hundredth more for each volt of the plate, and a tenth
    more for each of the screen.
    """

    def __init__(self) -> None:
        self.at = {"vp": 0.0, "vs": 0.0, "vg": 0.0}
        self.swept: list[Any] = []

    def alter(self, which: str, value: float, kind: str) -> None:
        assert kind == "dc"
        self.at[which] = value

    def dc(self, source: str, start: float, stop: float, step: float) -> dict[str, np.ndarray]:
        self.swept.append((source, start, stop, step, dict(self.at)))
        values = start + step * np.arange(round((stop - start) / step) + 1)
        at = {**{k: np.full(values.size, v) for k, v in self.at.items()}, source: values}
        plate = 1e-3 * np.maximum(at["vg"] + 8.0, 0.0) * (1.0 + 0.01 * at["vp"]) * (1.0 + 0.1 * at["vs"])
        node = {"vp": "p", "vs": "s", "vg": "gs"}[source]
        return {node: values, "vp#branch": -plate, "vs#branch": -0.2 * plate}


def mark(plate_v: float, screen_v: float | None, grid_v: float) -> PrintedMark:
    return filled(PrintedMark, plate_v=plate_v, screen_v=screen_v, grid_v=grid_v)


CARD: Any = SimpleNamespace(
    ratings=SimpleNamespace(plate=300.0),
    points=[SimpleNamespace(grid=-3.0), SimpleNamespace(grid=None), SimpleNamespace(grid=-7.0)],
    facts=[SimpleNamespace(grid=-6.0)],
)  # fmt: skip


def test_curves_go_down_to_twice_the_deepest_bias_of_the_sheet() -> None:
    assert tube_curves._deepest(CARD) == -14.0
    fact: Any = SimpleNamespace(points=[], facts=[SimpleNamespace(grid=-9.0)])
    assert tube_curves._deepest(fact) == -18.0
    # what is used near no bias at all goes down to 10 V
    slight: Any = SimpleNamespace(points=[SimpleNamespace(grid=-1.0)], facts=[])
    assert tube_curves._deepest(slight) == -10.0


def test_plate_lines_cover_the_rating_and_all_that_is_printed() -> None:
    """To 300 V of the rating, or a mark beyond it; a line for each bias printed with the
    family's screen volts, the even ones found with the plate at the first mark's volts.
    """
    jig: Any = _Jig()
    printed = (mark(250.0, 100.0, -3.1), mark(350.0, 100.0, -1.5), mark(100.0, 90.0, -2.6))
    lines = tube_curves._plate_family(jig, CARD, 100.0, printed)
    # down to 3 % of the current at no bias, 7.76 V: in steps of a volt, 3.1 V in the place of 3 V
    assert [line.grid_v for line in lines] == pytest.approx(
        [0.0, -1.0, -1.5, -2.0, -3.1, -4.0, -5.0, -6.0, -7.0], abs=0.0
    )
    assert jig.swept[0][:3] == ("vg", -14.0, 0.0) and jig.swept[0][4] == {"vp": 250.0, "vs": 100.0, "vg": 0.0}
    for line in lines:
        assert line.plate_v == pytest.approx(np.linspace(0.0, 350.0, 151), abs=1e-9)
        due = 1e-3 * (line.grid_v + 8.0) * (1.0 + 0.01 * line.plate_v) * 11.0
        assert line.plate_a == pytest.approx(due) and line.screen_a == pytest.approx(0.2 * due)
    bare: Any = _Jig()
    lines = tube_curves._plate_family(bare, CARD, None, (mark(250.0, None, -3.1),))
    assert {line.screen_a for line in lines} == {None} and lines[0].plate_v[-1] == pytest.approx(300.0)
    # without any print, at half of the rating
    alone: Any = _Jig()
    tube_curves._plate_family(alone, CARD, None, ())
    assert alone.swept[0][4]["vp"] == 150.0


def test_a_transfer_line_for_each_pair_of_plate_and_screen_volts_in_print() -> None:
    jig: Any = _Jig()
    printed = (mark(250.0, 100.0, -3.1), mark(100.0, None, -2.0), mark(250.0, 100.0, -1.5))
    first, second = tube_curves._transfers(jig, CARD, printed)
    assert (first.plate_v, first.screen_v, second.plate_v, second.screen_v) == (250.0, 100.0, 100.0, None)
    # 14 V over 1.6, deeper than 1.3 times 3.1 V
    assert first.grid_v == pytest.approx(np.linspace(-8.75, 0.0, 151), abs=1e-9)
    assert first.plate_a[-1] == pytest.approx(8e-3 * 3.5 * 11.0)
    # no screen volts are set for a tube that has none: they stay what they were
    assert jig.swept[1][4] == {"vp": 100.0, "vs": 100.0, "vg": 0.0}
    deep: Any = _Jig()
    (line,) = tube_curves._transfers(deep, CARD, (mark(250.0, 100.0, -9.0),))
    assert line.grid_v[0] == pytest.approx(-11.7)


def test_printed_biases_are_shown_up_to_three(monkeypatch: pytest.MonkeyPatch) -> None:
    """The family has the screen volts of the first mark that has any, the floating grid goes up to the most
    that print or rating has; of five biases with a printed gm the first three pairs are shown, each once.
    """
    asked: list[Any] = []

    @contextmanager
    def loaded(*_: Any) -> Iterator[Any]:
        yield SimpleNamespace(session="session")

    def gm_line(_: Any, **how: Any) -> str:
        asked.append(how)
        return f"line {len(asked)}"

    printed = (
        filled(PrintedMark, plate_v=250.0, screen_v=None, grid_v=-9.0, gm_siemens=None),
        *(
            filled(PrintedMark, plate_v=p, screen_v=s, grid_v=g, gm_siemens=gm)
            for p, s, g, gm in (
                (250.0, 80.0, -3.0, 1e-3), (100.0, 130.0, -3.0, 1e-3), (250.0, 90.0, -3.0, 2e-3),
                (250.0, 90.0, -2.0, None), (180.0, 90.0, -1.0, 2e-3), (170.0, 90.0, -4.0, 2e-3),
            )
        ),
    )  # fmt: skip
    monkeypatch.setattr(tube_curves, "loaded", loaded)
    monkeypatch.setattr(tube_curves, "plan", lambda *_: NOBODY)
    monkeypatch.setattr(tube_curves, "marks", lambda *_: printed)
    monkeypatch.setattr(tube_curves, "_gm_line", gm_line)
    monkeypatch.setattr(tube_curves, "_plate_family", lambda _, __, screen_v, ___: (screen_v,))
    monkeypatch.setattr(tube_curves, "_transfers", lambda *_: ("transfer",))
    card = card_for("6SJ7")
    rated = card.model_copy(update={"ratings": card.ratings.model_copy(update={"screen": 125.0})})
    bench: Any = SimpleNamespace(evaluations=41)
    found: Any = tube_curves.run(rated, bench)
    assert (found.family_screen_v, found.plate_lines, found.transfer_lines) == (80.0, (80.0,), ("transfer",))
    assert found.gm_lines == ("line 1", "line 2", "line 3", "line 4")
    assert [(one["plate_v"], one["bias_v"]) for one in asked] == [
        (100.0, None), (250.0, -3.0), (100.0, -3.0), (180.0, -1.0),
    ]  # fmt: skip
    assert {one["top"] for one in asked} == {130.0} and found.evaluations == 0
    assert found.marks == printed and not found.tied
    tied: Any = tube_curves.run(rated, bench, connection="triode")
    assert (tied.tied, tied.gm_lines, tied.family_screen_v, tied.screen_range) == (True, (), None, None)
