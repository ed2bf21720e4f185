"""Formulas from print that the program does not use: other paths to what it finds."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from receiver_sim.physics import tuning
from receiver_sim.physics.coil_q import medhurst_phi
from receiver_sim.physics.inductance import nagaoka_coefficient
from receiver_sim.physics.mutual_inductance import Winding, maxwell_filaments
from receiver_sim.physics.tank import resonant_frequency
from receiver_sim.physics.wire import skin_depth


def wheeler_1928(turns: float, *, radius: float, length: float) -> float:
    """Return Wheeler's estimate, H, of a single-layer coil: a^2 N^2/(9 a + 10 l) uH with inches; here m.

    Wheeler, Proc. IRE 16 (1928) p. 1398 (from memory, high): within 1 % for l > 0.8 a; 3 % at l = a/4.
    """
    a, long = radius / 0.0254, length / 0.0254
    return 1e-6 * a**2 * turns**2 / (9 * a + 10 * long)


def medhurst_q(radius: float, *, length: float, wire_over_pitch: float, frequency: float) -> float:
    """Return Medhurst's high-frequency Q of a copper coil: 0.15 R(cm) psi sqrt(f), with psi from his phi.

    From memory, medium. His psi is not tabulated anew: with the skin depth 6.61/sqrt(f) cm of standard
    copper the ratio 2 pi f L/R of a current sheet is 0.475 (d/p) (K/phi) R sqrt(f), so psi is 3.17 (d/p)
    K/phi. Skin depth small against the wire; no former, can or tube loss. Lengths in m.
    """
    k = nagaoka_coefficient(2 * radius, length=length)
    phi = medhurst_phi(length / (2 * radius), wire_over_pitch=wire_over_pitch)
    return float(np.pi * radius / skin_depth(frequency) * wire_over_pitch * k / phi)


def filament_sum(winding: Winding, *, other: Winding) -> float:
    """Return the mutual inductance, H, of two windings as a sum over their turns, one circle a turn.

    The circles sit at the middle of each turn; a part turn at the end counts with its share.
    """
    z1, w1 = _circles(winding)
    z2, w2 = _circles(other)
    apart = np.abs(z1[:, None] - z2[None, :])
    return float(w1 @ maxwell_filaments(winding.radius, other_radius=other.radius, distance=apart) @ w2)


def _circles(winding: Winding) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return axial places and weights of the circles that stand for a winding's turns."""
    whole = int(np.floor(winding.turns + 1e-9))
    part = winding.turns - whole
    edges = np.append(np.arange(whole + 1.0), winding.turns) if part > 1e-9 else np.arange(whole + 1.0)
    return winding.start + winding.pitch * (edges[:-1] + edges[1:]) / 2, np.diff(edges)


def reservoir_ripple(current: float, *, frequency: float, capacitance: float) -> float:
    """Return the peak-to-peak ripple (V) of a capacitor (F) that is charged `frequency` times a second.

    I/(f C): the rule that takes the discharge as lasting the whole time between two charges (textbook), so
    an upper bound; the charge takes some 10 to 30 % of it.
    """
    return current / (frequency * capacitance)


def double_injection(tv: npt.ArrayLike, *, ti: npt.ArrayLike) -> npt.NDArray[np.complex128]:
    """Return Middlebrook's loop gain T = (Tv Ti - 1)/(Tv + Ti + 2) from the voltage and the current ratio.

    Negative feedback counts positive, so regeneration reaches onset at T = -1. R. D. Middlebrook,
    'Measurement of loop gain in feedback systems', Int. J. Electronics 38 (1975) 485 (form from memory,
    high). It equals the return ratio only for a unilateral loop, onset excepted.
    """
    voltage = np.asarray(tv, dtype=np.complex128)
    current = np.asarray(ti, dtype=np.complex128)
    return (voltage * current - 1.0) / (voltage + current + 2.0)


def onset_transconductance(rp: Any, *, n: Any) -> Any:
    """Return the cathode transconductance g_k (S) at which a cathode-tap detector starts to oscillate.

    g_k = 1/(n (1 - n) Rp) with `rp` the parallel resistance of the whole tank (ohm) and `n` the voltage
    ratio of an ideal tap: from the node equations, the cathode current g_k v(gk), v(gk) = (1 - n) v, enters
    at the fraction n of the tank. Tube capacitances and input loading are left out.
    """
    return 1 / (n * (1 - n) * rp)


def dial_frequency(rotation: Any, *, inductance: float, series: float = np.inf, parallel: float = 0.0,
                   **capacitor: Any) -> Any:  # fmt: skip
    """Return the frequency, Hz, of a tank against the rotation (0 to 1) of its padded variable capacitor."""
    variable = tuning.variable_capacitance(rotation, **capacitor)
    total = tuning.padded_capacitance(variable, series=series, parallel=parallel)
    return resonant_frequency(inductance, capacitance=total)


def frequency_per_degree(rotation: Any, *, travel: float, inductance: float, **dial: Any) -> Any:
    """Return df/d(angle), Hz per degree, of `dial_frequency`; the capacitor turns `travel` degrees.

    By a difference over a hundred-thousandth of the travel, whose error goes with its square.
    """
    step = 1e-5
    up = dial_frequency(rotation + step, inductance=inductance, **dial)
    down = dial_frequency(rotation - step, inductance=inductance, **dial)
    return (up - down) / (2 * step) / travel
