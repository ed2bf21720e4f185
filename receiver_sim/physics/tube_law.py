"""The behavioural law of receiving tubes: space current, division between plate and screen, grid current.

One law for triodes, screen-grid tetrodes and pentodes, the same one that `models/*_law.cir` hand to ngspice
(a test holds the two together). It is written for direct current, electrode volts counted from the cathode.

Space current, after Child (1911) and Langmuir (1913) with the equivalent grid voltage of a grid structure
(standard text) and the logarithmic foot of Koren (1996):

    U = Vs/mu_screen + Vp/mu_plate      field of the positive electrodes, seen at the grid (V)
    w = foot + spread U+                width of the foot (V); U+ is U made smoothly positive
    y = (Vg + contact + U)/w            driving voltage in widths of the foot
    I = perveance w**degree ln(1 + exp(y))**exponent

Above the foot this is perveance w**(degree - exponent) (Vg + contact + U)**exponent. Deviations from Koren:
the foot follows the field of all positive electrodes instead of the plate alone and keeps a thermal floor, so
that no current rises faster with the grid than a retarding field at cathode temperature lets it. With such a
foot the exponent is Child's 3/2 for every type tried; a foot of fixed width would ask for 1.3 in the 6SJ7.
Langmuir's scaling theorem makes the degree 3/2 for any shape of electrodes if all volts, counted from the
contact potential, grow together.

A remote cut-off grid, wound with growing pitch, has parts of ever lower mu: a sum of sections, in which the
field and the foot grow in geometric series (factor f = section_ratio**i) and the perveance falls in one:

    I = perveance w**degree sum_i section_weight**i (f ln(1 + exp((Vg + contact)/(f w) + U/w)))**exponent

Division, a rational form of the square-root-like laws of Tellegen and of Spangenberg (1948, ch. 9), smooth
through the origin, with a = max(Vp, 0), b = max(Vs, 0):

    Ip = I F,   F = division a**2/(division a**2 + a**2 + (knee b)**2 + 0.1 V**2)
    Is = I (1 - F) b**2/(b**2 + 0.1 V**2)

So far above the knee Ip/Is nears `division`, and falls by (knee Vs/Vp)**2 of it; the plate takes nothing at
Vp <= 0 nor the screen at Vs <= 0, and both turn on with a horizontal tangent. Electrons that find no positive
electrode turn back. With `focus` (0 for most types) the middle terms of F's denominator gain a factor
1 + focus spread ln(1 + exp(y)): the screen's share falls as the grid goes negative and its wires focus the
electrons between those of the screen; spread ln(1 + exp(y)) is the driving voltage over the field.
Grid current is the current of a diode, with the same contact potential (one cathode, one grid) moved by
`grid_offset`, and the same foot:

    Ig = grid_perveance (foot ln(1 + exp((Vg + contact + grid_offset)/foot)))**1.5

A contact potential that differs from tube to tube thus shifts both currents alike, and a grid that floats
at the
rest of its leak leaves the space current as it was.

In a screen-grid tetrode a share of the plate's electrons, emission a**2/(a**2 + emission_volts**2), comes
back as secondaries and crosses to the screen where that is the more positive (dynatron effect, Hull 1918).
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from receiver_sim.physics.checks import Real, require_not_negative, require_positive

Kind = Literal["pentode", "tetrode", "triode"]

SMOOTHING_V = 0.1
"""Half width (V) of the bend of U+ at U = 0: far below any field at which a tube works."""

GATE_V2 = 0.1
"""Square (V^2) of the positive electrodes' volts at which half the space current finds a way out."""

LIMIT = 80.0
"""Beyond it ln(1 + exp(x)) is x to double precision, and exp is left out for fear of overflow."""


