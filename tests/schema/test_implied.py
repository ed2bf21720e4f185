"""What follows from other keys where it is left out, and that nothing stated is changed."""

from __future__ import annotations

import pytest

from receiver_sim.builds import shipped_build
from receiver_sim.physics.core_loss import usual_core_resistance
from receiver_sim.schema import Build, changed_build


def changed(name: str, **changes: str | None) -> Build:
    return changed_build(
        shipped_build(name), {key.replace("__", "."): value for key, value in changes.items()}
    )


@pytest.mark.parametrize(("mains", "ripple"), [("50 Hz", 100.0), ("60 Hz", 120.0)])
def test_ripple_comes_twice_a_period_where_nobody_says_so(mains: str, ripple: float) -> None:
    """Of a full-wave rectifier: any textbook."""
    bare = changed("demo", supply__ripple_frequency=None, mains__frequency=mains)
    assert bare.supply.ripple_frequency == ripple
    stated = changed("demo", supply__ripple_frequency="50 Hz", mains__frequency=mains)
    assert stated.supply.ripple_frequency == 50.0


def test_a_throttle_turns_half_round_and_has_no_fixed_capacitor_beside_it() -> None:
    """A variable capacitor turns through 180 deg; a fixed one across it would be part of it."""
    bare = changed("throttle", regeneration__rotation=None)
    assert bare.regeneration.rotation == 180.0
    assert changed("throttle", regeneration__rotation="270 deg").regeneration.rotation == 270.0
    assert shipped_build("throttle").detector.rf_filter.plate_capacitor == 0.0
    stated = changed("throttle", detector__rf_filter__plate_capacitor="33 pF")
    assert stated.detector.rf_filter.plate_capacitor == pytest.approx(33e-12)
    # behind a control of another kind the usual one stays
    demo = changed("demo", detector__rf_filter__plate_capacitor=None)
    assert demo.detector.rf_filter.plate_capacitor > 0.0


def test_a_regulator_of_a_type_has_the_figures_of_its_sheet() -> None:
    """0B2: 108 V, 5 to 30 mA (RCA sheet); what the build states goes before."""
    bare = shipped_build("mains_set").regulator
    assert bare is not None
    assert (bare.volts, bare.minimum_current, bare.maximum_current) == (108.0, 5e-3, 30e-3)
    stated = changed("mains_set", regulator__volts="106 V").regulator
    assert stated is not None and (stated.volts, stated.maximum_current) == (106.0, 30e-3)


def test_iron_has_its_usual_loss() -> None:
    """As the eddy currents of common laminations give it (`physics.core_loss`)."""
    demo = shipped_build("demo")
    assert demo.audio is not None
    assert demo.audio.output.core_loss == pytest.approx(usual_core_resistance(55.0))
    assert demo.detector.load.core_loss == pytest.approx(usual_core_resistance(420.0))
    cabin = shipped_build("cabin")
    assert cabin.audio is not None
    assert cabin.audio.output.core_loss == pytest.approx(usual_core_resistance(18.0))
    stated = changed("demo", audio__output__core_loss="1 Mohm")
    assert stated.audio is not None and stated.audio.output.core_loss == 1e6
