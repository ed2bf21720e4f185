"""The law of a tube card as an ngspice subcircuit."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any

from receiver_sim.circuit import reader
from receiver_sim.circuit.element import Law
from receiver_sim.circuit.templates import TemplateFault, render
from receiver_sim.data import folder
from receiver_sim.physics.tube_law import SMOOTHING_V, TubeLaw
from receiver_sim.schema.card import TubeCard

_NAME = re.compile(r"[a-z][a-z0-9_]{0,30}")


def subcircuit(card: TubeCard, name: str, triode_connected: bool = False) -> Law:
    """Return the subcircuit of the card's law under `name` (a plain lower-case word).

    Pins: `p s g k inj` for a pentode or tetrode, `p g k inj` for a triode or with `triode_connected`, which
    ties the screen to the plate. Inside, node `gk` carries V(g,k) + V(inj) and drives the space current; the
    grid current keeps V(g,k). No capacitances. Raises TemplateFault for a bad name or a triode to be
    connected as one, ValueError for a card without a fit.
    """
    return law_subcircuit(card.law(), name, triode_connected=triode_connected)


@lru_cache(maxsize=200)
def law_subcircuit(law: TubeLaw, name: str, *, triode_connected: bool = False) -> Law:
    """Return the subcircuit of a law; see `subcircuit`."""
    if not _NAME.fullmatch(name):
        raise TemplateFault(f"a subcircuit name is a plain lower-case word, not {name!r}")
    if law.kind == "triode":
        if triode_connected:
            raise TemplateFault("a triode has no screen to connect to its plate")
        return reader.law(render(folder("models"), "triode_law.cir", _triode(law, name)))
    return reader.law(render(folder("models"), "pentode_law.cir", _pentode(law, name, triode_connected)))


def law_values(law: TubeLaw, name: str) -> dict[str, Any]:
    """Return the values that templates of a tube's law are filled with."""
    if law.kind == "triode":
        return _triode(law, name)
    values = _pentode(law, name, False)
    return {key: value for key, value in values.items() if key not in ("triode_connected", "screen")}


def _common(law: TubeLaw, name: str) -> dict[str, Any]:
    return {
        "name": name,
        "plate_reach": 1.0 / law.mu_plate,
        "foot": law.foot,
        "contact": law.contact,
        "exponent": law.exponent,
        "grid_shift": law.grid_contact / law.foot,
        "grid_foot": law.foot,
        "grid_slope": 1.0 / law.foot,
        "grid_perveance": law.grid_perveance,
        "degree": law.degree,
        "perveance_ma": 1e3 * law.perveance,
        "half_spread": 0.5 * law.spread,
        "bend": 4.0 * SMOOTHING_V**2,
        "sections": [{"reach": 1.0 / factor, "weight": weight} for factor, weight in law.weights()],
    }


def _triode(law: TubeLaw, name: str) -> dict[str, Any]:
    return _common(law, name)


def _pentode(law: TubeLaw, name: str, triode_connected: bool) -> dict[str, Any]:
    if not math.isfinite(law.mu_screen):
        raise TemplateFault("a pentode needs the factor of its screen")
    return {
        **_common(law, name),
        "triode_connected": int(triode_connected),
        "screen": "p" if triode_connected else "s",
        "screen_reach": 1.0 / law.mu_screen,
        "division": law.division,
        "focus": law.focus * law.spread,
        "knee_squared": law.knee**2,
        "emission": law.emission,
        "emission_square": law.emission_volts**2,
        "emission_slope": 1.0 / law.emission_width,
    }
