"""Curves of a tube at volts that are asked for, and marks of points made up: each in its place."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from receiver_sim.engine import Bench
from receiver_sim.physics.tube_law import grid_current, small_signal
from receiver_sim.schema.card import Point, card_for
from receiver_sim.studies import tube_curves

CARD = card_for("6SJ7")


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few points, and no families."""
    monkeypatch.setattr(tube_curves, "_GM_STEPS", 4)
    monkeypatch.setattr(tube_curves, "_plate_family", lambda *_, **__: ())
    monkeypatch.setattr(tube_curves, "_transfers", lambda *_, **__: ())


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize("plate_v", [23.0, 61.0])
def test_the_floating_grid_is_looked_at_with_the_plate_volts_asked_for(bench: Bench, plate_v: float) -> None:
    """gm and the cathode's slope are the law's at these plate volts; the grid rests where the leak of
    2.2 Mohm takes what the law says that it collects. Near the knee the plate volts count.
    """
    found = tube_curves.run(CARD, bench, detector_plate_v=plate_v)
    line = found.gm_lines[0]
    assert (line.bias_v, line.plate_v) == (None, plate_v)
    law = CARD.law()
    for screen, grid, gm, gk in zip(
        line.screen_v, line.grid_v, line.gm_siemens, line.gk_siemens, strict=True
    ):
        assert float(grid_current(law, grid_v=grid)) * 2.2e6 == pytest.approx(-grid, rel=1e-4)
        due = small_signal(law, grid_v=grid, plate_v=plate_v, screen_v=screen)
        # ngspice's derivative of the same law
        assert (gm, gk) == pytest.approx((due.gm, due.gk), rel=1e-4)
    # the screen rises to the most that print or rating has, in equal steps from the first above nothing
    top = max([*(p.screen for p in CARD.points if p.screen is not None), CARD.ratings.screen or 0.0])
    assert line.screen_v == pytest.approx(top * np.array([0.25, 0.5, 0.75, 1.0]))
    # at a fixed bias no leak is in the way: the grid rests at the bias
    for other in found.gm_lines[1:]:
        assert other.bias_v is not None and other.grid_v == pytest.approx(other.bias_v, abs=1e-6)
        assert (other.plate_v, other.bias_v) in {(m.plate_v, m.grid_v) for m in found.marks if m.gm_siemens}


@pytest.mark.usefixtures("short")
def test_what_rests_on_print_and_what_the_tube_stands_are_the_cards(bench: Bench) -> None:
    found = tube_curves.run(CARD, bench)
    assert CARD.fit is not None
    ranges = CARD.fit.range
    assert (found.plate_range, found.screen_range, found.grid_range) == (
        ranges.plate,
        ranges.screen,
        ranges.grid,
    )
    assert (found.rating_v, found.rating_w) == (CARD.ratings.plate, CARD.ratings.plate_power)
    # common practice: 100 V on the plate of a detector, 2.2 Mohm to its cathode
    assert (found.gm_lines[0].plate_v, found.leak_ohm) == (100.0, 2.2e6)
    assert (found.type, found.connection, found.tied) == ("6SJ7", "pentode", False)


def point(**given: Any) -> Point:
    plain = {
        "plate": "250 V", "screen": "100 V", "as": "pentode", "source": "sheet", "flag": "seen",
        "plate_current": "10 mA", "screen_current": "4 mA", "gm": "4500 uS",
    }  # fmt: skip
    return Point.model_validate({**plain, **given})


def test_a_mark_counts_its_volts_from_the_cathode() -> None:
    """14 mA in 100 ohm lift the cathode by 1.4 V; at a fixed bias nothing is lifted."""
    biased, fixed = point(cathode_resistor="100 ohm"), point(grid="-3 V")
    other = point(grid="-2 V", screen=None, screen_current=None, **{"as": "triode"})
    unknown = point(cathode_resistor="100 ohm", plate_current=None)
    card = CARD.model_copy(update={"points": (biased, fixed, other, unknown)})
    found = tube_curves.marks(card, "pentode")
    assert [(m.plate_v, m.screen_v, m.grid_v) for m in found] == [
        (pytest.approx(248.6), pytest.approx(98.6), pytest.approx(-1.4)),
        (pytest.approx(250.0), pytest.approx(100.0), pytest.approx(-3.0)),
    ]
    one = found[0]
    assert (one.plate_a, one.screen_a, one.gm_siemens) == pytest.approx((10e-3, 4e-3, 4.5e-3))
    assert (one.source, one.flag) == ("sheet", "seen")
    assert [m.grid_v for m in tube_curves.marks(card, "triode")] == pytest.approx([-2.0])


class _Sweep:
    """A tube whose plate current is 1 mA for each volt that the grid lies above -8 V."""

    def dc(self, source: str, start: float, stop: float, step: float) -> dict[str, np.ndarray]:
        grid = np.arange(start, stop + 0.5 * step, step)
        plate = 1e-3 * np.maximum(grid + 8.0, 0.0)
        return {"gs": grid, "vp#branch": -plate, "vs#branch": -0.25 * plate}


def test_plate_lines_go_from_no_bias_to_a_thirtieth_of_its_current() -> None:
    """8 mA at no bias: three hundredths of it are left at -7.76 V, so even steps of a volt end at -7 V."""
    found = tube_curves._biases(_Sweep(), deepest=-10.0, printed=[])  # type: ignore[arg-type]
    assert found == pytest.approx([-0.0, -1.0, -2.0, -3.0, -4.0, -5.0, -6.0, -7.0])
    # a printed bias stands in the place of the step it nearly equals, another one stands beside them
    found = tube_curves._biases(_Sweep(), deepest=-10.0, printed=[-3.1, -4.5])  # type: ignore[arg-type]
    assert found == pytest.approx([-0.0, -1.0, -2.0, -3.1, -4.0, -4.5, -5.0, -6.0, -7.0])


def test_currents_count_into_the_tube() -> None:
    """A source counts its current into its positive end, the tube's sheet into the electrode."""
    grid, plate, screen = tube_curves._current(_Sweep(), "vg", -10.0, 0.0, 2.0)  # type: ignore[arg-type]
    assert (grid[-1], plate[-1], screen[-1]) == pytest.approx((0.0, 8e-3, 2e-3))
