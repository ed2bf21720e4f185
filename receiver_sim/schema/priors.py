"""What is known of a tube's law before any point of its card: a named prior for each parameter; and draws of
laws from what a fit left open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.physics.tube_law import TubeLaw, currents
from receiver_sim.schema.card import Parameter, Prior, TubeCard


@dataclass(frozen=True)
class DefaultPrior:
    """Centre and spread of a parameter before any point; of its logarithm if `log`. `spread` 0 fixes it."""

    name: str
    value: float
    spread: float
    log: bool
    reason: str


def _p(name: str, value: float, spread: float, reason: str, *, log: bool = False) -> DefaultPrior:
    return DefaultPrior(name, value, spread, log, reason)


_COMMON = (
    _p("perveance", 1e-3, 3.0, "none: any size of cathode", log=True),
    _p("exponent", 1.5, 0.0, "Child-Langmuir 3/2: freeing it within 0.1 betters neither fit nor prediction"),
    _p("degree", 1.5, 0.05, "Langmuir's scaling: current goes with the 3/2 power of all volts together"),
    _p(
        "contact",
        0.5,
        0.25,
        "contact potential of an oxide cathode; floating grids rest at -0.5 to -1 V (seen)",
    ),
    _p(
        "spread",
        0.15,
        0.5,
        "printed 10 uA cut-offs lie 1.3 to 1.8 times as deep as the plain law's",
        log=True,
    ),
    _p(
        "foot",
        0.2,
        0.2,
        "retarding field of the cathode: e-fold kT/e = 0.09 V at 1050 K (theory), 0.1 to 0.2 V measured "
        "on tubes "
        "(memory-medium); here 0.133 V, times the exponent",
        log=True,
    ),
)
_TRIODE = (_p("mu_plate", 20.0, 1.5, "none: medium-mu triodes", log=True),)
_SCREENED = (
    _p("mu_screen", 20.0, 1.5, "none: small pentodes 8 to 50", log=True),
    _p(
        "mu_plate",
        2200.0,
        0.8,
        "screening: 50 to 200 times mu_screen; low on the charts of the 6SJ7",
        log=True,
    ),
    _p("division", 3.5, 1.0, "screens take a fifth to a third of the space current", log=True),
    _p(
        "knee",
        0.3,
        0.5,
        "plate families bend at a tenth to a third of the screen volts, memory-low",
        log=True,
    ),
    _p("focus", 0.0, 0.0, "no sheet shows it but where a card's own prior frees it and says why"),
)
_REMOTE = (
    _p("section_ratio", 2.0, 0.4, "pitch of variable-mu grids changes about twofold and more", log=True),
    _p("section_weight", 0.25, 1.0, "the open part of the grid is the smaller one", log=True),
    _p("sections", 3, 0.0, "three keep gm against bias as straight on log paper as sheets draw it"),
)
_TETRODE = (
    _p("emission", 1.0, 0.0, "the dip of screen-grid tetrodes comes close to zero current, memory-low"),
    _p("emission_volts", 25.0, 0.0, "the dip's bottom lies at some 20 to 40 V, memory-low"),
    _p(
        "emission_width",
        12.0,
        0.6,
        "secondaries leave with a few volts, reflected electrons with up to the plate's: they give the "
        "slope of the "
        "plate current above the screen's volts; no source",
        log=True,
    ),
)
_TETRODE_KNEE = (
    _p(
        "knee",
        0.2,
        0.1,
        "24A at 90 V on the screen: the plate current's hump is some 2 mA near 15 V (memory-low); the "
        "slope of a "
        "tetrode above its screen is secondary emission and says nothing about it",
        log=True,
    ),
)
_GRID = (
    _p("grid_perveance", 4e-4, 0.0, "some 0.3 mA at +1 V on the grid, memory-low"),
    _p(
        "grid_offset",
        -0.58,
        0.08,
        "0.1 uA at -0.7 V with the usual contact potential: floating grids rest at -0.5 to -1 V (seen)",
    ),
)


def _class_of_cathode(card: TubeCard) -> tuple[DefaultPrior, ...]:
    """Return the priors that a filament moves: its volts are part of every electrode's, counted from its end.

    The space current sees the middle of the filament, half its volts above the negative end that a sheet's
    grid
    volts are counted from. Grid current comes from that end alone, from a part of it as long as the volts
    of an
    e-fold: integrated along the filament, exp((Vg - v)/e-fold) dv / volts.
    """
    if not card.heater.direct:
        return ()
    known = {p.name: p for p in (*_COMMON, *_GRID)}
    volts, fold = card.heater.volts, known["foot"].value / 1.5
    contact, offset = known["contact"], known["grid_offset"]
    moved = offset.value + 0.5 * volts - fold * math.log(volts / fold)
    return (
        replace(
            contact, value=contact.value - 0.5 * volts, reason=f"{contact.reason}; middle of the filament"
        ),
        replace(offset, value=moved, reason=f"{offset.reason}; negative end of the filament"),
    )


FLOORS = {"exponent": 0.3, "degree": 0.3, "focus": 0.0}
"""Where a parameter that is not fitted by its logarithm ends."""


def priors(card: TubeCard) -> list[DefaultPrior]:
    """Return the priors of a card: the defaults of its kind with the card's own in their place.

    Raises ValueError for a prior of the card that names no parameter of its law.
    """
    own = [*_COMMON, *(_TRIODE if card.kind == "triode" else _SCREENED)]
    own += _REMOTE if card.cutoff == "remote" else ()
    own += _TETRODE if card.kind == "tetrode" else ()
    own += _GRID
    moved = {
        p.name: p for p in (*_class_of_cathode(card), *(_TETRODE_KNEE if card.kind == "tetrode" else ()))
    }
    own = [moved.get(p.name, p) for p in own]
    unknown = sorted(set(card.priors) - {p.name for p in own})
    if unknown:
        raise ValueError(
            f"{card.type}: priors name no parameter of this law: {', '.join(unknown)}; "
            f"its parameters are {', '.join(p.name for p in own)}"
        )
    return [_replaced(p, card.priors.get(p.name)) for p in own]


def _replaced(prior: DefaultPrior, own: Prior | None) -> DefaultPrior:
    if own is None:
        return prior
    return replace(prior, value=own.value, spread=own.spread, reason=own.reason)


ANCHOR = 0.02
"""Relative deviation of the current at a card's first point among drawn laws: the scatter a fit allows it."""


