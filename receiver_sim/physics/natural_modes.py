"""Natural modes of a linear network from its answers at one frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

ComplexArray = npt.NDArray[np.complex128]
FloatArray = npt.NDArray[np.float64]

FASTEST = 1e-11
"""Modes this much faster than the slowest in 1/(s - shift) are left out: they are rounding, of stores that
hold nothing of their own (capacitors in a loop)."""


ROUNDING = 1e-7
"""Part of a mode's size below which its rate or pitch is rounding (some 1e-9 are seen where two modes lie
close together, of answers that are good to 1e-12)."""


@dataclass(frozen=True)
class NaturalModes:
    """Growth rates `s` (1/s, complex: the imaginary part is the angular frequency), fastest-growing first.

    share: a row for each mode, a column for each energy store: its part in the mode, rows sum to 1.
    """

    s: ComplexArray
    share: FloatArray

    @property
    def grows(self) -> npt.NDArray[np.bool_]:
        """Which of `s` grow, by more than rounding."""
        return self.s.real > ROUNDING * np.abs(self.s)

    @property
    def fastest(self) -> tuple[float, float] | None:
        """Rate (1/s) and pitch (Hz, 0 for none) of what grows fastest; None where nothing grows."""
        growing = self.s[self.grows]
        return (float(growing[0].real), float(abs(growing[0].imag)) / (2.0 * np.pi)) if growing.size else None


def natural_modes(response: npt.ArrayLike, *, weight: npt.ArrayLike, shift: complex) -> NaturalModes:
    """Return the natural modes of a network that holds its energy in n capacitors and inductors.

    response: (n, n) complex, measured at the complex frequency `shift` (1/s): row i, column j is the answer
    of store i (volts of a capacitor, amperes of an inductor) to 1 A that a source across store j carries
    from its first to its second node (an inductor's answer includes the source's own ampere). weight: (n,),
    the capacitance of a capacitor, -1/shift for an inductor, coupled ones too.

    At s = shift + x a capacitor takes C x V more than at the shift, which is a source across it; an
    inductor's volts grow by x L I, which by Norton's theorem is a source of -(x/shift) I across it. So
    the stores' answers obey w = x H D w, and the modes are s = shift + 1/eig(H D): the generalised
    eigenvalue problem of the network's equations, reduced to its stores, shifted and inverted as in Saad
    (2011, Numerical methods for large eigenvalue problems, ch. 8, from memory). share: the participation
    factors of Perez-Arriaga, Verghese and Schweppe (1982, from memory), as absolute values.
    """
    from scipy.linalg import eig  # noqa: PLC0415 - it takes long to load

    h, d = np.asarray(response, dtype=np.complex128), np.asarray(weight, dtype=np.complex128)
    values, left, right = eig(h * d, left=True, right=True)  # type: ignore[misc] # stubs know two
    keep = np.abs(values) > FASTEST * np.abs(values).max(initial=0.0)
    s = shift + 1.0 / values[keep]
    # the network is real: an imaginary part that is but rounding belongs to a mode that creeps
    s = np.where(np.abs(s.imag) < ROUNDING * np.abs(s), s.real + 0j, s)
    share = np.abs(left[:, keep] * right[:, keep]).T
    total = share.sum(axis=1, keepdims=True)
    order = np.argsort(-s.real, kind="stable")
    return NaturalModes(s[order], (share / np.where(total > 0.0, total, 1.0))[order])


def with_tank(
    response: npt.ArrayLike,
    *,
    to_amplitude: npt.ArrayLike,
    drive: npt.ArrayLike,
    drive_to_amplitude: complex,
    admittance: complex,
) -> ComplexArray:
    """Return the response of a network whose tank's amplitude, imposed until then, is set free: one store
    more.

    response as in `natural_modes`, with the amplitude imposed; to_amplitude: (n,), the stores' answers to 1
    V of amplitude; drive: (n,), amperes that drive the tank for 1 A across each store; drive_to_amplitude:
    A/V; admittance: C shift + G of the tank at the shift, siemens. The last store is the tank, of weight C.
    """
    h, d = np.asarray(to_amplitude, dtype=np.complex128), np.asarray(drive, dtype=np.complex128)
    held = admittance - drive_to_amplitude
    free = np.asarray(response, dtype=np.complex128) + np.outer(h, d) / held
    return np.block([[free, -h[:, None] / held], [d[None, :] / held, np.array([[-1.0 / held]])]])


def howling_capacitance(
    response: npt.ArrayLike, *, weight: npt.ArrayLike, shift: complex, port: int, frequencies: npt.ArrayLike
) -> tuple[float, float] | None:
    """Return the least capacitance (F) across a pair of nodes with which a network begins to howl, and at
    what frequency (Hz); None if there is none among the frequencies.

    response, weight, shift: as in `natural_modes`, with the pair as store number `port`, of weight 0;
    frequencies: (m,), Hz, rising, some per cent apart. The network is to have no growing mode without it.
    Where its own answer there is h(s) (volts for an ampere taken out: minus its impedance), a capacitance C
    adds the modes s C h(s) = 1; one reaches the imaginary axis where j w h(jw) is real and above zero, at
    C = 1/(j w h(jw)) (Nyquist 1932, the locus read for its gain).
    """
    from scipy.linalg import lapack, schur  # noqa: PLC0415 - it takes long to load

    h, d = np.asarray(response, dtype=np.complex128), np.asarray(weight, dtype=np.complex128)
    f = np.asarray(frequencies, dtype=np.float64)
    # a triangular form of the network serves all frequencies, and is as sound as its figures
    upper, basis = schur(h * d, output="complex")
    into = basis.conj().T @ h[:, port]

    def locus(hertz: FloatArray) -> ComplexArray:
        x = 2j * np.pi * hertz - shift
        parts = np.zeros((into.size, hertz.size), dtype=np.complex128)
        for k in range(into.size - 1, -1, -1):
            parts[k] = (into[k] + x * (upper[k, k + 1 :] @ parts[k + 1 :])) / (1.0 - x * upper[k, k])
        return np.asarray(2j * np.pi * hertz * (basis[port] @ parts))

    def at(hertz: float) -> complex:
        x = 2j * np.pi * hertz - shift
        parts, _ = lapack.ztrtrs(np.eye(into.size) - x * upper, into)
        return complex(2j * np.pi * hertz * (basis[port] @ parts))

    def crossing(low: float, high: float) -> float:
        # by halving, 2**-20 of some per cent: scipy's root finders take longer to load than all of this
        above = at(low).imag >= 0.0
        for _ in range(20):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if (at(middle).imag >= 0.0) == above else (low, middle)
        return 0.5 * (low + high)

    values = locus(f)
    best: tuple[float, float] | None = None
    for i in np.flatnonzero((values.imag[1:] >= 0.0) != (values.imag[:-1] >= 0.0)):
        hertz = crossing(f[i], f[i + 1])
        found = at(hertz).real
        if found > 0.0 and (best is None or 1.0 / found < best[0]):
            best = 1.0 / found, hertz
    return best
