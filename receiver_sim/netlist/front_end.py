"""From coil and aerial of a build to the front end of the deck: coil with tap, link, aerial, shield.

Node names a study may read: `top`, `tap`, `link` (aerial end of the link), `ant` (aerial end of the coupling
capacitor), `antz` (where the aerial's e.m.f. `vaerial` stands), `linkc` (cold end of a floating link, which
`vcommon` drives through the feeder's capacitance). Elements a study may alter: `cantenna`,
`clink`, `caerial`, `raerial`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from receiver_sim.data import folder
from receiver_sim.netlist.limits import SHORT_HENRY
from receiver_sim.netlist.templates import render
from receiver_sim.physics.aerial import (
    dummy_antenna_impedance,
    effective_height,
    radiation_resistance,
    series_equivalent,
    wire_capacitance,
    wire_impedance,
)
from receiver_sim.physics.coil_q import winding_resistance
from receiver_sim.physics.tank import parallel_resistance
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil import Aerial
from receiver_sim.schema.coil_figures import coil_figures, coil_q

STATIC_DRAIN_OHM = 100e6
"""Drain of an aerial that no resistor grounds: ngspice needs a d.c. path, and so does a real aerial in a
thunderstorm.
"""

_LEAST_FARAD = 1e-18
"""Stands for no capacitance at all."""

ASSUMED_HEIGHT_M = 2.0
"""Effective height of an aerial known by R, L and C alone: an assumption, said with every figure from it."""

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


def series_aerial(aerial: Aerial, *, dial_hz: float) -> SeriesAerial:
    """Return the series R, C, L that stand for an aerial of kind 'series' or 'wire' around `dial_hz`.

    A wire's resistance and inductance are those at the dial frequency, its capacitance the static one, so
    that the circuit also holds at medium wave.
    """
    if aerial.kind == "wire":
        wire = aerial.wire
        assert wire is not None
        size = {"height": wire.height, "radius": wire.diameter / 2.0, "flat": wire.flat}
        impedance = complex(wire_impedance(dial_hz, ground_resistance=wire.ground_resistance, **size))
        static = float(wire_capacitance(wire.height, radius=wire.diameter / 2.0, flat=wire.flat))
        return SeriesAerial(*series_equivalent(impedance, frequency=dial_hz, capacitance=static))
    if aerial.kind != "series" or aerial.resistance is None or aerial.capacitance is None:
        raise ValueError(f"an aerial of kind '{aerial.kind}' is no series circuit")
    return SeriesAerial(aerial.resistance, aerial.capacitance, max(aerial.inductance, SHORT_HENRY))


def aerial_impedance(aerial: Aerial, *, dial_hz: float) -> complex:
    """Return the complex impedance, ohm, of the aerial at the dial frequency (Hz)."""
    if aerial.kind == "dummy":
        return complex(dummy_antenna_impedance(dial_hz))
    return complex(series_aerial(aerial, dial_hz=dial_hz).impedance(dial_hz))


def aerial_capacitance(aerial: Aerial, *, dial_hz: float) -> float:
    """Return the value of the element `cantenna`, F."""
    return _DUMMY["series"] if aerial.kind == "dummy" else series_aerial(aerial, dial_hz=dial_hz).capacitance


def aerial_radiation(aerial: Aerial, *, frequency: float) -> tuple[float, float, bool]:
    """Return effective height (m), radiation resistance (ohm), and whether the height is an assumption."""
    if aerial.effective_height is None and aerial.wire is not None:
        size = {"height": aerial.wire.height, "flat": aerial.wire.flat}
        height = float(effective_height(frequency, **size))
        return height, float(radiation_resistance(frequency, **size)), False
    height = aerial.effective_height if aerial.effective_height is not None else ASSUMED_HEIGHT_M
    # 160 pi^2 (h_e/lambda)^2, textbook, as in `physics.aerial.radiation_resistance`
    resistance = 160.0 * np.pi**2 * (height * frequency / 299792458.0) ** 2
    return height, float(resistance), aerial.effective_height is None


def by_link(build: Build) -> bool:
    """Tell whether the aerial reaches the tank through the link of the coil."""
    return build.aerial is not None and build.aerial.coupling is None


def floats(build: Build, band: Band) -> bool:
    """Tell whether the aerial comes in by a feeder to a floating link, which it then also drives as one
    wire.
    """
    link = coil_figures(band.coil).link
    return by_link(build) and link is not None and link.floating


def tank_loss(band: Band, *, dial_hz: float) -> float:
    """Return the parallel resistance, ohm, that stands for the coil's losses at the dial frequency."""
    inductance = coil_figures(band.coil).inductance
    q = coil_q(band.coil, dial_hz)
    return float(parallel_resistance(inductance, frequency=dial_hz, q=q))


