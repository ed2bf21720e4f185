"""The plate supply: a d.c. source, or a rectifier that has been run with its filter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.schema.supply import SettledSupply


def _values(site: Site) -> dict[str, Any]:
    supply = site.build.supply
    return {
        "volts": supply.volts,
        "resistance": max(supply.resistance, CONTACT_OHM),
        "bleeder": supply.bleeder,
    }


@form("supply", "dc")
def dc(site: Site) -> Sequence[Block]:
    """Return a source with its resistance."""
    supply = site.build.supply
    assert supply.kind != "rectifier"
    return [filled("supply_dc.cir", {**_values(site), "capacitor": supply.capacitor})]


@form("supply", "filtered")
def filtered(site: Site) -> Sequence[Block]:
    """Return a rectifier as a source with its slope, and its filter."""
    supply = site.build.supply
    assert isinstance(supply, SettledSupply)
    nodes = [*(f"psec{i}" for i in range(len(supply.sections))), "bplus"]
    sections = [
        {
            "index": i + 1,
            "left": nodes[i],
            "right": nodes[i + 1],
            "resistance": max(section.resistance, CONTACT_OHM),
            "inductance": section.inductance,
            "capacitor": section.capacitor,
            "series_resistance": section.series_resistance,
        }
        for i, section in enumerate(supply.sections)
    ]
    return [filled("supply_filtered.cir", {**_values(site), "sections": sections})]
