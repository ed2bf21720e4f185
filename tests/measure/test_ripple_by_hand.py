"""The ripple of a supply by its lines, stated or of a rectifier, and noise of the tubes ahead: by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from receiver_sim.measure.ripple import Ripple, ripple_of
from receiver_sim.measure.tubes_ahead import noise_at
from receiver_sim.schema import Build
from receiver_sim.schema.supply import SettledSupply


def _supplied(build: Build, **changes: Any) -> Build:
    return build.model_copy(update={"supply": build.supply.model_copy(update=changes)})


def test_a_stated_ripple_is_a_sine_from_peak_to_peak(demo: Build) -> None:
    """2 mV from peak to peak are 1 mV of peak, 0.707 mV r.m.s.; as the e.m.f. of the supply."""
    found = ripple_of(demo)
    assert found.lines == ((100.0, pytest.approx(1e-3 / math.sqrt(2.0)), None),)
    assert (found.at_receiver, found.frequency_hz) == (False, 100.0)
    assert found.first_v == found.lines[0][1]


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_a_ripple_without_a_frequency_is_that_of_a_full_wave(demo: Build, mains: float) -> None:
    """Twice the mains."""
    build = _supplied(demo, ripple_frequency=None)
    build = build.model_copy(update={"mains": build.mains.model_copy(update={"frequency": mains})})
    assert ripple_of(build).frequency_hz == 2.0 * mains


def test_a_rectifiers_lines_are_known_at_the_receiver(demo: Build) -> None:
    """A half-wave one begins at the mains itself; the line that counts is that of the stated frequency."""
    lines = ((50.0, 3e-3, 0.2), (100.0, 5e-3, -1.1))
    supply = SettledSupply.model_construct(
        kind="dc", volts=240.0, resistance=150.0, ripple=0.02, ripple_frequency=100.0, bleeder=None,
        sections=(), harmonics=lines, peak_volts=340.0,
    )  # fmt: skip
    found = ripple_of(demo.model_copy(update={"supply": supply}))
    assert (found.lines, found.at_receiver, found.frequency_hz) == (lines, True, 100.0)
    assert found.first_v == 5e-3
    bare = supply.model_copy(update={"harmonics": ()})
    assert ripple_of(demo.model_copy(update={"supply": bare})).at_receiver is False


def test_lines_stand_at_their_orders_in_phase_with_the_heaters() -> None:
    """The winding's e.m.f. is a sine, the heater's phasor a cosine: order n is n quarter periods ahead. What
    has no known phase has none; what lies beyond the orders asked for is left out.
    """
    lines = ((50.0, 3.0, 0.2), (100.0, 5.0, -1.1), (150.0, 7.0, None), (400.0, 9.0, 0.0))
    found = Ripple(lines, True, 100.0).phasors(50.0, count=4)
    due = [
        3.0 * np.exp(1j * (0.2 + math.pi / 2.0)),
        5.0 * np.exp(1j * (-1.1 + math.pi)),
        7.0,
        0.0,
    ]
    assert found == pytest.approx(np.array(due), abs=1e-12)


def test_noise_of_several_tubes_adds_as_power() -> None:
    """3 nV times 4 and 5 nV times 2.4 are 12 and 12 nV: 17 nV together; each probe alone is driven."""
    gain = {"va": 4.0j, "vb": -2.4 + 0j}
    driven: list[str] = []

    @contextmanager
    def drive(probe: str) -> Iterator[None]:
        driven.append(probe)
        yield
        driven.append("")

    def ac(low: float, high: float, points: int, vectors: list[str]) -> dict[str, Any]:
        assert (low, high, points, vectors) == (7e6, 7e6, 1, ["frequency", "top"])
        return {"top": np.array([gain[driven[-1]]])}

    on: Any = SimpleNamespace(driven=drive, session=SimpleNamespace(ac=ac))
    found = noise_at(on, {"va": 3e-9, "vb": 5e-9}, node="top", frequency=7e6)
    assert found == pytest.approx(12e-9 * math.sqrt(2.0))
    assert driven == ["va", "", "vb", ""]