@dataclass(frozen=True)
class TubeLaw:
    """Parameters of the law for one type; see the module for their place in it.

    perveance in A/V**degree; contact, foot, emission_volts, grid_offset in V; grid_perveance in A/V**1.5; the
    rest are pure numbers. `sections`, `section_ratio`, `section_weight` describe a remote
    cut-off grid (1 section otherwise). A triode has mu_screen infinite and no division. `emission` is the
    secondary yield of the plate far above `emission_volts` (0 for pentodes, whose suppressor turns
    secondaries back).
    """

    kind: Kind
    perveance: float
    exponent: float
    degree: float
    contact: float
    spread: float
    foot: float
    mu_plate: float
    mu_screen: float = math.inf
    sections: int = 1
    section_ratio: float = 1.0
    section_weight: float = 0.0
    division: float = 1.0
    knee: float = 0.0
    focus: float = 0.0
    emission: float = 0.0
    emission_volts: float = 25.0
    emission_width: float = 5.0
    grid_perveance: float = 0.0
    grid_offset: float = 0.0

    def __post_init__(self) -> None:
        require_positive(
            perveance=self.perveance,
            exponent=self.exponent,
            degree=self.degree,
            spread=self.spread,
            foot=self.foot,
            mu_plate=self.mu_plate,
            division=self.division,
            emission_volts=self.emission_volts,
            emission_width=self.emission_width,
        )
        require_not_negative(
            section_weight=self.section_weight,
            knee=self.knee,
            focus=self.focus,
            emission=self.emission,
            grid_perveance=self.grid_perveance,
        )

    @property
    def grid_contact(self) -> float:
        """Volts added to the grid's own for its current: the tube's contact potential and `grid_offset`."""
        return self.contact + self.grid_offset

    def weights(self) -> list[tuple[float, float]]:
        """Return (field factor f, weight in the sum) of each section of the grid, the densest first."""
        factors = [self.section_ratio**i for i in range(self.sections)]
        return [(f, (self.section_weight**i if i else 1.0) * f**self.exponent) for i, f in enumerate(factors)]

    def parameters(self) -> dict[str, Any]:
        """Return the parameters as a plain dictionary."""
        # `asdict` copies each deeply, which takes longer than drawing a law
        return {one.name: getattr(self, one.name) for one in dataclasses.fields(self)}


@dataclass(frozen=True)
class Currents:
    """Electrode currents, A, each counted into the tube at its electrode."""

    plate: Real
    screen: Real
    grid: Real


@dataclass(frozen=True)
class SmallSignal:
    """Figures that sheets print: currents (A), gm and cathode gm (S), mu, plate conductance (S)."""

    plate: Real
    screen: Real
    gm: Real
    gk: Real
    mu: Real
    conductance: Real


def softplus(x: Real) -> Real:
    """Return ln(1 + exp(x)) for a float or array, as the ngspice form computes it."""
    value = np.asarray(x, dtype=float)
    return np.log1p(np.exp(np.minimum(value, LIMIT))) + np.maximum(value - LIMIT, 0.0)


def space_current(law: TubeLaw, *, grid_v: Real, plate_v: Real, screen_v: Real = 0.0) -> Real:
    """Return the current (A) that leaves the cathode for plate and screen if both are well positive.

    grid_v, plate_v, screen_v in V from the cathode; floats or arrays that broadcast. For a triode screen_v
    has no effect.
    """
    grid = np.asarray(grid_v, dtype=float) + law.contact
    field, width = _field(law, plate_v=plate_v, screen_v=screen_v)
    total: Real = 0.0
    for factor, weight in law.weights():
        total = total + weight * softplus(grid / (factor * width) + field / width) ** law.exponent
    return law.perveance * width**law.degree * total


def _field(law: TubeLaw, *, plate_v: Real, screen_v: Real) -> tuple[Real, Real]:
    """Return U and w of the module's text, V."""
    field = (
        np.asarray(plate_v, dtype=float) / law.mu_plate + np.asarray(screen_v, dtype=float) / law.mu_screen
    )
    return field, law.foot + 0.5 * law.spread * (field + np.sqrt(field * field + 4.0 * SMOOTHING_V**2))


def _shares(law: TubeLaw, *, grid_v: Real, plate_v: Real, screen_v: Real) -> tuple[Real, Real]:
    """Return the shares of the space current that plate and screen take."""
    a = np.maximum(np.asarray(plate_v, dtype=float), 0.0)
    if law.kind == "triode":
        return a * a / (a * a + GATE_V2), np.zeros_like(a)
    b = np.maximum(np.asarray(screen_v, dtype=float), 0.0)
    plate = law.division * a * a
    rest = a * a + law.knee**2 * b * b
    if np.any(np.asarray(law.focus) > 0.0):
        field, width = _field(law, plate_v=plate_v, screen_v=screen_v)
        rest = rest * (
            1.0
            + law.focus
            * law.spread
            * softplus((np.asarray(grid_v, dtype=float) + law.contact + field) / width)
        )
    plate = plate / (plate + rest + GATE_V2)
    screen = (1.0 - plate) * b * b / (b * b + GATE_V2)
    if np.any(np.asarray(law.emission) > 0.0):
        over = (np.asarray(plate_v, dtype=float) - np.asarray(screen_v, dtype=float)) / law.emission_width
        crossing = 0.5 * (1.0 - over / np.sqrt(1.0 + over * over))
        lost = plate * law.emission * a * a / (a * a + law.emission_volts**2) * crossing
        plate, screen = plate - lost, screen + lost
    return plate, screen


