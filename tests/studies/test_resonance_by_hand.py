"""Curves over frequency and over the control, of tanks and gains that are known: middles, widths, spans."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure import resonance_curve
from receiver_sim.measure.loop_gain import Sample
from receiver_sim.results.onset import GainAgainstScreen
from receiver_sim.schema import Build
from receiver_sim.studies import loop_gain, resonance, selectivity
from tests.helpers.filling import filled

NOBODY: Any = None


class _Tank:
    """A loaded set whose tank is a single resonance: its peak, width and ohms follow the knob."""

    def __init__(self, tanks: dict[float, tuple[float, float, float]]) -> None:
        self._tanks, self.session = tanks, self
        self.swept: list[tuple[float, float]] = []
        self.circuit: Any = SimpleNamespace(
            control=SimpleNamespace(
                share=lambda r: r, quantity="screen voltage", sets={"quantity": "screen voltage", "unit": "V"}
            )
        )
        self.control_vectors: list[str] = []
        self.farad: float | None = None
        self.driven_now: list[Any] = []

    def node(self, place: Place) -> str:
        return place.name

    def tune(self, farad: float) -> None:
        self.farad = farad

    def turn(self, rotation: float) -> None:
        self._at = self._tanks[rotation]

    def drive(self, which: Any, strength: float = 1.0) -> None:
        self.driven_now.append((which, strength))

    @contextmanager
    def driven(self, which: Any) -> Iterator[None]:
        self.drive(which)
        yield

    def figure(self, _run: Any, *, share: float) -> float:
        return 60.0 * share

    def ac(self, start: float, stop: float, points: int, *, vectors: Any) -> dict[str, np.ndarray]:
        self.swept.append((start, stop))
        frequency = np.linspace(start, stop, points)
        peak, width, ohm = self._at
        answer = ohm / (1.0 + 2j * (frequency - peak) / width)
        # of a loop with the gain T a volt put in at the control node leaves 1/(1 - T) there
        closed = {Place.CONTROL_NODE.name: 1.0 / (1.0 - answer)}
        return {"frequency": frequency + 0j} | {n: closed.get(n, answer) for n in vectors if n != "frequency"}


TANKS = {0.2: (7.1e6 - 3.1e3, 9e3, 21e3), 0.35: (7.1e6 + 2.4e3, 1.7e3, 190e3)}
"""By rotation: resonance, width between half-power points, ohms at the peak."""


def tuned(demo: Build) -> Any:
    build = SimpleNamespace(bench=NOBODY, build=demo, cards=NOBODY, band=demo.bands[1], dial_hz=7.1e6)
    q = 7.1e6 / 12e3
    coil = demo.bands[1].coil.model_copy(update={"q": q})
    build.band = demo.bands[1].model_copy(update={"coil": coil})
    return build


def test_a_resonance_curve_is_counted_from_the_middle_of_its_own_setting(
    demo: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control pulls the frequency: each curve has its peak at no offset, and at half a width off it has
    fallen by the root of two.
    """
    on = _Tank(TANKS)

    @contextmanager
    def given(*_: Any) -> Iterator[_Tank]:
        yield on

    monkeypatch.setattr(resonance, "loaded", given)
    monkeypatch.setattr(resonance, "plan", lambda *_, **__: NOBODY)
    settings = [(rotation, peak) for rotation, (peak, _, _) in TANKS.items()]
    curves, widths = resonance.run(tuned(demo), tuning=77e-12, settings=settings, gains=[0.25, 0.86])
    assert (on.farad, on.driven_now) == (77e-12, [(Role.TANK_CURRENT, 1.0)])
    offsets = resonance_curve.offsets()
    assert (offsets[0], offsets[-1]) == pytest.approx((-20e3, 20e3))
    for curve, width, (_, due, ohm) in zip(curves, widths, TANKS.values(), strict=True):
        assert width == pytest.approx(due, rel=3e-3)
        # above: straight lines between 121 points, 0.13 of a half width apart: 0.13^2/8 of it
        assert curve.max() == pytest.approx(ohm, rel=1e-4) and offsets[int(np.argmax(curve))] == 0.0
        # straight lines between points that lie some tens of hertz apart near the peak
        assert curve == pytest.approx(ohm / np.hypot(1.0, 2.0 * offsets / due), rel=0.03)