def _link_resistance(band: Band, *, dial_hz: float) -> float:
    link = coil_figures(band.coil).link
    assert link is not None
    w = link.winding
    return float(
        winding_resistance(
            w.turns, radius=w.radius, pitch=w.pitch, wire_diameter=w.wire_diameter, frequency=dial_hz
        )
    )


def added_capacitance(build: Build, band: Band, *, dial_hz: float) -> float:
    """Return the farads (maybe below zero) that coil and aerial add across the tank at the dial frequency.

    A starting value for the tuning capacitor: self-capacitance, and the reactance the aerial reflects, of
    first order. A study trims it in the deck.
    """
    figures = coil_figures(band.coil)
    total = figures.self_capacitance
    aerial = build.aerial
    if aerial is None:
        return total
    w = 2.0 * np.pi * dial_hz
    impedance = aerial_impedance(aerial, dial_hz=dial_hz)
    if aerial.coupling is not None:
        return total + float((1.0 / (impedance + 1.0 / (1j * w * aerial.coupling))).imag / w)
    link = figures.link
    assert link is not None  # a check of the schema
    around = _link_resistance(band, dial_hz=dial_hz) + 1j * w * link.inductance + impedance
    series = 1j * w * figures.inductance + (w * (link.to_upper + link.to_lower)) ** 2 / around
    reflected = (1.0 / series).imag + 1.0 / (w * figures.inductance)
    return total + link.capacitance + float(reflected / w)


def front_end_parts(build: Build, *, band: Band, dial_hz: float, loss: float) -> list[str]:
    """Return coil, link and aerial as text; `loss` (ohm) stands across the tank for the coil's losses."""
    figures = coil_figures(band.coil)
    sections = figures.sections
    values = {
        "upper": sections.upper,
        "lower": sections.lower,
        "coupling": min(sections.coupling, 1.0),
        "tank_loss": loss,
        "self_capacitance": figures.self_capacitance if figures.self_capacitance > 0.0 else None,
    }
    parts = [_fill("coil_tapped.cir", values)]
    aerial = build.aerial
    if aerial is None:
        return parts
    if aerial.coupling is None:
        link = figures.link
        assert link is not None  # a check of the schema
        parts.append(
            _fill(
                "coil_link.cir",
                {
                    "cold": "linkc" if link.floating else "0",
                    "inductance": link.inductance,
                    "resistance": _link_resistance(band, dial_hz=dial_hz),
                    "to_upper": link.to_upper / float(np.sqrt(link.inductance * sections.upper)),
                    "to_lower": link.to_lower / float(np.sqrt(link.inductance * sections.lower)),
                    "capacitance": max(link.capacitance, _LEAST_FARAD),
                },
            )
        )
    else:
        coupler = {"coupling": aerial.coupling, "static_drain": STATIC_DRAIN_OHM}
        parts.append(_fill("aerial_by_capacitor.cir", coupler))
    feed = "link" if aerial.coupling is None else "ant"
    cold = "linkc" if floats(build, band) else "0"
    if aerial.kind == "dummy":
        parts.append(_fill("aerial_dummy.cir", {"feed": feed, "cold": cold, **_DUMMY}))
    else:
        series = series_aerial(aerial, dial_hz=dial_hz)
        parts.append(_fill("aerial_series.cir", {"feed": feed, "cold": cold, **series._asdict()}))
    if cold != "0":
        common = {
            "capacitance": aerial_capacitance(aerial, dial_hz=dial_hz),
            "static_drain": STATIC_DRAIN_OHM,
        }
        parts.append(_fill("aerial_feeder.cir", common))
    return parts


def _fill(name: str, values: dict[str, Any]) -> str:
    return render(folder("netlists"), name, values)
