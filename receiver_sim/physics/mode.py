"""One resonance of a linear network: pole, residues, background, from its response near resonance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from receiver_sim.errors import NoAnswer

ComplexArray = npt.NDArray[np.complex128]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Resonance:
    """H(w) = residue/(j (w - w_ref) + pole) + background near a resonance, w_ref = 2 pi `reference_hz`.

    pole in rad/s: its real part is the decay rate of the amplitude, its imaginary part is how far below the
    reference the resonance lies. beside: the pole of a second resonance in the response, which adds a term of
    its own to it, None without one. `misfit` is the largest deviation over the largest magnitude.
    """

    reference_hz: float
    pole: complex
    residue: complex
    background: complex
    misfit: float
    beside: complex | None = None

    def residues(
        self, frequency: npt.ArrayLike, *, response: npt.ArrayLike
    ) -> tuple[complex, complex, float]:
        """Return `residues` of another response of the same network, at frequencies in Hz."""
        return residues(
            frequency, response=response, reference_hz=self.reference_hz, pole=self.pole, beside=self.beside
        )


SINGLE = 0.05
"""Misfit up to which a response is that of one resonance: what is one leaves some thousandths at most."""

_NONE = "this response is no decaying resonance"
_FOR_TWO = 7
"""Points that two resonances and a constant are fitted to at least."""


def resonance(
    frequency: npt.ArrayLike, *, response: npt.ArrayLike, reference_hz: float, passive: bool = True
) -> Resonance:
    """Fit one pole and a constant to a response (complex) at frequencies (Hz) around a resonance.

    Linear least squares for H (jx + pole) = residue + background (jx + pole), x = w - w_ref, in the three
    unknowns pole, numerator and background (the form known as Levy 1959, here of first order); then residue
    and background anew with the pole given. At least 5 points within some bandwidths; near a high-Q
    resonance the tail of the mirror pole at negative frequency is part of the background.

    A response that one pole leaves more than `SINGLE` of, of at least 7 points, is fitted with two, in the
    same form of second order; the resonance is the one that stands out higher. Of a network that is not
    passive the second one may grow, and may be all that one pole sees.

    Raises ValueError for fewer points, NoAnswer for a response that is no decaying resonance.
    """
    f = np.asarray(frequency, dtype=np.float64)
    h = np.asarray(response, dtype=np.complex128)
    if f.size < 5 or f.shape != h.shape:
        raise ValueError("a resonance is fitted to five points or more")
    x = 2.0 * np.pi * (f - reference_hz)
    scale, size = float(np.abs(x).max()), float(np.abs(h).max())
    jx, y = 1j * x / scale, h / size
    columns = np.column_stack([-y, np.ones_like(y), jx])
    solution, *_ = np.linalg.lstsq(columns, y * jx, rcond=None)
    pole = complex(solution[0]) * scale
    decays = pole.real > 0.0
    if not decays and (passive or f.size < _FOR_TWO):
        raise NoAnswer(_NONE)
    found = _with(f, h, reference_hz, pole, None)
    if decays and (found.misfit <= SINGLE or f.size < _FOR_TWO):
        return found
    columns = np.column_stack([-y * jx, -y, jx**2, jx, np.ones_like(y)])
    solution, *_ = np.linalg.lstsq(columns, y * jx**2, rcond=None)
    first, second = (-complex(root) * scale for root in np.roots([1.0, solution[0], solution[1]]))
    both = (_with(f, h, reference_hz, *pair) for pair in ((first, second), (second, first)))
    decaying = [one for one in both if one.pole.real > 0.0]
    if not decays and not any(one.misfit <= SINGLE for one in decaying):
        raise NoAnswer(_NONE)
    return max(decaying, key=lambda one: abs(one.residue) / one.pole.real, default=found)


def _with(
    f: FloatArray, h: ComplexArray, reference_hz: float, pole: complex, beside: complex | None
) -> Resonance:
    fitted = residues(f, response=h, reference_hz=reference_hz, pole=pole, beside=beside)
    return Resonance(reference_hz, pole, *fitted, beside)


def residues(
    frequency: npt.ArrayLike,
    *,
    response: npt.ArrayLike,
    reference_hz: float,
    pole: complex,
    beside: complex | None = None,
) -> tuple[complex, complex, float]:
    """Return (residue, background, misfit) of a response whose pole (rad/s from the reference) is known, and
    that of a second resonance `beside` it, if there is one."""
    f = np.asarray(frequency, dtype=np.float64)
    h = np.asarray(response, dtype=np.complex128)
    poles = [pole] if beside is None else [pole, beside]
    shapes = [1.0 / (2j * np.pi * (f - reference_hz) + one) for one in poles]
    weights = [float(np.abs(shape).max()) for shape in shapes]
    scaled = [shape / weight for shape, weight in zip(shapes, weights, strict=True)]
    columns = np.column_stack([*scaled, np.ones_like(h)])
    solution, *_ = np.linalg.lstsq(columns, h, rcond=None)
    size = float(np.abs(h).max())
    misfit = float(np.abs(columns @ solution - h).max()) / size if size > 0.0 else 0.0
    return complex(solution[0]) / weights[0], complex(solution[-1]), misfit


def swing_factor(own: complex, *, stray: complex) -> complex:
    """Return by what the control voltage of a self-oscillator exceeds that from its resonance alone.

    A tube whose current G V is in phase with its control voltage V sees V = [own/(1 + jx) + stray] G V: `own`
    (ohm) is the transfer impedance of the resonance at its peak, `stray` (ohm) that of all else (leakage of
    the coil, tails of other resonances), x the detuning in half-bandwidths. With y = 1/G - Re(stray), a real
    G asks y^2 - Re(own) y + Im(stray)^2 + Im(own) Im(stray) = 0, of which the larger root lies near own; the
    factor is 1/(1 - G stray), the same at every amplitude, since the mean G over a cycle is what pays for the
    losses (describing function, textbook). Exact for one pole and a constant.

    Raises ValueError where the stray part outweighs the resonance, so that no real G exists.
    """
    half = own.real / 2.0
    under = half**2 - stray.imag**2 - own.imag * stray.imag
    if not (half > 0.0 and under >= 0.0):
        raise NoAnswer("what couples beside the resonance outweighs it")
    y = half + float(np.sqrt(under))
    return (y + stray.real) / complex(y, -stray.imag)
