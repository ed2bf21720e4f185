"""The regulator that feeds the regeneration control: zener or gas tube, in conduction or not."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.schema import Build


def regulator_values(build: Build) -> dict[str, float]:
    """Return breakdown and series resistance so that volts and slope at the printed current are those
    printed.

    ngspice's junction in breakdown has the slope n k T/(q I) = 25.9 mV / I; the rest of the printed impedance
    is RS.
    """
    regulator = build.regulator
    assert regulator is not None
    thermal = 0.025865 / regulator.current  # kT/q at 300.15 K, ngspice's default temperature
    series = max(regulator.held_impedance - thermal, 1e-3)
    return {
        "dropper": regulator.dropper,
        "current": regulator.current,
        "slope": series,
        "breakdown": regulator.held_volts - regulator.current * series,
    }


@form("regulator", "shunt")
def shunt(site: Site) -> Sequence[Block]:
    """Return dropper and regulator in conduction."""
    return [filled("regulator_shunt.cir", regulator_values(site.build))]


@form("regulator", "unlit")
def unlit(site: Site) -> Sequence[Block]:
    """Return the dropper alone: the gas tube has not struck."""
    assert site.build.regulator is not None
    return [filled("regulator_unlit.cir", {"dropper": site.build.regulator.dropper})]