def open_dimensions(card: TubeCard) -> int:
    """Return how many normal deviates `drawn_law` takes: one for each parameter that the fit left open.

    Raises ValueError for a card without a fit.
    """
    if card.fit is None:
        card.law()
    assert card.fit is not None
    return sum(p.held_by != "fixed" for p in card.fit.parameters.values())


def drawn_law(card: TubeCard, normal: npt.ArrayLike, *, anchor: float) -> TubeLaw:
    """Return the law for standard normal deviates, one for each open dimension and one for the anchor.

    Deviations are those of a law linear in its parameters; where they are wide it is not, so each drawn law
    has its perveance set anew to the current printed at the card's first point, give or take `ANCHOR`. The
    laws tell how well that of the average tube is known, at low screen volts above all; the spread from tube
    to tube of one type comes on top. The dimensions are those of the fit's covariance in order of its
    eigenvalues: none is a single parameter's. Zeros give the fit itself. Raises ValueError for a card without
    a fit.
    """
    centre, free, logs, root = _opened(card)
    row = root @ np.asarray(normal, dtype=float)
    return _anchored(card, _moved(centre, free, logs, row), centre, math.exp(ANCHOR * anchor))


_ROOTS: dict[int, Any] = {}


def _opened(card: TubeCard) -> Any:
    """Return the fit's law, its open parameters, which are logarithms, and the root of their covariance."""
    assert card.fit is not None
    known = _ROOTS.get(id(card.fit))
    if known is None or known[0] is not card.fit:
        logs = {p.name: p.log for p in priors(card)}
        free = [(name, p) for name, p in card.fit.parameters.items() if p.held_by != "fixed"]
        widths = np.array([p.deviation / (abs(p.value) if logs[name] else 1.0) for name, p in free])
        # the decimals of the stored correlations may leave it a hair off positive definite
        values, vectors = np.linalg.eigh(np.array(card.fit.correlation))
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        known = (card.fit, (card.law(), free, logs, widths[:, np.newaxis] * root))
        _ROOTS[id(card.fit)] = known
    return known[1]


_LEAST = {**FLOORS, "division": 0.05}
"""Where a drawn parameter ends: a division of zero would be no law."""


def _moved(
    centre: TubeLaw,
    free: Sequence[tuple[str, Parameter]],
    logs: dict[str, bool],
    row: npt.NDArray[np.float64],
) -> TubeLaw:
    values: dict[str, Any] = centre.parameters()
    for (name, p), step in zip(free, row, strict=True):
        value = p.value * math.exp(step) if logs[name] else p.value + float(step)
        values[name] = max(value, _LEAST.get(name, -math.inf))
    return TubeLaw(**values)


def _anchored(card: TubeCard, law: TubeLaw, centre: TubeLaw, factor: float) -> TubeLaw:
    """Return the law with its perveance such that the first point's plate current is `factor` times the
    fit's.
    """
    point = card.points[0]
    grid = point.grid
    if grid is None:
        drop = (point.plate_current or 0.0) + (point.screen_current or 0.0)
        grid = -drop * (point.cathode_resistor or 0.0)
    volts = {"grid_v": grid, "plate_v": point.plate, "screen_v": point.screen or point.plate}
    ratio = float(currents(centre, **volts).plate) / float(currents(law, **volts).plate)
    return replace(law, perveance=law.perveance * ratio * factor)