def grid_current(law: TubeLaw, *, grid_v: Real) -> Real:
    """Return the electron current (A) into the grid: 3/2 power with an exponential foot.

    Its contact potential is that of the space current, further by `grid_offset`, and so is its foot, as both
    come from one cathode: the e-fold is foot/1.5. No ion current: gas and leakage depend on the specimen.
    """
    width = law.foot
    drive = width * softplus((np.asarray(grid_v, dtype=float) + law.grid_contact) / width)
    return law.grid_perveance * drive**1.5


def currents(law: TubeLaw, *, grid_v: Real, plate_v: Real, screen_v: Real = 0.0) -> Currents:
    """Return plate, screen and grid current (A) at the given volts (V from the cathode; floats or arrays)."""
    space = space_current(law, grid_v=grid_v, plate_v=plate_v, screen_v=screen_v)
    plate, screen = _shares(law, grid_v=grid_v, plate_v=plate_v, screen_v=screen_v)
    return Currents(space * plate, space * screen, grid_current(law, grid_v=grid_v))


def small_signal(
    law: TubeLaw, *, grid_v: float, plate_v: float, screen_v: float = 0.0, triode_connected: bool = False
) -> SmallSignal:
    """Return the figures of a point as sheets print them (currents in A, conductances in S).

    `triode_connected` ties the screen to the plate: its current then counts as plate current and the plate
    conductance is that of both. Derivatives are central differences; their error is below 1e-6 relative.
    """
    out = small_signals(
        law,
        grid_v=grid_v,
        plate_v=plate_v,
        screen_v=screen_v,
        triode_connected=np.asarray(triode_connected, dtype=np.bool_),
    )
    return SmallSignal(*(float(value) for value in dataclasses.astuple(out)))


def small_signals(
    law: TubeLaw, *, grid_v: Real, plate_v: Real, screen_v: Real, triode_connected: Real
) -> SmallSignal:
    """Return the same as arrays: of points, or of laws and points where the law's parameters are columns."""
    grid, plate, screen, tied, _ = np.broadcast_arrays(
        grid_v, plate_v, screen_v, triode_connected, law.perveance
    )
    screen = np.where(tied, plate, screen)
    h_grid, h_plate = 1e-3, 1e-2 + 1e-4 * np.abs(plate)
    nothing = np.zeros_like(plate, dtype=np.float64)
    moves = np.stack([nothing, nothing + h_grid, nothing - h_grid, nothing, nothing])
    rises = np.stack([nothing, nothing, nothing, h_plate, -h_plate])
    out = currents(
        law, grid_v=grid + moves, plate_v=plate + rises, screen_v=screen + np.where(tied, rises, 0.0)
    )
    cathode = out.plate + out.screen
    anode = np.where(tied, cathode, out.plate)
    gm = (anode[1] - anode[2]) / (2 * h_grid)
    conductance = (anode[3] - anode[4]) / (2 * h_plate)
    passes = conductance > 0.0
    return SmallSignal(
        plate=anode[0],
        screen=np.where(tied, 0.0, out.screen[0]),
        gm=gm,
        gk=(cathode[1] - cathode[2]) / (2 * h_grid),
        mu=np.where(passes, gm / np.where(passes, conductance, 1.0), math.inf),
        conductance=conductance,
    )


def input_conductance(frequency: Real, *, kc: Real, kh: Real) -> Real:
    """Return the input conductance kc f + kh f**2 (S) at `frequency` (Hz); kc in S/Hz, kh in S/Hz^2.

    The two terms are those of the RCA note on input loading: lead inductance with feedback and lossy
    capacitance grow with f and f^2, transit time with f^2. Raises ValueError for negative arguments.
    """
    require_not_negative(frequency=frequency, kc=kc, kh=kh)
    return kc * frequency + kh * frequency**2
