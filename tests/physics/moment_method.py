"""A bent wire over ground by the moment method: an independent path for `physics.wire_aerial`.

Harrington 1968 (Field Computation by Moment Methods, chapter 4; from memory, medium): pulses of current and
of charge on thin wire, potentials at their middles, reduced kernel. Wire and image are one wire in free
space, fed in its middle; the aerial's impedance is half of that. No line, no mode, no far field is in it.
"""

from __future__ import annotations

import numpy as np
from scipy.constants import c, epsilon_0, mu_0

_GAUSS = np.polynomial.legendre.leggauss(4)


def _points(height: float, flat: float, pieces: int) -> np.ndarray:
    """Return the nodes of image and wire, from end to end, (n, 3) in m."""
    up = max(4, round(pieces * height / (height + flat)))
    points = [[0.0, 0.0, z] for z in np.linspace(0.0, height, up + 1)]
    if flat > 0.0:
        out = max(4, round(pieces * flat / (height + flat)))
        points += [[x, 0.0, height] for x in np.linspace(0.0, flat, out + 1)[1:]]
    wire = np.array(points)
    return np.vstack([wire[1:][::-1] * [1.0, 1.0, -1.0], wire])


def _potential(start: np.ndarray, stop: np.ndarray, at: np.ndarray, *, radius: float, k: float) -> np.ndarray:
    """Return the integral of exp(-jkR)/(4 pi R) along straight pieces (columns) for points (rows), m/m."""
    along = stop - start
    length = np.linalg.norm(along, axis=1)
    rel = at[:, None, :] - start[None]
    t = np.einsum("mnj,nj->mn", rel, along / length[:, None])
    aside = np.maximum(np.einsum("mnj,mnj->mn", rel, rel) - t**2, 0.0) + radius**2
    total = (np.arcsinh((length - t) / np.sqrt(aside)) + np.arcsinh(t / np.sqrt(aside))).astype(complex)
    for x, weight in zip(*_GAUSS, strict=True):
        distance = np.sqrt((t - 0.5 * (x + 1.0) * length) ** 2 + aside)
        total += 0.5 * weight * length * (np.exp(-1j * k * distance) - 1.0) / distance
    return total / (4.0 * np.pi)


def moment_impedance(
    frequency: float, *, height: float, radius: float, flat: float = 0.0, per_wave: int = 40, least: int = 40
) -> complex:
    """Return the impedance, ohm, at the foot of a wire with a horizontal run over perfect ground."""
    pieces = max(least, int(np.ceil((height + flat) * frequency / c * per_wave)))
    nodes = _points(height, flat, pieces)
    w, k = 2.0 * np.pi * frequency, 2.0 * np.pi * frequency / c
    middle = 0.5 * (nodes[1:] + nodes[:-1])
    inner = np.arange(1, len(nodes) - 1)
    before, after = nodes[inner] - middle[inner - 1], middle[inner] - nodes[inner]
    shape = {"radius": radius, "k": k}
    induced = np.zeros((len(inner), len(inner)), dtype=complex)
    for half, start, stop in (
        (before, middle[inner - 1], nodes[inner]),
        (after, nodes[inner], middle[inner]),
    ):
        unit = half / np.linalg.norm(half, axis=1)[:, None]
        induced += ((before + after) @ unit.T) * _potential(start, stop, nodes[inner], **shape)
    # a current leaves its charge on the piece after its node and takes it from the piece before
    charge = np.zeros((len(middle), len(inner)))
    charge[inner - 1, np.arange(len(inner))] = -1.0
    charge[inner, np.arange(len(inner))] = 1.0
    length = np.linalg.norm(np.diff(nodes, axis=0), axis=1)
    volts = _potential(nodes[:-1], nodes[1:], middle, **shape) / length / epsilon_0 @ charge / (1j * w)
    matrix = 1j * w * mu_0 * induced + volts[inner] - volts[inner - 1]
    feed = np.zeros(len(inner))
    feed[len(inner) // 2] = 1.0
    return complex(0.5 / np.linalg.solve(matrix, feed)[len(inner) // 2])