def test_flanks_beyond_what_is_swept_leave_no_width(demo: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tank 300 kHz wide: the third sweep reaches 4 * 12 kHz * (1 - 0.9) * 2.5^2, 30 kHz, to either side."""
    on = _Tank({0.2: (7.1e6, 300e3, 21e3)})

    @contextmanager
    def given(*_: Any) -> Iterator[_Tank]:
        yield on

    monkeypatch.setattr(resonance, "loaded", given)
    monkeypatch.setattr(resonance, "plan", lambda *_, **__: NOBODY)
    _, widths = resonance.run(tuned(demo), tuning=77e-12, settings=[(0.2, 7.1e6)], gains=[0.9])
    assert widths == [None]
    narrow = [(stop - start) / 2.0 for start, stop in on.swept[:3]]
    assert narrow == pytest.approx([4.8e3, 12e3, 30e3])


def gains(gain: Any) -> GainAgainstScreen:
    rotation = np.linspace(0.0, 1.0, 101)
    return filled(
        GainAgainstScreen, rotation=rotation, gain=gain(rotation), frequency_hz=7.1e6 + 1e3 * rotation
    )


def test_the_bandwidth_is_looked_at_where_the_control_reaches_those_gains() -> None:
    """T = 0.4 + 0.55 x up to 0.95 at the top: 0.3 and 0.98 are not on this control."""
    found = selectivity.settings(gains(lambda x: 0.4 + 0.55 * x))
    assert [one[0] for one in found] == [0.5, 0.7, 0.8, 0.9, 0.95]
    for gain, rotation, frequency in found:
        assert rotation == pytest.approx((gain - 0.4) / 0.55)
        assert frequency == pytest.approx(7.1e6 + 1e3 * rotation, rel=1e-9)


def test_only_the_rising_part_of_the_gain_is_used() -> None:
    """T = 1.2 (1 - (2 x - 1)^2) has each gain twice: the lower setting is the one that is used."""
    found = selectivity.settings(gains(lambda x: 1.2 * (1.0 - (2.0 * x - 1.0) ** 2)))
    assert [one[0] for one in found] == list(selectivity.GAINS)
    for gain, rotation, _ in found:
        # straight lines between points a hundredth apart: the curve's bend leaves 1.2e-4 in T
        assert rotation == pytest.approx(0.5 - 0.5 * np.sqrt(1.0 - gain / 1.2), abs=1e-3)


def test_width_and_peak_stand_with_the_gain_they_were_measured_at(demo: Build) -> None:
    """A tank of 12 kHz without regeneration: width and ohms go with 1 - T and its inverse."""
    curve = gains(lambda x: x)
    tanks = {
        rotation: (frequency, 12e3 * (1.0 - gain), 30e3 / (1.0 - gain))
        for gain, rotation, frequency in selectivity.settings(curve)
    }
    on, band = _Tank(tanks), tuned(demo).band
    found = selectivity.measured(on, band=band, dial_hz=7.1e6, tuning=77e-12, curve=curve)  # type: ignore[arg-type]
    assert found is not None and on.driven_now[0] == (Role.TANK_CURRENT, 1.0)
    # the vertex and the flanks are straight lines between 201 points
    assert found.unloaded_bandwidth_hz == pytest.approx(12e3, rel=2e-3)
    assert found.bandwidth_hz == pytest.approx(12e3 * (1.0 - found.gain), rel=5e-3)
    assert found.peak_ohm == pytest.approx(30e3 / (1.0 - found.gain), rel=1e-3)
    assert found.rotation == pytest.approx(found.gain, rel=1e-6)
    assert list(found.curve_gain) == [0.3, 0.8, 0.95]
    assert [one.max() for one in found.curves_ohm] == pytest.approx(
        [30e3 / (1.0 - gain) for gain in found.curve_gain], rel=1e-3
    )


class _Probe:
    def __init__(self, *_: Any, **__: Any) -> None: ...

    def tune(self, _: float) -> None: ...

    def measure(self, share: float) -> Sample:
        return Sample(share, 60.0 * share, 7.1e6 - 500.0 * share, 1.7 * share)


def test_a_nyquist_curve_shows_ten_half_widths_to_either_side(
    demo: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    """T = T0/(1 + j x) in half widths x: at ten of them, |T| is T0/sqrt(101) and the circle is closed to a
    tenth. The half width is half of f/Q; a volt put into a loop of the gain T leaves 1/(1 - T) behind it.
    """
    monkeypatch.setattr(loop_gain, "Probe", _Probe)
    width = 12e3
    on = _Tank({0.35: (7.1e6, width, 0.83), 0.55: (7.1e6, width, 1.21)})
    rotations = np.array([0.1, 0.3, 0.6])
    found, curves = loop_gain.measured(
        on, band=tuned(demo).band, dial_hz=7.1e6, tuning=77e-12, rotations=rotations,  # type: ignore[arg-type]
        nyquist=[("below", 0.35), ("above", 0.55)],
    )  # fmt: skip
    assert [(one.label, one.setting.rotation, one.setting.screen_v) for one in curves] == [
        ("below", 0.35, pytest.approx(21.0)), ("above", 0.55, pytest.approx(33.0)),
    ]  # fmt: skip
    for curve, top in zip(curves, (0.83, 1.21), strict=True):
        ends = curve.frequency_hz[[0, -1]] - 7.1e6
        assert ends == pytest.approx([-10.0 * width / 2.0, 10.0 * width / 2.0])
        size = np.abs(curve.return_ratio)
        assert size.max() == pytest.approx(top, rel=1e-9)
        assert size[[0, -1]] == pytest.approx(top / np.sqrt(101.0), rel=1e-6)
    # the source rests afterwards
    assert on.driven_now[-1] == (Role.LOOP_GAIN, 0.0)
    assert found.gain == pytest.approx(1.7 * rotations) and found.screen_v == pytest.approx(60.0 * rotations)
    assert found.frequency_hz == pytest.approx(7.1e6 - 500.0 * rotations, rel=1e-12)
