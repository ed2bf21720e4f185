"""Hum: each path alone against its closed form, the null of the hum pot, d.c. heaters."""

import numpy as np
import pytest

from receiver_sim import api
from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.physics.tube_law import grid_current
from receiver_sim.receiver import Receiver
from receiver_sim.schema import Build
from receiver_sim.studies import audio_response, hum
from tests.decks import receiver_deck

QUIET = {"grid_a": 0.0, "grid_b": 0.0, "cathode_a": 0.0, "cathode_b": 0.0, "leakage": 1e11}


def _coupled(build: Build, **detector: float) -> Build:
    """Return the build with only the stated heater couplings of the detector, and a supply without ripple."""
    none = build.detector.heater_coupling.model_copy(update=QUIET)
    one = none.model_copy(update=detector)
    return build.model_copy(
        update={
            "detector": build.detector.model_copy(update={"heater_coupling": one}),
            "audio": build.audio.model_copy(update={"heater_coupling": none}),
            "supply": build.supply.model_copy(update={"ripple": 0.0}),
        }
    )


def test_heater_to_grid_alone_has_its_closed_form(bench: Bench, demo: Build, demo_cards: Cards) -> None:
    """Volts at the grid: V p jwC Zg, Zg of leak, capacitors and grid conductance; times the gain from the
    grid.
    """
    capacitance, position = 0.23e-12, 0.7
    build = _coupled(demo, grid_a=capacitance)
    build = build.model_copy(
        update={"heater": build.heater.model_copy(update={"hum_pot_position": position})}
    )
    band, rotation = build.bands[2], 0.25
    found = hum.run(Receiver(build, bench).at(band, band.to), rotation=rotation)
    response = audio_response.run(Receiver(build, bench).at(band, band.to), rotation=rotation)
    with bench.session(
        receiver_deck(build, demo_cards, band=band, dial_hz=band.to, rotation=rotation)
    ) as session:
        v = session.op()
    grid_v, law = float(v["grid"][0]), demo_cards.detector.law()
    conductance = (
        float(grid_current(law, grid_v=grid_v + 1e-4) - grid_current(law, grid_v=grid_v - 1e-4)) / 2e-4
    )
    omega = 2 * np.pi * build.mains.frequency
    det, tube = build.detector, demo_cards.detector.capacitances
    shunt = det.grid_capacitor + det.strays.grid + tube.cgk + capacitance
    impedance = 1 / (1 / det.grid_leak + conductance + 1j * omega * shunt)
    at_grid = build.heater.volts * position * omega * capacitance * abs(impedance)
    gain = np.interp(build.mains.frequency, response.outputs[0].frequency_hz, response.outputs[0].gain)
    # the input loading's blocking capacitor (a few pF of 140) and interpolation of the gain in 30 points a
    # decade: 2 %
    assert found.outputs[0].at_build_v == pytest.approx(at_grid * gain, rel=0.02)


@pytest.mark.parametrize(("a", "b"), [(0.15e-12, 0.10e-12), (0.30e-12, 0.10e-12), (0.15e-12, 0.20e-12)])
def test_the_null_lies_where_the_two_ends_balance(bench: Bench, demo: Build, a: float, b: float) -> None:
    """C_a V p = C_b V (1 - p), so p = C_b/(C_a + C_b); it moves when one capacitance is doubled."""
    build = _coupled(demo, grid_a=a, grid_b=b)
    band = build.bands[0]
    found = hum.run(Receiver(build, bench).at(band, band.from_), rotation=0.2)
    output = found.outputs[0]
    # the pot's resistance against the capacitances' megohms: nothing; the fit's straight line is exact
    assert output.best_position == pytest.approx(b / (a + b), abs=2e-3)
    assert output.best_v < 0.01 * output.mains_v.max()


def test_direct_current_on_the_heaters_leaves_only_ripple(bench: Bench, demo: Build) -> None:
    build = demo.model_copy(update={"heater": demo.heater.model_copy(update={"supply": "dc"})})
    band = build.bands[0]
    found = hum.run(Receiver(build, bench).at(band, band.to), rotation=0.2)
    ac = hum.run(Receiver(demo, bench).at(band, band.to), rotation=0.2)
    for output, with_ac in zip(found.outputs, ac.outputs, strict=True):
        assert output.mains_v.max() == 0.0
        assert output.at_build_v == pytest.approx(output.ripple_v, rel=1e-12)
        assert output.ripple_v > 0.0
        assert with_ac.mains_v.max() > 0.0


def test_ripple_scales_with_the_supply(bench: Bench, cabin: Build) -> None:
    """Linear analysis: three times the ripple, three times the hum; frequency defaults to twice the mains."""
    band = cabin.bands[0]
    one = hum.run(Receiver(cabin, bench).at(band, band.to), rotation=0.5)
    supply = cabin.supply.model_copy(update={"ripple": 3 * cabin.supply.ripple})
    three = hum.run(
        Receiver(cabin.model_copy(update={"supply": supply}), bench).at(band, band.to), rotation=0.5
    )
    assert one.ripple_hz == 120.0
    for low, high in zip(one.outputs, three.outputs, strict=True):
        assert high.ripple_v == pytest.approx(3 * low.ripple_v, rel=1e-9)


def test_null_of_known_phasors() -> None:
    positions = np.linspace(0, 1, 11)
    phasors = (2 + 1j) * (positions - 0.37) + 0.3j * (2 + 1j)  # the part at right angles cannot be nulled
    assert hum.null(positions, phasors) == pytest.approx(0.37, abs=1e-12)


def test_api_audio_and_hum_use_the_same_setting(bench: Bench, demo: Build) -> None:
    audio = api.audio(demo, band="40 m", bench=bench)
    assert api.hum_study(demo, band="40 m", bench=bench).setting.rotation == audio.setting.rotation
