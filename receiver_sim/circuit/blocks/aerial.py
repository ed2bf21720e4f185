"""The aerial: what it is as a circuit, how it is coupled to the tank, what it adds to it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from receiver_sim.circuit.blocks.coil_link import link_beside_tickler, link_resistance, link_values
from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.limits import CONTACT_OHM, SHORT_HENRY
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.physics.aerial import dummy_antenna_impedance, short_radiation_resistance
from receiver_sim.physics.wire_aerial import effective_height, radiation_resistance
from receiver_sim.physics.wire_network import WireNetwork, wire_network
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil import Aerial
from receiver_sim.schema.coil_figures import coil_figures

STATIC_DRAIN_OHM = 100e6
"""Drain of an aerial that no resistor grounds: ngspice needs a d.c. path, and so does a real aerial in a
thunderstorm.
"""

ASSUMED_HEIGHT_M = 2.0
"""Effective height of an aerial known by R, L and C alone: an assumption, said with every figure from it."""

WIRE_TOP_HZ = 40e6
"""Frequency up to which the network of a wire aerial is made, more for a dial above."""

# The standard dummy antenna, IRE receiver standards (from memory, high): see `physics.aerial`.
_DUMMY = {"series": 200e-12, "inductance": 20e-6, "resistance": 400.0, "branch": 400e-12}


class SeriesAerial(NamedTuple):
    """R (ohm), C (F) and L (H) of an aerial in series."""

    resistance: float
    capacitance: float
    inductance: float

    def impedance(self, frequency: Any) -> Any:
        """Return the complex impedance, ohm, at a frequency (Hz)."""
        w = 2.0 * np.pi * frequency
        return self.resistance + 1j * (w * self.inductance - 1.0 / (w * self.capacitance))


def series_aerial(aerial: Aerial) -> SeriesAerial:
    """Return the R, C, L of an aerial of kind 'series'. Raises ValueError for another kind."""
    if aerial.kind != "series" or aerial.resistance is None or aerial.capacitance is None:
        raise ValueError(f"an aerial of kind '{aerial.kind}' is no series circuit")
    return SeriesAerial(aerial.resistance, aerial.capacitance, max(aerial.inductance, SHORT_HENRY))


def wire_as_network(aerial: Aerial, *, dial_hz: float) -> WireNetwork:
    """Return the network that stands for an aerial of kind 'wire', good from audio to `WIRE_TOP_HZ` at least.

    One network serves all dials up to there, so that a sweep over a dial meets one aerial; for a dial higher
    up it is made for twice as high, and so on. Raises ValueError for an aerial of another kind.
    """
    wire = aerial.wire
    if aerial.kind != "wire" or wire is None:
        raise ValueError(f"an aerial of kind '{aerial.kind}' is no wire")
    top = WIRE_TOP_HZ
    while top < 1.2 * dial_hz:
        top *= 2.0
    return _network(wire.height, wire.diameter / 2.0, wire.flat, wire.ground_resistance, top)


@lru_cache(maxsize=32)
def _network(height: float, radius: float, flat: float, ground: float, top_hz: float) -> WireNetwork:
    return wire_network(
        height, radius=radius, flat=flat, ground_resistance=max(ground, CONTACT_OHM), top_hz=top_hz
    )


def aerial_impedance(aerial: Aerial, *, dial_hz: float) -> complex:
    """Return the complex impedance, ohm, of the aerial at the dial frequency (Hz)."""
    if aerial.kind == "dummy":
        return complex(dummy_antenna_impedance(dial_hz))
    if aerial.kind == "wire":
        return complex(wire_as_network(aerial, dial_hz=dial_hz).impedance(dial_hz))
    return complex(series_aerial(aerial).impedance(dial_hz))


def aerial_capacitance(aerial: Aerial, *, dial_hz: float) -> float:
    """Return the capacitance of the aerial to ground at low frequency, F; of the dummy its series one."""
    if aerial.kind == "dummy":
        return _DUMMY["series"]
    if aerial.kind == "wire":
        return wire_as_network(aerial, dial_hz=dial_hz).capacitance
    return series_aerial(aerial).capacitance


def swung_aerial(aerial: Aerial, factor: float, *, dial_hz: float) -> dict[str, float]:
    """Return the elements of the aerial, and their values, with `factor` times its capacitance.

    A wire that swings nearer to its surroundings has more capacitance and less inductance for each metre.
    """
    if aerial.kind != "wire":
        return {"cantenna": aerial_capacitance(aerial, dial_hz=dial_hz) * factor}
    network = wire_as_network(aerial, dial_hz=dial_hz).swung(factor)
    elements = {"cwirest": network.rest}
    for index, one in enumerate(network.branches, 1):
        elements[f"cwire{index}"] = one.capacitance
        elements[f"lwire{index}"] = one.inductance
    return elements


def aerial_radiation(aerial: Aerial, *, frequency: float) -> tuple[float, float, bool]:
    """Return effective height (m), radiation resistance (ohm), and whether the height is an assumption."""
    if aerial.effective_height is None and aerial.wire is not None:
        wire = aerial.wire
        size = {"height": wire.height, "radius": wire.diameter / 2.0, "flat": wire.flat}
        return effective_height(frequency, **size), radiation_resistance(frequency, **size), False
    height = aerial.effective_height if aerial.effective_height is not None else ASSUMED_HEIGHT_M
    resistance = float(short_radiation_resistance(frequency, effective_height=height))
    return height, resistance, aerial.effective_height is None


def by_link(build: Build) -> bool:
    """Return whether the aerial itself reaches the tank through the link of the coil."""
    return build.aerial is not None and build.aerial.coupling is None and build.rf_stage is None


def floats(build: Build, band: Band) -> bool:
    """Return whether the aerial comes in by a feeder to a floating link, which it then also drives as one
    wire.
    """
    link = coil_figures(band.coil).link
    return by_link(build) and link is not None and link.floating


def added_capacitance(build: Build, band: Band, *, dial_hz: float) -> float:
    """Return the farads (maybe below zero) that coil and aerial add across the tank at the dial frequency.

    A starting value for the tuning capacitor: self-capacitance, and the reactance the aerial reflects, of
    first order. A study trims it in the deck.
    """
    figures = coil_figures(band.coil)
    total = figures.self_capacitance
    aerial = build.aerial
    if aerial is None or build.rf_stage is not None:
        return total
    w = 2.0 * np.pi * dial_hz
    impedance = aerial_impedance(aerial, dial_hz=dial_hz)
    if aerial.coupling is not None:
        return total + float((1.0 / (impedance + 1.0 / (1j * w * aerial.coupling))).imag / w)
    link = figures.link
    assert link is not None  # a check of the schema
    around = link_resistance(band, dial_hz=dial_hz) + 1j * w * link.inductance + impedance
    series = 1j * w * figures.inductance + (w * (link.to_upper + link.to_lower)) ** 2 / around
    reflected = (1.0 / series).imag + 1.0 / (w * figures.inductance)
    return total + link.capacitance + float(reflected / w)


@form("aerial", "none")
def none(site: Site) -> Sequence[Block]:
    """Return nothing: no aerial is connected."""
    return []


@form("aerial", "link")
def by_a_link(site: Site) -> Sequence[Block]:
    """Return the link at the grounded end of the coil, and the aerial on it."""
    build, band = site.build, site.band
    cold = "linkc" if floats(build, band) else "0"
    if band.coil.tickler is None:
        template, figures = "coil_link.cir", link_values(band, dial_hz=site.dial_hz)
    else:
        template, figures = "coil_link_tickler.cir", link_beside_tickler(band, dial_hz=site.dial_hz)
    made = filled(template, {"cold": cold, **figures}, says={"band": site.band_index})
    return [made, *aerial_blocks(site, feed="link", cold=cold)]


@form("aerial", "capacitor")
def by_a_capacitor(site: Site) -> Sequence[Block]:
    """Return the small capacitor to the hot end, and the aerial on it."""
    assert site.build.aerial is not None
    coupler = {"coupling": site.build.aerial.coupling, "static_drain": STATIC_DRAIN_OHM}
    return [filled("aerial_by_capacitor.cir", coupler), *aerial_blocks(site, feed="ant", cold="0")]


def aerial_blocks(site: Site, *, feed: str, cold: str) -> list[Block]:
    """Return the aerial alone, between `feed` and the node `cold` of its e.m.f.'s far end."""
    aerial = site.build.aerial
    assert aerial is not None
    if aerial.kind == "dummy":
        parts = [filled("aerial_dummy.cir", {"feed": feed, "cold": cold, **_DUMMY})]
    elif aerial.kind == "wire":
        parts = [_wire(wire_as_network(aerial, dial_hz=site.dial_hz), feed=feed, cold=cold)]
    else:
        series = series_aerial(aerial)
        parts = [filled("aerial_series.cir", {"feed": feed, "cold": cold, **series._asdict()})]
    if cold != "0":
        common = {
            "capacitance": aerial_capacitance(aerial, dial_hz=site.dial_hz),
            "static_drain": STATIC_DRAIN_OHM,
        }
        parts.append(filled("aerial_feeder.cir", common))
    return parts


def _wire(network: WireNetwork, *, feed: str, cold: str) -> Block:
    branches = [{"index": index, **one._asdict()} for index, one in enumerate(network.branches, 1)]
    values = {"feed": feed, "cold": cold, "branches": branches, "rest": network.rest, "ground": network.foot}
    return filled("aerial_wire.cir", values)
